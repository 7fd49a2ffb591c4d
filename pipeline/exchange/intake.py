"""The way in: a record file joins the record as a whole or not at all; what is there already is not kept twice."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from pipeline.config import Config
from pipeline.errors import InputError, NotFoundError
from pipeline.files import blocks_of, sha256_of, staged
from pipeline.redaction import destroy_again, finish, note_due, resume, signed_files
from pipeline.retention import UNTOUCHED
from pipeline.stages import Stages
from pipeline.store import Store, Writing
from pipeline.store.events import RecordDestroyed, Redaction, Signed, SoundDestroyed
from pipeline.store.holds import refuse_held, refuse_held_infants
from pipeline.store.tombstones import destroyed_files, in_place_of, put_in_place, replaced_files
from pipeline.store.transfer import SOUND_FOLDER, RecordFile, as_event, files_of, missing_of, read_record, take_over
from pipeline.visits import redraft


@dataclass(frozen=True)
class Imported:
    """What came in: events new and known, the visits drafted, and recordings whose sound was not beside the file.

    destroyed: redactions of the file that were carried out here too, and of here that were on what came in.
    """

    new: int
    known: int
    visits: int
    without_sound: int
    destroyed: int = 0


def import_file(path: Path, config: Config, stages: Stages, *, destroy: bool = False) -> Imported:
    """Take a record file into the record, and write the notes of its visits. Raises InputError, StoreError.

    What was destroyed here is not brought back. destroy: what the file says was destroyed, and what is still here, is
    destroyed here too; without, a file that says so is refused. Nothing was changed where it raises.
    """
    file = read_record(path)
    sounds = _sounds_beside(path, file)
    resume(config, stages)
    with staged() as batch, Store(config.home) as store:
        with store.writing() as unit:
            new, instead = missing_of(unit.connection, file)
            gone = destroyed_files(unit.connection)
            told = [e.payload for e in new if isinstance(e.payload, Redaction | SoundDestroyed | RecordDestroyed)]
            theirs = [
                one
                for one in told
                if any(map(_here(unit), one.replaced)) or instead.keys() & getattr(one, "events", {}).keys()
            ]
            if theirs and not destroy:
                raise InputError(
                    f"{path}: says that {len(theirs)} stretches were destroyed which are still on record here; import "
                    "it with --destroy to destroy them here too. Nothing was imported."
                )
            if theirs:
                known = set(unit.visits_with_words())
                refuse_held(unit.connection, [e.visit for e in new if e.visit in known and e.payload in theirs])
            doomed = {visit for one in theirs if isinstance(one, RecordDestroyed) for visit in _whole(unit, one)}
            for kept in file.files:
                if not kept.outside and kept.sha256 not in gone:
                    unit.blobs.keep(kept.data())
            for sha256, sound in sounds.items():
                if sound is not None and sha256 not in gone:
                    unit.blobs.keep_file(sound, sha256)
            unit.blobs.publish()  # they are read again below, and taken back where anything fails
            put_in_place(unit.connection, instead)
            for event in new:
                take_over(unit, as_event(event))
            came = {visit for visit in {event.visit for event in new if event.visit} if _has_words(unit, visit)}
            again = destroy_again(unit, came, stages)
            beside = {unit.visit(visit).infant.id for visit in came}
            others = {visit for infant in beside for visit, _ in unit.drafted_visits(infant=infant)}
            redraft(unit, batch, config, stages, came | others)
            for event in new:  # what is signed is not drafted again: its files are those that were signed
                folder = config.note_folder(event.visit or "")
                if folder is not None and isinstance(event.payload, Signed) and event.visit:
                    for name, data in signed_files(unit, event.visit):
                        batch.write(folder / name, data)
            without = sum(sound is None and not unit.blob(sha256).exists() for sha256, sound in sounds.items())
            if theirs or again:
                note_due(config, came | doomed)
        batch.publish()
        if theirs or again:
            finish(store, config, stages)
    return Imported(len(new), len(file.events) - len(new), len(came), without, len(theirs) + again)


def _whole(unit: Writing, told: RecordDestroyed) -> list[str]:
    """The visits here of an infant whose record was destroyed elsewhere. Raises InputError where more is on record here
    of it, or under a legal hold."""
    refuse_held_infants(unit.connection, told.infants)
    found = []
    for infant in told.infants:
        visits = [visit.id for visit in unit.visits_of(infant=infant)]
        found += visits
        events = [event for visit in visits for event in unit.events(visit=visit)] + unit.events(infant=infant)
        if any(event.id not in told.events and not isinstance(event.payload, UNTOUCHED) for event in events):
            raise InputError(
                f"infant {infant}: its record was destroyed elsewhere, and more was entered here; destroy it here when "
                "its time has come. Nothing was imported."
            )
    return found


def _here(unit: Writing) -> Callable[[str], bool]:
    return lambda sha256: unit.blob(sha256).exists()


def _has_words(unit: Writing, visit: str) -> bool:
    """Whether there is something to draft; a twin's visit may have stayed behind."""
    try:
        return unit.visit(visit).transcript_sha256 is not None
    except NotFoundError:
        return False


def _sounds_beside(path: Path, file: RecordFile) -> dict[str, Path | None]:
    """The sound files beside the JSON by their hash, each checked; None where there is none. Raises InputError."""
    found: dict[str, Path | None] = {}
    replaced = replaced_files(event.payload for event in file.events)
    for event in file.events:
        for came, sound in files_of(event.payload):
            if sound and (sha256 := in_place_of(came, replaced)):
                beside = path.parent / SOUND_FOLDER / sha256
                found[sha256] = _checked(beside, sha256) if beside.is_file() else None
    return found


def _checked(path: Path, sha256: str) -> Path:
    if sha256_of(blocks_of(path)) != sha256:
        raise InputError(f"{path}: the sound is damaged (its hash is another); nothing was imported.")
    return path
