"""Visits on record: from a recording to the note's files and a visit kept; and the record made again.

Nothing is changed by a job that fails: input is read first, files are written under temporary names, the record is
changed as a whole, and only then do the files get their names.
"""

from collections.abc import Iterable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, Literal

from pipeline.ages import age_from_birth, age_on, check_gestation
from pipeline.config import Config
from pipeline.errors import InputError
from pipeline.files import Staged, check_place, sha256_of, staged
from pipeline.model import (
    Dropped,
    Infant,
    Recording,
    RecordingLogEntry,
    SpeechModel,
    Stretch,
    Transcript,
    contract_json,
)
from pipeline.records import Drafted, VisitEntry, VisitRecord
from pipeline.run import Source, derive, extraction_json, json_bytes, read_source
from pipeline.stages import Copy, Progress, Stages
from pipeline.store import Store, Writing, new_id
from pipeline.store.events import (
    Consent,
    InfantEntered,
    InfantRevised,
    RecordingSealed,
    TranscriptMade,
    VisitOpened,
    VisitRevised,
)
from pipeline.store.tombstones import destroyed_files, in_place_of
from pipeline.vault import clear_blocks
from pipeline.vtt import write_vtt

OFF_RECORD = "off the record"


@dataclass(frozen=True)
class Told:
    """What the person said about the visit beside the recording; None = not said. ``visit``: one opened by hand."""

    infant: str | None = None
    age: str | None = None
    born: date | None = None
    sex: Literal["female", "male"] | None = None
    gestation_weeks: int | None = None
    on: date | None = None
    visit: str | None = None


@dataclass(frozen=True)
class Done:
    """A drafted visit. ``folder``: where its files are, if they were written. ``filed_before``: the recording was on
    record already; ``changed``: what else was put right.

    ``redrafted``: days of the infant's other visits that were held against what is known now; their files stand as
    they were.
    """

    record: VisitRecord
    drafted: Drafted
    folder: Path | None
    files: tuple[str, ...]
    filed_before: bool
    changed: tuple[str, ...]
    redrafted: tuple[date, ...] = ()

    @property
    def torn(self) -> str:
        """What of the recording was lost, or ""."""
        return self.record.recording.torn

    def as_json(self) -> dict[str, Any]:
        """Items, remarks and note as one object."""
        return {
            "visit": self.record.visit,
            "infant": self.record.infant.code_name,
            "folder": str(self.folder) if self.folder else None,
            "files": list(self.files),
            "filed_before": self.filed_before,
            "torn": self.torn,
            "items": [contract_json(item) for item in self.drafted.extraction.items],
            "remarks": [remark.model_dump(mode="json") for remark in self.drafted.remarks],
            "note": self.drafted.note.model_dump(mode="json"),
        }


def draft(
    path: Path,
    told: Told,
    config: Config,
    stages: Stages,
    *,
    today: date,
    to: Path | None = None,
    on_progress: Progress | None = None,
    log: tuple[RecordingLogEntry, ...] = (),
) -> Done:
    """From a recording or a transcript to the note's files and a visit on record.

    The files go to ``config.note_folder``, which a search plays, and to ``to``. A recording that is on record already
    is drafted again under its own visit. ``log``: what was noted while it was recorded here. Raises InputError,
    ModelError, StoreError; nothing was changed then.
    """
    on = _day(told, today)
    for place in (config.home, *([to] if to else [])):
        check_place(place)
    copy: Copy | None = None
    stretches: tuple[Stretch, ...] | None = None
    with ExitStack() as stack:
        known = stack.enter_context(Store(config.home)) if Store.exists(config.home) else None
        _infant_for(told, known, on)  # what cannot be filed is said before the long hearing
        age_on(on, None, told.gestation_weeks, told.age)
        _refuse_destroyed(path, known)
        source = _on_record(_logged(read_source(path, stages, on_progress), log), known)
        if source.recording.spoken:
            filed = known.visit_of(source.recording.id) if known else None
            stretches = known.visit(filed).stretches if known and filed else None
            copy = stages.copy(path, stretches) if to or not config.encrypted else None
        with staged() as batch:
            store = known or stack.enter_context(Store(config.home))
            with store.writing() as unit:
                visit, before, changed = _file(unit, told, source, on)
                unit.blobs.publish()
                record, drafted = _redraft(unit, visit, stages)
                if copy and record.stretches != stretches:
                    copy = stages.copy(path, record.stretches)
                folder = config.note_folder(visit)
                places = [place for place in (folder, to) if place is not None]
                files = _note_files(drafted, stages, copy) if places else {}
                for place in places:
                    write_note(batch, place, files)
                redrafted = draft_others(unit, record, stages, everything=bool(changed))
            batch.publish()
    return Done(record, drafted, to or folder, tuple(files), before, changed, redrafted)


