"""Visits on record: from a recording to the note's files and a visit kept; and the record made again.

Nothing is changed by a job that fails: input is read first, files are written under temporary names, the record is
changed as a whole, and only then do the files get their names.
"""

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Literal

from pipeline.ages import age_from_birth, check_gestation, parse_age
from pipeline.config import Config
from pipeline.errors import InputError
from pipeline.files import check_place, staged
from pipeline.model import Age, Infant, contract_json
from pipeline.records import Drafted, VisitRecord
from pipeline.run import Source, derive, extraction_json, json_bytes, read_source
from pipeline.stages import Progress, Stages
from pipeline.store import Store, Writing, new_id
from pipeline.store.events import (
    InfantEntered,
    InfantRevised,
    RecordingSealed,
    TranscriptMade,
    VisitOpened,
    VisitRevised,
)
from pipeline.vtt import write_vtt

AGE_DISAGREES_DAYS = 31  # an age said in months and a birth date on record may differ by that much


@dataclass(frozen=True)
class Told:
    """What the person said about the visit beside the recording; None = not said."""

    infant: str | None = None
    age: str | None = None
    born: date | None = None
    sex: Literal["female", "male"] | None = None
    gestation_weeks: int | None = None
    on: date | None = None


@dataclass(frozen=True)
class Done:
    """A drafted visit. ``filed_before``: the recording was on record already; ``changed``: what else was put right.

    ``redrafted``: days of the infant's other visits that were held against what is known now; their files stand as
    they were.
    """

    record: VisitRecord
    drafted: Drafted
    folder: Path
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
            "folder": str(self.folder),
            "files": list(self.files),
            "filed_before": self.filed_before,
            "torn": self.torn,
            "items": [contract_json(item) for item in self.drafted.extraction.items],
            "remarks": [remark.model_dump(mode="json") for remark in self.drafted.remarks],
            "note": self.drafted.note.model_dump(mode="json"),
        }


def rebuild(config: Config, stages: Stages) -> int:
    """Make all derived tables again from events and blobs; returns the number of visits. Raises StoreError."""
    with Store(config.home) as store:
        return store.rebuild(lambda record: derive(record, stages))


def draft(
    path: Path,
    told: Told,
    config: Config,
    stages: Stages,
    *,
    today: date,
    to: Path | None = None,
    on_progress: Progress | None = None,
) -> Done:
    """From a recording or a transcript to the note's files and a visit on record.

    The files go to ``config.notes/<visit>``, which a search plays, and to ``to``. A recording that is on record already
    is drafted again under its own visit. Raises InputError, ModelError, StoreError; nothing was changed then.
    """
    on = told.on or today
    if on > today:
        raise InputError(f"visit date {on} lies in the future; check --on.")
    for place in (config.home, *([to] if to else [])):
        check_place(place)
    known = Store(config.home) if Store.exists(config.home) else None
    try:
        _infant_for(told, known, on)  # what cannot be filed is said before the long hearing
        _age_for(told, None, on)
        source = read_source(path, stages, on_progress, copy=True)
        record, before = _visit_for(told, source, known, on)
        drafted = derive(record, stages)
        files = stages.render(drafted.note, drafted.transcript, source.copy)
        files["words.vtt"] = write_vtt(drafted.transcript).encode()
        files["items.json"] = json_bytes(extraction_json(drafted.extraction))
        folder = config.notes / record.visit
        with staged() as batch:
            for place in (folder, to) if to else (folder,):
                for name, data in files.items():
                    batch.write(place / name, data)
            with known or Store(config.home) as store, store.writing() as unit:
                record, changed = _file(unit, record, before, source)
                unit.put_draft(record, drafted)
                redrafted = _draft_others(unit, record, stages, everything=bool(changed))
            batch.publish()
    finally:
        if known:
            known.close()
    return Done(record, drafted, to or folder, tuple(files), before is not None, changed, redrafted)


