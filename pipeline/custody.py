"""The record looked after: made again from its events, held against everything it rests on, backed up, restored."""

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from shutil import rmtree

from pipeline import __version__
from pipeline.config import Config
from pipeline.errors import InputError, NotFoundError
from pipeline.files import private_folder, sync
from pipeline.model import Unattached
from pipeline.records import Drafted, VisitRecord
from pipeline.redaction.wipe import MARK as BROKEN_OFF
from pipeline.run import derive
from pipeline.stages import Stages
from pipeline.store import Store
from pipeline.store.bag import unpack_bag, write_bag
from pipeline.store.reading import DATABASE
from pipeline.store.verify import Fault, Step, Verified, blobs_of, snapshot
from pipeline.store.verify import verify as verify_store

__all__ = ["BackedUp", "Rebuilt", "Verified", "backup", "rebuild", "restore", "verify"]

LEFT_OUT = ("blobs", "models")  # of blobs only those on record go along; speech models can be fetched again
UNFINISHED = ".restoring"  # the end of the name of a folder that a restore has not finished


@dataclass(frozen=True)
class Rebuilt:
    """How many visits were drafted again, and the edits whose place is no longer there, with their visits."""

    visits: int
    unattached: tuple[tuple[str, Unattached], ...]


def rebuild(config: Config, stages: Stages) -> Rebuilt:
    """Make all derived tables again from events and blobs, edits included. Raises NotFoundError, StoreError."""
    loose: list[tuple[str, Unattached]] = []

    def again(record: VisitRecord) -> Drafted:
        drafted = derive(record, stages)
        loose.extend((record.visit, edit) for edit in drafted.changes.unattached)
        return drafted

    with _record(config) as store:
        return Rebuilt(store.rebuild(again), tuple(loose))


def verify(config: Config, stages: Stages, *, head: str | None = None, step: Step) -> Verified:
    """Check everything against everything; changes nothing. Raises NotFoundError, InputError, StoreError."""
    with _record(config) as store:
        found = verify_store(store, config.home, lambda record: derive(record, stages), head=head, step=step)
    if not (config.home / BROKEN_OFF).exists():
        return found
    what = "a redaction was broken off: what it destroyed may still lie about"
    fault = Fault(where=str(config.home), what=what, do="`handspoken redact` finishes it", damage=False)
    return found.model_copy(update={"faults": (*found.faults, fault)})


@dataclass(frozen=True)
class BackedUp:
    """What a backup holds: files and bytes, the newest event that is in it, and how many recordings are not here."""

    to: Path
    files: int
    size: int
    head: str
    without_sound: int


def backup(to: Path, config: Config, *, now: datetime) -> BackedUp:
    """Write the whole record as it is at one moment to one file, while others go on working.

    Raises NotFoundError where there is no record, InputError where ``to`` is there already or inside the record's
    folder, StoreError where the disk is full or a stored file is missing.
    """
    if to.absolute().resolve().is_relative_to(config.home.resolve()):
        raise InputError(f"{to}: lies inside the record's own folder; name another place, best on another disk.")
    if not to.absolute().parent.is_dir():
        raise InputError(f"{to}: there is no folder {to.absolute().parent}; make it or name another place.")
    with _record(config) as store, tempfile.TemporaryDirectory(prefix=".backup-", dir=config.home) as folder:
        copy = Path(folder) / DATABASE
        snapshot(store, copy)
        with Store(Path(folder), copy_of=store) as copied:
            named = blobs_of(copied.events())
            head = copied.head()
        silent = {sha256 for sha256, (_, sound) in named.items() if sound and not store.blobs.path(sha256).exists()}
        paths = [store.blobs.path(one) for one in named if one not in silent]
        blobs = [(f"blobs/{path.parent.name}/{path.name}", path) for path in paths]
        info = {
            "Bagging-Date": now.date().isoformat(),
            "Bag-Software-Agent": f"handspoken {__version__}",
            "Internal-Sender-Description": "A record of handspoken; `handspoken restore` brings it back",
            "Record-Time": now.isoformat(timespec="seconds"),
            "Record-Head": head,
        }
        files, size = write_bag(to, [(DATABASE, copy), *blobs, *_beside(config.home)], info)
    return BackedUp(to, files, size, head, len(silent))


def restore(bag: Path, config: Config, *, step: Step) -> Verified:
    """Bring a backup back into an empty place; it is checked before it gets its name.

    Raises InputError where there is a record or anything else already, or where the backup is damaged or none;
    StoreError where the disk is full.
    """
    home, unfinished = config.home, config.home.with_name(config.home.name + UNFINISHED)
    if not bag.is_file():
        raise InputError(f"{bag}: is no file; name a backup.")
    if home.is_symlink() or (home.exists() and (not home.is_dir() or any(home.iterdir()))):
        raise InputError(
            f"{home}: is not empty, and a restore overwrites nothing; set HANDSPOKEN_HOME to another place."
        )
    if unfinished.exists():
        raise InputError(f"{unfinished}: another restore is running or was broken off; if none is, delete that folder.")
    private_folder(unfinished)
    try:
        step("files")
        told = unpack_bag(bag, unfinished)
        if not (unfinished / DATABASE).is_file():
            raise InputError(f"{bag}: holds no record; use another backup.")
        with Store(unfinished) as store:
            found = verify_store(store, unfinished, None, head=told.get("Record-Head"), step=step)
        if fault := next((fault for fault in found.faults if fault.damage and not fault.no_sound), None):
            raise InputError(f"{bag}: {fault.where}: {fault.what}; use another backup.")
        if home.exists():
            home.rmdir()
        unfinished.rename(home)
        sync(home.parent)
    except OSError as error:
        raise InputError(f"{home}: cannot be written ({error.strerror}); nothing was restored.") from error
    finally:
        if unfinished.exists():
            rmtree(unfinished, ignore_errors=True)
    return found


def _beside(home: Path) -> Iterator[tuple[str, Path]]:
    """Everything else under the folder: notes, own words, settings, open recordings. Links are not followed."""
    for path in sorted(home.rglob("*")):
        inside = path.relative_to(home)
        if path.is_symlink() or not path.is_file() or inside.parts[0] in LEFT_OUT:
            continue
        if any(part.startswith(".") for part in inside.parts) or inside.name.startswith(DATABASE):
            continue
        yield inside.as_posix(), path


def _record(config: Config) -> Store:
    if not Store.exists(config.home):
        raise NotFoundError(f"{config.home}: holds no record yet.")
    return Store(config.home)
