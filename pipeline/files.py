"""Files written whole or not at all: temporary name, fsync, rename, fsync of the folder.

Everything here is for the owner alone (folders 0700, files 0600): it holds what was said about an infant.
"""

import fcntl
import hashlib
import os
import secrets
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from pipeline.errors import InputError, StoreError

FILE_MODE = 0o600
FOLDER_MODE = 0o700
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)


def private_folder(path: Path) -> Path:
    """Make a folder, parents included, readable by its owner alone. Raises InputError where it cannot be."""
    _make_folders(path)
    return path


def check_place(folder: Path) -> None:
    """Whether a folder is there or could be made; makes nothing. Raises InputError."""
    there = next((path for path in (folder, *folder.absolute().parents) if path.exists()), None)
    if there is None or not there.is_dir():
        raise InputError(f"{folder}: cannot be a folder ({there} is a file); name another place.")
    if not os.access(there, os.W_OK | os.X_OK):
        raise InputError(f"{folder}: nothing may be written in {there}; name another place.")


def _make_folders(path: Path) -> list[Path]:
    """Make a folder and its parents; returns those that were not there, outermost first."""
    made = []
    try:
        for folder in reversed([path, *path.parents]):
            if not folder.exists():
                folder.mkdir(mode=FOLDER_MODE, exist_ok=True)
                made.append(folder)
    except OSError as error:
        raise InputError(f"{path}: the folder cannot be made ({error.strerror}); name another place.") from error
    if not path.is_dir():
        raise InputError(f"{path}: is a file, not a folder; name another place.")
    return made


class Staged:
    """Files written under temporary names; ``publish`` gives all of them their names."""

    def __init__(self) -> None:
        self._waiting: list[tuple[Path, Path]] = []
        self._made: list[Path] = []

    def write(self, path: Path, data: bytes | Iterator[bytes]) -> None:
        """Write and sync ``data`` beside ``path``, in a folder that is made where there is none.

        Raises StoreError where the disk is full or refuses, InputError where the folder cannot be.
        """
        self._made += _make_folders(path.parent)
        temporary = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
        self._waiting.append((temporary, path))
        try:
            with os.fdopen(os.open(temporary, _NEW, FILE_MODE), "wb") as out:
                for block in (data,) if isinstance(data, bytes) else data:
                    out.write(block)
                out.flush()
                os.fsync(out.fileno())
        except OSError as error:
            raise _not_written(path, error) from error

    def publish(self) -> None:
        """Rename all, then sync their folders. After this they stand under their names."""
        for temporary, path in self._waiting:
            try:
                temporary.replace(path)
            except OSError as error:
                raise _not_written(path, error) from error
        for folder in {path.parent for _, path in self._waiting}:
            sync(folder)
        self._waiting.clear()
        self._made.clear()

    def discard(self) -> None:
        """Remove what was not published, and the folders made for it."""
        for temporary, _ in self._waiting:
            with suppress(OSError):
                temporary.unlink(missing_ok=True)
        for folder in reversed(self._made):
            with suppress(OSError):
                folder.rmdir()
        self._waiting.clear()
        self._made.clear()


@contextmanager
def staged() -> Iterator[Staged]:
    """Files written inside the block; whatever was not published when it ends is removed."""
    batch = Staged()
    try:
        yield batch
    finally:
        batch.discard()


def write_atomic(path: Path, data: bytes | Iterator[bytes]) -> None:
    """Write one file whole or not at all, replacing what was there. Raises StoreError."""
    with staged() as batch:
        batch.write(path, data)
        batch.publish()


def new_file(path: Path) -> BinaryIO:
    """A new file for its owner alone; what stood there, also a link, is removed and not followed. Raises OSError."""
    path.unlink(missing_ok=True)
    return os.fdopen(os.open(path, _NEW, FILE_MODE), "wb")


def shred(path: Path) -> None:
    """Overwrite a file with zeros and remove it; done already where it is not there. A link is only removed.

    What the disk itself keeps of overwritten blocks (flash, copy-on-write) is beyond any program: encrypt the disk.
    Raises StoreError where it cannot be written or removed.
    """
    try:
        if not path.is_symlink():
            with path.open("r+b") as file:
                left = os.fstat(file.fileno()).st_size
                while left > 0:
                    left -= file.write(bytes(min(left, 1 << 20)))
                file.flush()
                os.fsync(file.fileno())
        path.unlink()
    except FileNotFoundError:
        return
    except OSError as error:
        raise StoreError(f"{path}: cannot be destroyed ({error.strerror}); see to it, then run this again.") from error
    sync(path.parent)


def blocks_of(path: Path, size: int = 1 << 20) -> Iterator[bytes]:
    """The bytes of a file in blocks, so that memory stays flat. Raises InputError where it cannot be read."""
    try:
        with path.open("rb") as source:
            while block := source.read(size):
                yield block
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}).") from error


def sha256_of(blocks: Iterable[bytes]) -> str:
    """The SHA-256 of bytes that come in blocks, in hexadecimal. Raises what the blocks raise."""
    digest = hashlib.sha256()
    for block in blocks:
        digest.update(block)
    return digest.hexdigest()


def take_lock(path: Path) -> int | None:
    """A lock on a file, made where there is none, as a handle: closing it, or the end of the process, gives it back.

    None where another program holds it.
    """
    handle = os.open(path, os.O_RDWR | os.O_CREAT, FILE_MODE)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(handle)
        return None
    return handle


def sync(path: Path) -> None:
    """Make sure that the names given in a folder, or the bytes of a file, last."""
    if os.name == "nt":
        return  # Windows cannot open a folder; the rename is journalled there
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _not_written(path: Path, error: OSError) -> StoreError:
    return StoreError(
        f"{path}: not written ({error.strerror}); nothing was changed. Free some space or name another place, "
        "then run it again."
    )