def _refuse_destroyed(path: Path, known: Store | None) -> None:
    """Raises InputError where a stretch of this very file was destroyed: it would bring it back."""
    if known is None or not path.is_file():
        return
    with known.reading() as connection:
        destroyed = destroyed_files(connection)
    if destroyed and (came := sha256_of(clear_blocks(path))) in destroyed:
        now = in_place_of(came, destroyed)
        instead = f"; draft from what is left of it, {known.blobs.path(now)}" if now else ""
        what = "a stretch of this recording" if now else "the sound of this recording"
        raise InputError(f"{path}: {what} was destroyed and stays so{instead}.")


def _on_record(source: Source, known: Store | None) -> Source:
    """What is left of a recording after a redaction is still that recording, though its bytes are others."""
    name = known.recording_of(source.recording.sha256) if known else None
    if name is None or name == source.recording.id:
        return source
    return replace(
        source,
        transcript=source.transcript.model_copy(update={"recording": name}),
        recording=source.recording.model_copy(update={"id": name}),
    )


def expected(told: Told, config: Config, *, today: date) -> VisitRecord:
    """The visit as it would be filed now, nothing heard yet. Raises InputError where it could not be filed."""
    on = _day(told, today)
    with ExitStack() as stack:
        known = stack.enter_context(Store(config.home)) if Store.exists(config.home) else None
        infant = _infant_for(told, known, on)
        return VisitRecord(
            visit="",
            infant=infant,
            day=on,
            age=age_on(on, infant.born, infant.gestation_weeks, told.age),
            recording=Recording(id="", sha256="", media_type="", duration_ms=0),
            transcript=Transcript(id="", recording="", model=SpeechModel(name="", sha256=""), words=(), utterances=()),
            transcript_sha256="",
            previous=known.previous(infant.id, on) if known else (),
        )


def _day(told: Told, today: date) -> date:
    on = told.on or today
    if on > today:
        raise InputError(f"visit date {on} lies in the future; check --on.")
    return on


def _logged(source: Source, log: tuple[RecordingLogEntry, ...]) -> Source:
    """The recording with its log; what was off the record is named among what was not heard."""
    ends = {entry.at_ms: entry.until_ms for entry in log if entry.kind == "drop"}
    for entry in log:
        if entry.kind == "undrop":
            ends.pop(entry.at_ms, None)
    silent = [Dropped(start_ms=a, end_ms=b, reason=OFF_RECORD) for a, b in ends.items() if b is not None and b > a]
    dropped = tuple(sorted([*source.transcript.dropped, *silent], key=lambda d: d.start_ms))
    return replace(
        source,
        transcript=source.transcript.model_copy(update={"dropped": dropped}),
        recording=source.recording.model_copy(update={"log": log}),
    )


def _note_files(drafted: Drafted, stages: Stages, copy: Copy | None) -> dict[str, bytes]:
    """The files of a draft by name."""
    files = stages.render(drafted.note, drafted.transcript, copy)
    files["words.vtt"] = write_vtt(drafted.transcript).encode()
    files["items.json"] = json_bytes(extraction_json(drafted.extraction, stages.vocab))
    return files


def redraft(unit: Writing, batch: Staged, config: Config, stages: Stages, visits: Iterable[str]) -> tuple[date, ...]:
    """Draft visits again, the oldest first, and stage their files; returns their days.

    What is signed stays as it was signed; only the record behind it is drafted again.
    """
    days = []
    for _, visit in sorted({(unit.visit(visit).day, visit) for visit in visits}):
        record, drafted = _redraft(unit, visit, stages)
        days.append(record.day)
        folder = config.note_folder(visit)
        if folder is not None and not unit.visit(visit).signed:
            write_note(batch, folder, _note_files(drafted, stages, sound_copy(unit, record, stages)))
    return tuple(days)


def sound_copy(unit: Writing, record: VisitRecord, stages: Stages) -> Copy | None:
    """The small copy of the sound that a note carries; None where the visit has none, or came without."""
    sound = unit.blob(record.recording.sha256)
    there = record.recording.spoken and sound.exists()
    return stages.copy(sound, record.stretches) if there else None


def write_note(batch: Staged, folder: Path, files: Mapping[str, bytes]) -> None:
    """Stage the files of a note in its folder. Raises StoreError, InputError where the folder cannot be."""
    for name, data in files.items():
        batch.write(folder / name, data)


def _redraft(unit: Writing, visit: str, stages: Stages) -> tuple[VisitRecord, Drafted]:
    record = unit.record(visit)
    drafted = derive(record, stages)
    unit.put_draft(record, drafted)
    return record, drafted