def _infant_for(told: Told, store: Store | None, on: date, filed: Infant | None = None) -> Infant:
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


def _age_for(told: Told, infant: Infant | None, on: date) -> Age | None:
    """The age at the visit, by what was typed or the birth date. Raises InputError where the two disagree."""
    weeks = told.gestation_weeks if infant is None else infant.gestation_weeks
    born = told.born if infant is None else infant.born
    typed = parse_age(told.age, weeks) if told.age is not None else None
    counted = age_from_birth(born, on, weeks) if born is not None else None
    if typed and counted and abs(typed.days - counted.days) > AGE_DISAGREES_DAYS:
        raise InputError(
            f"age {typed.as_said} does not go with the birth date {born}: on {on} that is {counted.days} days. "
            "Check --age, --on and --infant."
        )
    return typed or counted


def _visit_for(told: Told, source: Source, store: Store | None, on: date) -> tuple[VisitRecord, VisitRecord | None]:
    """The visit as it is to stand, and as it stands on record now where the recording is filed already."""
    visit = store.visit_of(source.recording.id) if store else None
    before = store.record(visit) if store and visit else None
    day = before.day if before and told.on is None else on
    infant = _infant_for(told, store, day, before.infant if before else None)
    age = _age_for(told, infant, day)
    if before and age is None:
        age = before.age
    visit = before.visit if before else new_id()
    previous, known_names = store.known_before(infant.id, day, visit) if store else ((), ())
    record = VisitRecord(
        visit=visit,
        infant=infant,
        day=day,
        age=age,
        recording=before.recording if before else source.recording,
        transcript=source.transcript,
        transcript_sha256="",
        edits=before.edits if before else (),
        previous=previous,
        known_names=known_names,
    )
    return record, before


def _draft_others(unit: Writing, record: VisitRecord, stages: Stages, *, everything: bool) -> tuple[date, ...]:
    """Draft the infant's other visits again where this one changes what they rest on; returns their days."""
    beside = unit.drafted_visits(infant=record.infant.id, recording=record.recording.id)
    others = [at for at in beside if at[0] != record.visit]
    if not everything:
        others = [(visit, day) for visit, day in others if (day, visit) > (record.day, record.visit)]
    for visit, _ in others:
        other = unit.record(visit)
        unit.put_draft(other, derive(other, stages))
    return tuple(day for _, day in others)


def _file(
    unit: Writing, record: VisitRecord, before: VisitRecord | None, source: Source
) -> tuple[VisitRecord, tuple[str, ...]]:
    """Append what is new about the visit; returns it as it is on record now, and what was put right."""
    visit, infant = record.visit, record.infant
    changed = []
    known = unit.infant(infant.id)
    if known is None:
        unit.append(InfantEntered(infant=infant), infant=infant.id)
    elif known != infant:
        unit.append(InfantRevised(infant=infant), infant=infant.id)
        changed.append("what is known of the infant")
    if before is None:
        opened = VisitOpened(visit=visit, infant=infant.id, day=record.day, age=record.age)
        unit.append(opened, visit=visit, infant=infant.id)
        unit.append(RecordingSealed(recording=record.recording), visit=visit, infant=infant.id)
        unit.blobs.keep_file(source.path, record.recording.sha256)
    elif (before.day, before.age) != (record.day, record.age):
        unit.append(VisitRevised(day=record.day, age=record.age), visit=visit, infant=infant.id)
        changed.append("the day or the age of the visit")
    sha256 = unit.blobs.keep(record.transcript.model_dump_json().encode())
    if before is None or before.transcript_sha256 != sha256:
        made = TranscriptMade(
            recording=record.recording.id,
            sha256=sha256,
            model_sha256=record.transcript.model.sha256,
            vocab_hash=record.transcript.vocab_hash,
        )
        unit.append(made, visit=visit, infant=infant.id)
        if before is not None:
            changed.append("the words, which were heard anew")
    return record.model_copy(update={"transcript_sha256": sha256}), tuple(changed)
