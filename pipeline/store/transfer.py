"""The record as one JSON file: events and the files that they name, out and in again without loss.

The form has a published JSON Schema (``record.schema.json`` beside this module). Every file but sound is inside, its
bytes named by their SHA-256; sound lies beside the JSON as ``sound/<SHA-256>``, or nowhere.
"""

import base64
import hashlib
import json
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

import sqlalchemy as sa
from pydantic import AwareDatetime, Field, ValidationError
from pydantic_core import from_json

from pipeline.errors import InputError
from pipeline.model import Destroyed, Frozen, Infant, Transcript
from pipeline.store import schema
from pipeline.store.blobs import Blobs
from pipeline.store.chain import content_hash
from pipeline.store.events import (
    Contact,
    Event,
    InfantEntered,
    InfantRevised,
    InfantsMerged,
    InfantsSplit,
    Payload,
    PractitionerEntered,
    PractitionerRevised,
    RecordingSealed,
    Redaction,
    Signed,
    SoundDestroyed,
    TranscriptMade,
    VisitMoved,
    VisitOpened,
    event_of,
)
from pipeline.store.people import root
from pipeline.store.store import Writing
from pipeline.store.tombstones import DESTROYS, attested, destroyings, in_place_of, replaced_files

FORMAT = "handspoken record"
VERSION = 1
SOUND_FOLDER = "sound"
MAX_BYTES = 512 * 2**20
_BATCH = 500  # ids asked for at once

ID = re.compile("[0-9A-HJKMNP-TV-Z]{26}")
_FILE_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
Id = Annotated[str, Field(pattern=f"^{ID.pattern}$", description="A ULID.")]
Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$", description="SHA-256 of bytes, in hexadecimal.")]


class KeptEvent(Frozen):
    """One event, as it was made."""

    id: Id
    at: AwareDatetime
    author: str
    infant: Id | None
    visit: Id | None
    payload: Payload


class KeptFile(Frozen):
    """A file that an event names: its text, its bytes, or neither where it is sound that lies outside."""

    sha256: Sha256
    text: str | None = None
    base64: str | None = None

    @property
    def outside(self) -> bool:
        """Whether its bytes are not in the JSON."""
        return self.text is None and self.base64 is None

    def data(self) -> bytes:
        """The bytes, checked. Raises InputError."""
        try:
            data = self.text.encode() if self.text is not None else base64.b64decode(self.base64 or "", validate=True)
        except ValueError as error:
            raise InputError(f"the file {self.sha256[:12]}… in it is no base64; nothing was imported.") from error
        if hashlib.sha256(data).hexdigest() != self.sha256:
            raise InputError(
                f"the file {self.sha256[:12]}… in it is damaged (its hash is another); nothing was imported."
            )
        return data


class RecordFile(Frozen):
    """The whole file. Events stand in the order of replay."""

    format: Literal["handspoken record"]
    version: Literal[1]
    program: str
    events: tuple[KeptEvent, ...]
    files: tuple[KeptFile, ...]


