"""The jobs, composed of the stages: hear or read the words, extract, draft.

    sound ──hear──repair──> words ──correct──extract──amend──> items ──check──> remarks ──draft──> note

What is kept on record, and how, is composed in ``visits.py``: extraction must start without a database.
"""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.ages import check_gestation, parse_age
from pipeline.errors import HandspokenError, InputError
from pipeline.files import blocks_of, private_folder, write_atomic
from pipeline.model import Extraction, Recording, Transcript, contract_json
from pipeline.records import Drafted, VisitRecord
from pipeline.stages import Progress, Stages
from pipeline.vocabulary import Vocabulary
from pipeline.vtt import read_vtt, write_vtt

TRANSCRIPT_SUFFIX = ".vtt"


@dataclass(frozen=True)
class Source:
    """What was heard or read: the words as they go on record, and the bytes that they come from."""

    path: Path
    transcript: Transcript
    recording: Recording


# ---------------------------------------------------------------- words


def read_source(path: Path, stages: Stages, on_progress: Progress | None) -> Source:
    """The words of a sound file or of a WebVTT transcript, misheard terms put right. Raises InputError, ModelError."""
    if path.suffix.lower() != TRANSCRIPT_SUFFIX or path.is_dir():
        heard = stages.hear(path, on_progress)
        return Source(path, stages.repair(heard.transcript), heard.recording)
    transcript = read_words(path)
    recording = Recording(
        id=transcript.recording,
        sha256=hashlib.sha256(b"".join(blocks_of(path))).hexdigest(),
        media_type="text/vtt",
        duration_ms=transcript.duration_ms,
        source_name=path.name,
    )
    return Source(path, stages.repair(transcript), recording)


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
    source = read_source(path, stages, on_progress)
    if to is not None:
        write_atomic(to, write_vtt(source.transcript).encode())
    return source


# ---------------------------------------------------------------- items


def extract_file(
    path: Path, age: str | None, gestation_weeks: int | None, stages: Stages
) -> tuple[Transcript, Extraction]:
    """The words of a transcript as they were understood, and their items; nothing is stored. Raises InputError."""
    parsed = parse_age(age, gestation_weeks) if age is not None else None
    check_gestation(gestation_weeks)
    words = stages.doubt(stages.repair(read_words(path)), parsed)
    return words, stages.extract(words, parsed)


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
            data = extraction_json(extraction, stages.vocab, explain=explain)
            write_atomic(to / f"{path.stem}.json", json_bytes(data))
            yield path, None
        except HandspokenError as error:
            yield path, error


def extraction_json(extraction: Extraction, vocab: Vocabulary, *, explain: bool = False) -> dict[str, Any]:
    """``items`` by the findings contract; ``beyond``: those of concepts that the contract does not list, likewise.

    With ``explain`` the account of the clauses and the traces too.
    """
    data: dict[str, Any] = {"items": [], "beyond": []}
    for item in extraction.items:
        concept = vocab.concepts.get(item.concept)
        data["beyond" if concept is not None and concept.beyond else "items"].append(contract_json(item))
    if explain:
        data |= extraction.model_dump(mode="json", include={"clauses", "trace"})
    return data


def sibling_facts(path: Path) -> tuple[str | None, int | None]:
    """``age`` and ``gestation_weeks`` of the JSON object beside a file. Raises InputError where it is none."""
    data = read_beside(path)
    age, weeks = data.get("age"), data.get("gestation_weeks")
    if not (age is None or isinstance(age, str)) or not (weeks is None or type(weeks) is int):
        beside = path.with_suffix(".json")
        raise InputError(f'{beside}: "age" is text like "9 weeks", "gestation_weeks" a whole number.')
    return age, weeks


def read_beside(path: Path) -> dict[str, Any]:
    """The JSON object ``NAME.json`` beside a file, {} where there is none. Raises InputError where it is no JSON."""
    beside = path.with_suffix(".json")
    if not beside.is_file():
        return {}
    try:
        data = json.loads(beside.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise InputError(f"{beside}: cannot be read as JSON ({error}).") from error
    return data if isinstance(data, dict) else {}


def json_bytes(data: object) -> bytes:
    """JSON as this program writes it to files."""
    return (json.dumps(data, ensure_ascii=False, indent=1) + "\n").encode()


# ---------------------------------------------------------------- the draft


def derive(record: VisitRecord, stages: Stages) -> Drafted:
    """Draft a visit from what is on record of it, a person's edits included. Pure: also what a rebuild uses."""
    edits = stages.standing(record.edits)
    record = record.model_copy(update={"edits": edits})
    heard = record.transcript if record.stretches is None else record.transcript.within(record.stretches)
    meant, unattached = stages.correct(heard, edits)
    words = meant if record.written else stages.doubt(meant, record.age)  # what was typed was not misheard
    extraction, changes = stages.amend(stages.extract(words, record.age), words, edits, unattached)
    age = stages.age(record, extraction.items)
    remarks = changes.answered(stages.check(record, extraction, words, age))
    seen = stages.not_looked_at(record, extraction.items, words, age)
    note = stages.draft(record, extraction, remarks, words, age, seen, changes)
    return Drafted(transcript=words, extraction=extraction, remarks=remarks, note=note, changes=changes)
