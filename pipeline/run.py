"""The jobs, composed of the stages: transcribe, extract, draft and keep, rebuild.

    sound ──hear──repair──> words ──extract──> items ──check──> remarks ──draft──> note ──render──> files
                              └── kept in the record with the sound; all that follows from them is derived

Nothing is changed by a job that fails: input is read first, files are written under temporary names, the record is
changed as a whole, and only then do the files get their names.
"""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from pipeline.ages import age_from_birth, check_gestation, parse_age
from pipeline.config import Config
from pipeline.errors import HandspokenError, InputError
from pipeline.files import blocks_of, private_folder, staged, write_atomic
from pipeline.model import Age, Extraction, Infant, Recording, Transcript, contract_json
from pipeline.stages import Copy, Progress, Stages
from pipeline.store import Drafted, Store, VisitRecord, Writing, new_id
from pipeline.store.events import (
    InfantEntered,
    InfantRevised,
    RecordingSealed,
    TranscriptMade,
    VisitOpened,
    VisitRevised,
)
from pipeline.vtt import read_vtt, write_vtt

TRANSCRIPT_SUFFIX = ".vtt"
NOTE_PAGE = "note.html"
AGE_DISAGREES_DAYS = 31  # an age said in months and a birth date on record may differ by that much


@dataclass(frozen=True)
class Told:
    """What the person said about the visit beside the recording; None = not said."""

    infant: str | None = None
    age: str | None = None
    born: date | None = None
    gestation_weeks: int | None = None
    on: date | None = None


@dataclass(frozen=True)
class Source:
    """What was heard or read: the words as they go on record, and the bytes that they come from."""

    path: Path
    transcript: Transcript
    recording: Recording
    copy: Copy | None


@dataclass(frozen=True)
class Done:
    """A drafted visit. ``filed_before``: the recording was on record already; ``changed``: what else was put right."""

    record: VisitRecord
    drafted: Drafted
    folder: Path
    files: tuple[str, ...]
    filed_before: bool
    changed: tuple[str, ...]

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


# ---------------------------------------------------------------- words


def read_source(path: Path, stages: Stages, on_progress: Progress | None, *, copy: bool) -> Source:
    """The words of a sound file or of a WebVTT transcript, misheard terms put right. Raises InputError, ModelError."""
    if path.suffix.lower() != TRANSCRIPT_SUFFIX or path.is_dir():
        heard = stages.hear(path, on_progress, copy=copy)
        return Source(path, stages.repair(heard.transcript), heard.recording, heard.copy)
    transcript = read_words(path)
    recording = Recording(
        id=transcript.recording,
        sha256=hashlib.sha256(b"".join(blocks_of(path))).hexdigest(),
        media_type="text/vtt",
        duration_ms=transcript.duration_ms,
        source_name=path.name,
    )
    return Source(path, stages.repair(transcript), recording, None)


def read_words(path: Path) -> Transcript:
    """A WebVTT transcript that holds words. Raises InputError."""
    transcript = read_vtt(path)
    if not transcript.words:
        raise InputError(f"{path}: the transcript holds no words. Check that it is the right file.")
    return transcript


def transcribe(path: Path, to: Path | None, stages: Stages, on_progress: Progress | None) -> Source:
    """Hear a sound file and write its words as WebVTT to ``to``. Raises InputError, ModelError, StoreError."""
    if to is not None and not to.absolute().parent.is_dir():
        raise InputError(f"{to}: there is no folder {to.parent}; make it or name another place.")
    source = read_source(path, stages, on_progress, copy=False)
    if to is not None:
        write_atomic(to, write_vtt(source.transcript).encode())
    return source


# ---------------------------------------------------------------- items


def extract_file(
    path: Path, age: str | None, gestation_weeks: int | None, stages: Stages
) -> tuple[Transcript, Extraction]:
    """The words of a transcript as they were understood, and their items; nothing is stored. Raises InputError."""
    parsed = parse_age(age, gestation_weeks) if age is not None else None
    weeks = check_gestation(gestation_weeks)
    words = stages.doubt(stages.repair(read_words(path)), parsed)
    return words, stages.extract(words, parsed, weeks)


