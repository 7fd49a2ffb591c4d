"""The way in: a record file joins the record as a whole or not at all; what is there already is not kept twice."""

import hashlib
from dataclasses import dataclass
from pathlib import Path

from pipeline.config import Config
from pipeline.errors import InputError, NotFoundError
from pipeline.files import blocks_of, staged
from pipeline.stages import Stages
from pipeline.store import Store, Writing
from pipeline.store.events import Signed
from pipeline.store.transfer import SOUND_FOLDER, RecordFile, as_event, files_of, missing_of, read_record, take_over
from pipeline.visits import redraft


@dataclass(frozen=True)
class Imported:
    """What came in: events new and known, the visits drafted, and recordings whose sound was not beside the file."""

    new: int
    known: int
    visits: int
    without_sound: int


def import_file(path: Path, config: Config, stages: Stages) -> Imported:
    """Take a record file into the record, and write the notes of its visits. Raises InputError, StoreError.

    Nothing was changed where it raises.
    """
    file = read_record(path)
    sounds = _sounds_beside(path, file)
    with staged() as batch:
        with Store(config.home) as store, store.writing() as unit:
            new = missing_of(unit.connection, file)
            for kept in file.files:
                if not kept.outside:
                    unit.blobs.keep(kept.data())
            for sha256, sound in sounds.items():
                if sound is not None:
                    unit.blobs.keep_file(sound, sha256)
            unit.blobs.publish()  # they are read again below, and taken back where anything fails
            for event in new:
                take_over(unit, as_event(event))
            came = {visit for visit in {event.visit for event in new if event.visit} if _has_words(unit, visit)}
            beside = {unit.visit(visit).infant.id for visit in came}
            others = {visit for infant in beside for visit, _ in unit.drafted_visits(infant=infant)}
            redraft(unit, batch, config, stages, came | others)
            for event in new:  # what is signed is not drafted again: its files are those that were signed
                folder = config.note_folder(event.visit or "")
                if folder is not None and isinstance(signed := event.payload, Signed) and event.visit:
                    for name, sha256 in signed.renderings.items():
                        batch.write(folder / name, store.blobs.read(sha256))
            without = sum(sound is None and not unit.blob(sha256).exists() for sha256, sound in sounds.items())
        batch.publish()
    return Imported(len(new), len(file.events) - len(new), len(came), without)


def _has_words(unit: Writing, visit: str) -> bool:
    """Whether there is something to draft; a twin's visit may have stayed behind."""
    try:
        return unit.visit(visit).transcript_sha256 is not None
    except NotFoundError:
        return False


def _sounds_beside(path: Path, file: RecordFile) -> dict[str, Path | None]:
    """The sound files beside the JSON by their hash, each checked; None where there is none. Raises InputError."""
    found: dict[str, Path | None] = {}
    for event in file.events:
        for sha256, sound in files_of(event.payload):
            if sound:
                beside = path.parent / SOUND_FOLDER / sha256
                found[sha256] = _checked(beside, sha256) if beside.is_file() else None
    return found


def _checked(path: Path, sha256: str) -> Path:
    digest = hashlib.sha256()
    for block in blocks_of(path):
        digest.update(block)
    if digest.hexdigest() != sha256:
        raise InputError(f"{path}: the sound is damaged (its hash is another); nothing was imported.")
    return path