def json_schema() -> dict[str, Any]:
    """The published JSON Schema (2020-12) of a record file."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:handspoken:schema:record:{VERSION}",
        **RecordFile.model_json_schema(mode="validation"),
        "title": "A record of handspoken",
    }


# ---------------------------------------------------------------- out


def events_of(connection: sa.Connection, visits: set[str], infant: str | None, events: list[Event]) -> list[Event]:
    """The events of these visits, of ``infant`` beside its visits, and those that they cannot be understood without.

    These are what is known of every infant that a visit was ever filed to, a recording that a twin's visit holds, and
    the practitioners who made them.
    In order of replay.
    """
    c = schema.visit.c
    wanted = sa.select(c.recording).where(c.id.in_(visits), c.recording.is_not(None))
    recordings = set(connection.scalars(wanted))
    own = _with_merged({infant} if infant else set(), events)
    filed = {e.payload.infant for e in events if e.visit in visits and isinstance(e.payload, VisitOpened | VisitMoved)}
    named = _with_merged(own | filed, events)

    def belongs(event: Event) -> bool:
        match event.payload:
            case InfantEntered(infant=told) | InfantRevised(infant=told) | InfantsSplit(kept=told):
                return told.id in named
            case InfantsMerged(kept=kept):
                return kept in named
            case RecordingSealed(recording=recording):
                return recording.id in recordings
            case (
                TranscriptMade(recording=recording)
                | Redaction(recording=recording)
                | SoundDestroyed(recording=recording)
            ):
                return recording in recordings
        return event.visit in visits if event.visit else event.infant in own

    authors = {event.author for event in events if belongs(event)} - {""}

    def told(event: Event) -> bool:
        payload = event.payload
        return isinstance(payload, PractitionerEntered | PractitionerRevised) and payload.practitioner.id in authors

    return [event for event in events if belongs(event) or told(event)]


def _with_merged(infants: set[str], events: list[Event]) -> set[str]:
    """These entries and all that were ever merged with one of them."""
    merges = [event.payload for event in events if isinstance(event.payload, InfantsMerged)]
    found, before = set(infants), -1
    while len(found) != before:
        before = len(found)
        found |= {one for m in merges if {m.kept, m.merged} & found for one in (m.kept, m.merged)}
    return found


def files_of(payload: Payload) -> Iterator[tuple[str, bool]]:
    """The hashes of the files that an event names, each with whether it is sound."""
    match payload:
        case RecordingSealed(recording=recording):
            yield recording.sha256, recording.spoken
        case TranscriptMade(sha256=sha256):
            yield sha256, False
        case Signed(note=note, renderings=renderings):
            yield from ((sha256, False) for sha256 in (note, *renderings.values()))
        case Contact(files=files):
            yield from ((file.sha256, False) for file in files)


def written(events: Iterable[Event], blobs: Blobs, program: str) -> Iterator[bytes]:
    """The record file in pieces, so that memory stays flat. Raises StoreError where a file is damaged."""
    head = {"format": FORMAT, "version": VERSION, "program": program}
    yield _json(head)[:-1].encode() + b',"events":[\n'
    wanted: dict[str, bool] = {}
    told = list(events)
    replaced = replaced_files(event.payload for event in told)
    for n, event in enumerate(told):
        row = event.model_dump(mode="json", exclude={"seq"})
        yield (b",\n" if n else b"") + _json(row).encode()
        for came, sound in files_of(event.payload):
            if sha256 := in_place_of(came, replaced):
                wanted[sha256] = wanted.get(sha256, True) and sound
    yield b'\n],"files":[\n'
    for n, (sha256, sound) in enumerate(sorted(wanted.items())):
        yield (b",\n" if n else b"") + _json(_kept(sha256, sound, blobs)).encode()
    yield b"\n]}\n"


def _kept(sha256: str, sound: bool, blobs: Blobs) -> dict[str, str]:
    if sound:
        return {"sha256": sha256}
    data = blobs.read(sha256)
    try:
        return {"sha256": sha256, "text": data.decode()}
    except UnicodeDecodeError:
        return {"sha256": sha256, "base64": base64.b64encode(data).decode()}


def _json(data: object) -> str:
    return json.dumps(data, ensure_ascii=False, separators=(",", ":"))


# ---------------------------------------------------------------- in


def read_record(path: Path) -> RecordFile:
    """Read and check a record file; every hash, id and reference in it holds then. Raises InputError."""
    try:
        if path.stat().st_size > MAX_BYTES:
            raise InputError(f"{path}: larger than {MAX_BYTES // 2**20} MiB, so it is not read as a record file.")
        told = from_json(path.read_bytes(), allow_inf_nan=False)
    except ValueError as error:
        raise InputError(f"{path}: cannot be read as JSON ({error}); nothing was imported.") from error
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}).") from error
    if not isinstance(told, dict) or told.get("format") != FORMAT:
        raise InputError(f'{path}: no record file of this program ("format" is not "{FORMAT}"); nothing was imported.')
    if told.get("version") != VERSION:
        raise InputError(
            f"{path}: is of version {str(told.get('version'))[:20]}, this program reads version {VERSION}; update the "
            "program. Nothing was imported."
        )
    try:
        file = RecordFile.model_validate(told)
        _check(file)
    except ValidationError as error:
        fault = error.errors()[0]
        where = ".".join(map(str, fault["loc"]))[:120]
        raise InputError(f"{path}: {where}: {fault['msg']}; nothing was imported.") from error
    except InputError as error:
        raise InputError(f"{path}: {error}") from error
    return file


def as_event(kept: KeptEvent) -> Event:
    """An event of a file as the record holds it; its place in the order comes when it is appended."""
    return Event(seq=0, **{name: getattr(kept, name) for name in KeptEvent.model_fields})


def _check(file: RecordFile) -> None:
    """Whether ids stand once, files are whole and there, and transcripts can be walked. Raises InputError."""
    inside = {kept.sha256: kept for kept in file.files}
    if len({event.id for event in file.events}) != len(file.events) or len(inside) != len(file.files):
        raise InputError("an event or a file stands twice in it; nothing was imported.")
    data = {sha256: kept.data() for sha256, kept in inside.items() if not kept.outside}
    replaced = replaced_files(event.payload for event in file.events)
    for event in file.events:
        for came, sound in files_of(event.payload):
            sha256 = in_place_of(came, replaced)
            if sha256 and sha256 not in (inside if sound else data):
                raise InputError(f"file {sha256[:12]}… that event {event.id} names is not in it; nothing was imported.")
            if sha256 and isinstance(event.payload, TranscriptMade):
                _check_words(data[sha256])
        if isinstance(event.payload, Signed) and not all(map(_FILE_NAME.fullmatch, event.payload.renderings)):
            raise InputError(f"event {event.id} names a signed file that has no plain name; nothing was imported.")


def _check_words(data: bytes) -> None:
    try:
        words = Transcript.model_validate(from_json(data, allow_inf_nan=False))
    except ValueError as error:
        raise InputError("a transcript in it is not of this program's form; nothing was imported.") from error
    ends = [0, *(i1 for _, i1 in words.utterances)]
    ranges = all(i0 < i1 for i0, i1 in words.utterances)
    times = all(0 <= word.start_ms <= word.end_ms for word in words.words)
    if not ranges or not times or [i0 for i0, _ in words.utterances] != ends[:-1] or ends[-1] != len(words.words):
        raise InputError("the words of a transcript in it do not follow each other; nothing was imported.")
    if any(word.i != i for i, word in enumerate(words.words)):
        raise InputError("the words of a transcript in it are not counted from 0; nothing was imported.")


def missing_of(connection: sa.Connection, file: RecordFile) -> tuple[list[KeptEvent], dict[str, Payload]]:
    """The events of a file that are not on record; and by id what stands there for those that it has destroyed.

    What was destroyed here stays so, whatever the file says of it. Raises InputError where an event is there and says
    something else for any other reason.
    """
    c = schema.event.c
    missing: list[KeptEvent] = []
    instead: dict[str, Payload] = {}
    here = attested(destroyings(connection))
    told = attested(event.payload for event in file.events)
    for n in range(0, len(file.events), _BATCH):
        batch = file.events[n : n + _BATCH]
        query = sa.select(schema.event).where(c.id.in_([event.id for event in batch]))
        there = {row.id: event_of(row) for row in connection.execute(query)}
        for event in batch:
            if event.id not in there:
                missing.append(event)
            elif there[event.id].model_copy(update={"seq": 0}) == as_event(event) or event.id in here:
                continue
            elif told.get(event.id) == content_hash("", event.payload.model_dump(mode="json")):
                instead[event.id] = event.payload
            else:
                raise InputError(
                    f"event {event.id} is on record already and says something else; one of the two was altered. "
                    "Nothing was imported."
                )
    return missing, instead


def take_over(unit: Writing, event: Event) -> None:
    """Add an event of a file. Raises InputError where it does not fit what is on record."""
    why = _misfit(unit.connection, event)
    try:
        if not why:
            unit.take_over(event)
            return
    except sa.exc.IntegrityError:
        why = "what it names is not there, or is there twice"
    raise InputError(f"event {event.id} ({event.payload.type}) does not fit the record: {why}. Nothing was imported.")


def _misfit(connection: sa.Connection, event: Event) -> str:
    """Why an event cannot follow what is on record, "" where it can."""
    payload, visit, infant = event.payload, schema.visit.c.id, schema.infant.c.id
    told = [getattr(payload, name) for name in ("infant", "before", "after", "kept") if hasattr(payload, name)]
    for one in (one for one in told if isinstance(one, Infant)):
        if not ID.fullmatch(one.id) or not 1 <= len(one.code_name.strip()) <= 80 or not one.code_name.isprintable():
            return "the id or the code name of its infant cannot be one"
    if isinstance(payload, VisitOpened):
        return "" if payload.visit == event.visit else "it opens another visit than its own"
    if isinstance(payload, InfantsMerged):
        into = connection.execute(sa.select(schema.infant.c.merged_into).where(infant == payload.merged)).scalar()
        if into or root(connection, payload.kept) == payload.merged or payload.kept != payload.after.id:
            return "it merges what is merged"
    if isinstance(payload, (RecordingSealed, TranscriptMade, Destroyed, *DESTROYS)) or event.visit is None:
        return ""  # a twin's recording comes without the twin's visit
    there = connection.execute(sa.select(visit).where(visit == event.visit)).scalar()
    return "" if there else "its visit was not opened"