def _infant_for(told: Told, store: Store | Writing | None, on: date, filed: Infant | None = None) -> Infant:
    """The infant as known plus what is said now. Raises InputError where the two cannot be of one infant."""
    if told.infant is not None and (not told.infant.strip() or len(told.infant) > 80 or not told.infant.isprintable()):
        raise InputError("--infant: give a code name of 1 to 80 printable characters.")
    infant = filed or (store.infant(told.infant.strip()) if store and told.infant else None)
    if (
        filed
        and told.infant
        and told.infant.strip().casefold() not in (filed.code_name.casefold(), filed.id.casefold())
    ):
        raise InputError(
            f"this recording is already filed to the infant {filed.code_name}, not {told.infant}; leave out --infant, "
            "or check that it is the right recording."
        )
    check_gestation(told.gestation_weeks)
    if told.born is not None:
        age_from_birth(told.born, on)
    if infant is None:
        key = new_id()
        name = told.infant.strip() if told.infant else f"unnamed-{key[-8:].lower()}"
        return Infant(id=key, code_name=name, born=told.born, sex=told.sex, gestation_weeks=told.gestation_weeks)
    for what, before, now in (
        ("born on", infant.born, told.born),
        ("sex", infant.sex, told.sex),
        ("weeks of gestation", infant.gestation_weeks, told.gestation_weeks),
    ):
        if before is not None and now is not None and before != now:
            raise InputError(
                f'infant "{infant.code_name}" is on record with {what} {before}, not {now}. Two infants cannot share '
                "one name: give another --infant, or check what was typed."
            )
    return infant.model_copy(
        update={
            "born": infant.born or told.born,
            "sex": infant.sex or told.sex,
            "gestation_weeks": infant.gestation_weeks if told.gestation_weeks is None else told.gestation_weeks,
        }
    )


def draft_others(unit: Writing, record: VisitRecord, stages: Stages, *, everything: bool) -> tuple[date, ...]:
    """Draft the infant's other visits again where this one changes what they rest on; returns their days."""
    beside = unit.drafted_visits(infant=record.infant.id, recording=record.recording.id)
    others = [at for at in beside if at[0] != record.visit]
    if not everything:
        others = [(visit, day) for visit, day in others if (day, visit) > (record.day, record.visit)]
    for visit, _ in others:
        other = unit.record(visit)
        unit.put_draft(other, derive(other, stages))
    return tuple(day for _, day in others)


def _file(unit: Writing, told: Told, source: Source, on: date) -> tuple[str, bool, tuple[str, ...]]:
    """Append what is new; returns the visit, whether the recording was on record before, and what was put right."""
    recording = source.recording
    filed = unit.visit_of(recording.id)
    entry = unit.visit(filed) if filed else _opened(unit, told)
    day = entry.day if entry and told.on is None else on
    infant = _infant_for(told, unit, day, entry.infant if entry else None)
    age = age_on(day, infant.born, infant.gestation_weeks, told.age)
    if entry and age is None:
        age = entry.age
    changed = []
    known = unit.infant(infant.id)
    if known is None:
        unit.append(InfantEntered(infant=infant), infant=infant.id)
    elif known != infant:
        unit.append(InfantRevised(infant=infant), infant=infant.id)
        changed.append("what is known of the infant")
    visit = entry.id if entry else new_id()
    if entry is None:
        opened = VisitOpened(visit=visit, infant=infant.id, day=day, age=age)
        unit.append(opened, visit=visit, infant=infant.id)
    elif (entry.day, entry.age) != (day, age):
        unit.append(VisitRevised(day=day, age=age), visit=visit, infant=infant.id)
        changed.append("the day or the age of the visit")
    if filed is None:
        unit.append(RecordingSealed(recording=recording), visit=visit, infant=infant.id)
        for consent in _consents(recording.log):
            unit.append(consent, visit=visit, infant=infant.id)
        unit.blobs.keep_file(source.path, recording.sha256)
    sha256 = unit.blobs.keep(source.transcript.model_dump_json().encode())
    if entry is None or entry.transcript_sha256 != sha256:
        made = TranscriptMade(
            recording=recording.id,
            sha256=sha256,
            model_sha256=source.transcript.model.sha256,
            vocab_hash=source.transcript.vocab_hash,
        )
        unit.append(made, visit=visit, infant=infant.id)
        if filed:
            changed.append("the words, which were heard anew")
    return visit, filed is not None, tuple(changed)


def _opened(unit: Writing, told: Told) -> VisitEntry | None:
    """The visit opened by hand that the recording was made for. Raises InputError where it has its words already."""
    if told.visit is None:
        return None
    entry = unit.find_visit(told.visit)
    if entry.recording is not None:
        raise InputError(f"visit {entry.id}: it has its recording or its text already; leave out --visit.")
    return entry


def _consents(log: tuple[RecordingLogEntry, ...]) -> list[Consent]:
    """Consent to record as the log tells it; its line reads "given: who", as the recorder writes it."""
    found = []
    for entry in (e for e in log if e.kind == "consent"):
        state, _, giver = entry.text.partition(": ")
        if state in ("given", "declined", "withdrawn"):
            found.append(Consent(scope="record", state=state, giver=giver, at_ms=entry.at_ms))
    return found
