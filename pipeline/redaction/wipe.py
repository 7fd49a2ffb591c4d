"""What a redaction leaves behind once the record says that it is destroyed, and where it is looked for.

Files of the record that nothing names, the notes' files, open recordings that are on record, copies made to check or to
back up, kept results of hearing, free pages and journal of the database. Copies that a person made are out of reach.
"""

import json
from collections.abc import Iterable
from pathlib import Path
from shutil import rmtree

from pipeline.capture import discard_rest, kept
from pipeline.config import Config, cache_folder
from pipeline.errors import StoreError
from pipeline.files import sha256_of, shred, staged, sync, write_atomic
from pipeline.hear import forget_chunks
from pipeline.record import FLAC
from pipeline.stages import Stages
from pipeline.store import Store, Writing
from pipeline.store.events import Signed
from pipeline.store.tombstones import destroyed_files
from pipeline.store.verify import blobs_of
from pipeline.vault import clear_blocks
from pipeline.visits import redraft

MARK = "destroying"  # in the record's folder: something that was destroyed may still lie about
_COPIES = (".verify-*", ".backup-*", ".earlier-*")  # of the database, made by a program that was killed


def due(config: Config) -> bool:
    """Whether a redaction was broken off."""
    return (config.home / MARK).exists()


def note_due(config: Config, visits: Iterable[str]) -> None:
    """Say, before the record does, that something of these visits is going to be destroyed. Raises StoreError."""
    write_atomic(config.home / MARK, json.dumps(sorted(visits)).encode())


def finish(store: Store, config: Config, stages: Stages) -> None:
    """Wipe all of it; may be broken off and run again. Raises StoreError, and the mark stays then."""
    with store.writing() as unit:  # nobody else adds files meanwhile
        store.blobs.destroy_others(blobs_of(unit.events()))
        known = {visit.id for visit in store.visits() if visit.transcribed}
        noted = _noted(config)
        for visit in noted:
            _shred_folder(config.notes / visit)
        visits = known & noted
        with staged() as batch:
            redraft(unit, batch, config, stages, visits)
            for visit in visits:
                if (folder := config.note_folder(visit)) is not None:
                    for name, data in signed_files(unit, visit):
                        batch.write(folder / name, data)
            batch.publish()
        destroyed = destroyed_files(unit.connection)
    _recordings(config, destroyed)
    for pattern in _COPIES:
        for folder in config.home.glob(pattern):
            _shred_folder(folder)
    forget_chunks(cache_folder())
    store.scrub()
    (config.home / MARK).unlink(missing_ok=True)
    sync(config.home)


def _noted(config: Config) -> set[str]:
    try:
        return set(json.loads((config.home / MARK).read_bytes()))
    except (OSError, ValueError, TypeError) as error:
        raise StoreError(
            f"{config.home / MARK}: cannot be read ({error}); `handspoken rebuild`, then remove it."
        ) from error


def signed_files(unit: Writing, visit: str) -> list[tuple[str, bytes]]:
    """What is signed is not drafted again: its files are those that were signed, less what was destroyed of them."""
    gone = destroyed_files(unit.connection)
    return [
        (name, unit.stored(sha256))
        for event in unit.events(visit=visit)
        if isinstance(event.payload, Signed)
        for name, sha256 in event.payload.renderings.items()
        if gone.get(sha256, sha256)
    ]


def _recordings(config: Config, destroyed: dict[str, str]) -> None:
    """Sealed sound that a crash left beside the record."""
    for found in kept(config):
        sealed = found.folder / FLAC
        if sealed.is_file() and sha256_of(clear_blocks(sealed)) in destroyed:
            shred(sealed)
            discard_rest(found.folder)


def _shred_folder(folder: Path) -> None:
    """All in a folder; of a link that stands in its place only the link."""
    if folder.is_symlink():
        shred(folder)
    for path in folder.rglob("*") if folder.is_dir() else ():
        if path.is_symlink() or path.is_file():
            shred(path)
    rmtree(folder, ignore_errors=True)