def extract_folder(
    folder: Path, to: Path, age: str | None, gestation_weeks: int | None, stages: Stages, *, explain: bool = False
) -> Iterator[tuple[Path, HandspokenError | None]]:
    """Write ``to/NAME.json`` for every ``folder/NAME.vtt``, one after the other; yields each with its error or None.

    Age and gestation come from ``NAME.json`` beside the transcript where there is one, else from the arguments.
    Raises InputError where there is nothing to do.
    """
    paths = sorted(p for p in folder.iterdir() if p.suffix.lower() == TRANSCRIPT_SUFFIX)
    if not paths:
        raise InputError(f"{folder}: holds no transcript (*{TRANSCRIPT_SUFFIX}).")
    if to.resolve() == folder.resolve():
        raise InputError(f"{to}: is where the transcripts lie; name another folder for the results.")
    private_folder(to)
    for path in paths:
        try:
            said_age, said_gestation = sibling_facts(path)
            weeks = gestation_weeks if said_gestation is None else said_gestation
            _, extraction = extract_file(path, said_age or age, weeks, stages)
            write_atomic(to / f"{path.stem}.json", json_bytes(extraction_json(extraction, explain=explain)))
            yield path, None
        except HandspokenError as error:
            yield path, error


def extraction_json(extraction: Extraction, *, explain: bool = False) -> dict[str, Any]:
    """``{"items": [...]}`` by the findings contract; with ``explain`` the account of the clauses and the traces too."""
    data: dict[str, Any] = {"items": [contract_json(item) for item in extraction.items]}
    if explain:
        data |= extraction.model_dump(mode="json", include={"clauses", "trace"})
    return data


def sibling_facts(path: Path) -> tuple[str | None, int | None]:
    """``age`` and ``gestation_weeks`` of the JSON object beside a file. Raises InputError where it is none."""
    beside = path.with_suffix(".json")
    if not beside.is_file():
        return None, None
    try:
        data = json.loads(beside.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise InputError(f"{beside}: cannot be read as JSON ({error}).") from error
    data = data if isinstance(data, dict) else {}
    age, weeks = data.get("age"), data.get("gestation_weeks")
    if not (age is None or isinstance(age, str)) or not (weeks is None or type(weeks) is int):
        raise InputError(f'{beside}: "age" is text like "9 weeks", "gestation_weeks" a whole number.')
    return age, weeks


def json_bytes(data: object) -> bytes:
    """JSON as this program writes it to files."""
    return (json.dumps(data, ensure_ascii=False, indent=1) + "\n").encode()


# ---------------------------------------------------------------- the draft


def derive(record: VisitRecord, stages: Stages) -> Drafted:
    """Draft a visit from what is on record of it. Pure: also what a rebuild uses."""
    words = stages.doubt(record.transcript, record.age)
    extraction = stages.extract(words, record.age, record.infant.gestation_weeks)
    age = stages.age(record, extraction.items)
    remarks = stages.check(record, extraction, words, age)
    seen = stages.not_looked_at(extraction.items, words, age)
    note = stages.draft(record, extraction, remarks, words, age, seen)
    return Drafted(transcript=words, extraction=extraction, remarks=remarks, note=note)


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
            batch.publish()
    finally:
        if known:
            known.close()
    return Done(record, drafted, to or folder, tuple(files), before is not None, changed)


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
        return Infant(id=key, code_name=name, born=told.born, gestation_weeks=told.gestation_weeks)
    for what, before, now in (
        ("born on", infant.born, told.born),
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
    record = VisitRecord(
        visit=before.visit if before else new_id(),
        infant=infant,
        day=day,
        age=age,
        recording=before.recording if before else source.recording,
        transcript=source.transcript,
        transcript_sha256="",
        edits=before.edits if before else (),
    )
    return record, before


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
