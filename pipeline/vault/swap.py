"""The files of a data folder exchanged for converted ones: renames alone, finished by whoever comes next if broken off.

``home/.converting/new`` holds the new files, ``ready`` says that they are whole and checked; until it is there the old
ones count, from then on the new ones. Whoever converts holds a lock, so that nobody takes a swap in hand twice.
"""

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from shutil import rmtree

from pipeline.errors import StoreError
from pipeline.files import private_folder, shred, sync, take_lock, write_atomic

FOLDER = ".converting"
_NEW, _OLD, _READY, _LOCK = "new", "old", "ready", "lock"


@contextmanager
def converting(home: Path) -> Iterator[Path]:
    """The folder that new files go to, empty; what was not made ready is removed at the end. Raises StoreError where
    another program converts the record."""
    finish_swap(home)
    base = private_folder(home / FOLDER)
    handle = _locked(base)
    try:
        rmtree(base / _NEW, ignore_errors=True)
        yield private_folder(base / _NEW)
        if (base / _READY).exists():
            _swap(home, base)
    finally:
        if not (base / _READY).exists():
            rmtree(base, ignore_errors=True)
        os.close(handle)


def make_ready(home: Path, drop: tuple[str, ...], *, wipe: bool) -> None:
    """From here on the new files count. ``drop``: old names without a new file. ``wipe``: overwrite the old files."""
    told = {"drop": list(drop), "wipe": wipe}
    write_atomic(home / FOLDER / _READY, json.dumps(told).encode())


def finish_swap(home: Path) -> None:
    """Finish what was broken off. Raises StoreError where another program is at it."""
    base = home / FOLDER
    if not (base / _READY).exists():
        return
    handle = _locked(base)
    try:
        if (base / _READY).exists():
            _swap(home, base)
    finally:
        os.close(handle)


def _locked(base: Path) -> int:
    handle = take_lock(base / _LOCK)
    if handle is None:
        raise StoreError(f"{base.parent}: the record is being converted just now; try again in a moment.")
    return handle


def _swap(home: Path, base: Path) -> None:
    told = json.loads((base / _READY).read_bytes())
    new, old = base / _NEW, private_folder(base / _OLD)
    for name in told["drop"]:
        if (home / name).exists():
            (home / name).rename(old / name)
    for path in sorted(new.iterdir()):
        if (home / path.name).exists():
            (home / path.name).rename(old / path.name)
        path.rename(home / path.name)
    sync(home)
    for path in sorted(old.rglob("*")) if told["wipe"] else ():
        if path.is_file() or path.is_symlink():
            shred(path)
    (base / _READY).unlink()
    rmtree(base, ignore_errors=True)
