"""The record's way out: a visit, an infant or all of it as FHIR, JSON, a table or tracks.

What goes out is complete: it names the infant and holds what was said, unless a copy without names is asked for.
"""

import secrets
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, time
from pathlib import Path
from typing import Any, Literal

from pipeline import __version__
from pipeline.config import Config
from pipeline.errors import InputError, NotFoundError
from pipeline.export import Nameless, VisitDocument, csv_blocks, document_bundle, lines_track, parquet
from pipeline.export.visit import Addition, ConsentTold, Signature
from pipeline.files import Staged, check_place, staged, write_atomic
from pipeline.model import Changes, Extraction, Note, SpeechModel, Transcript
from pipeline.records import ContactEntry, Drafted, FiledVisit, VisitOnRecord, VisitRecord
from pipeline.run import derive
from pipeline.stages import Stages
from pipeline.store import Store
from pipeline.store.entries import find_visit
from pipeline.store.events import Addendum, Consent, Event, Signed
from pipeline.store.items import filed_visits
from pipeline.store.readings import note_reading
from pipeline.store.tombstones import in_place_of, replaced_files
from pipeline.store.transfer import SOUND_FOLDER, events_of, files_of, written
from pipeline.vault import clear_bytes, keys_of, stored
from pipeline.vocabulary import load_vocabulary
from pipeline.vtt import write_vtt

PROGRAM = f"handspoken {__version__}"
_KEY = "nameless.key"


Form = Literal["fhir", "json", "csv", "parquet", "vtt"]


@dataclass(frozen=True)
class Wish:
    """How it is to go out. sound: carry the recordings. nameless: without names, words and sound. suggest: codes."""

    form: Form
    sound: bool = False
    nameless: bool = False
    suggest: bool = False


@dataclass
class Exported:
    """What was written: the files, how many visits, how many of them unsigned, and what could not go out and why."""

    folder: Path
    files: list[Path] = field(default_factory=list)
    visits: int = 0
    unsigned: int = 0
    nameless: bool = False
    left_out: list[str] = field(default_factory=list)


def export(key: str | None, wish: Wish, to: Path, config: Config, stages: Stages) -> Exported:
    """Write a visit, an infant's visits, or where ``key`` is None the whole record, into the folder ``to``.

    Raises InputError, NotFoundError, StoreError; nothing was written then.
    """
    _refuse(wish)
    check_place(to)
    if not Store.exists(config.home):
        raise NotFoundError("there is no record yet; draft a visit first.")
    with Store(config.home) as store, staged() as batch:
        chosen, infant = _chosen(store, key)
        unsigned = sum(not visit.signed for visit in chosen)
        done = Exported(to, visits=len(chosen), unsigned=unsigned, nameless=wish.nameless)
        out = _Out(store, config, stages, wish, batch, done)
        match wish.form:
            case "json":
                out.record(None if key is None else chosen, infant)
            case "csv" | "parquet":
                out.table(chosen)
            case _:
                out.documents([visit for visit in chosen if visit.transcribed])
                done.left_out += [f"visit {v.id} ({v.day}): holds no words yet" for v in chosen if not v.transcribed]
        if not done.files:
            raise InputError(f"nothing to write: {'; '.join(done.left_out) or 'the record holds no visit'}.")
        batch.publish()
    visit = chosen[0].id if key is not None and infant is None else None
    payload = {"type": "read", "what": "export", "way": "command", "visits": []}
    note_reading(config.home, payload, visit=visit, infant=infant)
    return done


def _refuse(wish: Wish) -> None:
    if wish.nameless and wish.form in ("json", "vtt"):
        raise InputError(
            f"{wish.form} holds the words that were said, and they can name people; a copy without names goes out as "
            "fhir, csv or parquet."
        )
    if wish.nameless and wish.sound:
        raise InputError("a copy without names carries no sound: a voice tells who it is.")
    if wish.sound and wish.form not in ("fhir", "json"):
        raise InputError(f"{wish.form} carries no sound; fhir and json do.")
    if wish.suggest and wish.form != "fhir":
        raise InputError("codes are suggested in fhir alone.")


def _chosen(store: Store, key: str | None) -> tuple[list[VisitOnRecord], str | None]:
    """The visits asked for, oldest first, and the infant where one was named."""
    visits = sorted(store.visits(), key=lambda visit: (visit.day, visit.id))
    if key is None:
        return visits, None
    if infant := store.infant(key.strip()):
        return [visit for visit in visits if visit.infant == infant.id], infant.id
    try:
        with store.reading() as connection:
            wanted = find_visit(connection, key)
    except NotFoundError as error:
        raise NotFoundError(
            f'"{key[:80]}": the record holds no infant of this name and no visit of this id; `handspoken infant list` '
            "and `handspoken visit list` show them all."
        ) from error
    return [visit for visit in visits if visit.id == wanted.id], None


class _Out:
    """One way out: writes into a batch that is published as a whole."""

    def __init__(self, store: Store, config: Config, stages: Stages, wish: Wish, batch: Staged, done: Exported) -> None:
        self._store, self._stages, self._wish = store, stages, wish
        self._batch, self._done = batch, done
        self._nameless = Nameless(_key(config), load_vocabulary()) if wish.nameless else None

    def record(self, chosen: list[VisitOnRecord] | None, infant: str | None) -> None:
        """The record file, and with sound the recordings beside it."""
        events = self._store.events()
        if chosen is not None:
            with self._store.reading() as connection:
                events = events_of(connection, {visit.id for visit in chosen}, infant, events)
        self._write("record.json", written(events, self._store.blobs, PROGRAM))
        if self._wish.sound:
            for sha256 in dict.fromkeys(_sounds(events)):
                if self._store.blobs.path(sha256).exists():
                    self._write(f"{SOUND_FOLDER}/{sha256}", self._store.blobs.blocks(sha256))
                else:
                    self._done.left_out.append(f"sound {sha256}: is not on this computer")

    def table(self, chosen: list[VisitOnRecord]) -> None:
        """All items of these visits as one table."""
        ids = [visit.id for visit in chosen]
        nameless = self._nameless
        if nameless:
            ids.sort(key=lambda visit: nameless.name("visit", visit))
        vocab = load_vocabulary() if nameless else self._stages.vocab
        with self._store.reading() as connection:
            filed = filed_visits(connection, ids)
            visits = map(nameless.visit, filed) if nameless else filed
            if self._wish.form == "csv":
                self._write("items.csv", csv_blocks(visits, vocab))
            else:
                self._write("items.parquet", parquet(visits, vocab, PROGRAM))

    def documents(self, chosen: Sequence[VisitOnRecord]) -> None:
        """A document, or two tracks, for each visit."""
        for visit in chosen:
            document = self._document(visit.id)
            name = document.record.visit
            if self._wish.form == "vtt":
                self._write(f"{name}.words.vtt", write_vtt(document.drafted.transcript).encode())
                self._write(f"{name}.lines.vtt", lines_track(document).encode())
                continue
            sound = self._sound(document) if self._wish.sound else None
            vocab = self._stages.vocab
            self._write(f"{name}.fhir.json", document_bundle(document, vocab, sound=sound, suggest=self._wish.suggest))

    def _write(self, name: str, data: bytes | Iterator[bytes]) -> None:
        path = self._done.folder / name
        self._batch.write(path, data)
        self._done.files.append(path)

    def _sound(self, document: VisitDocument) -> bytes | None:
        recording = document.record.recording
        if document.record.stretches is not None:
            self._done.left_out.append(f"sound {recording.sha256}: another infant is heard in it too")
            return None
        if self._store.blobs.path(recording.sha256).exists():
            return self._store.blobs.read(recording.sha256)
        self._done.left_out.append(f"sound {recording.sha256}: is not on this computer")
        return None

    def _contacts(self, record: VisitRecord, events: list[Event]) -> tuple[ContactEntry, ...]:
        """The infant's contacts since the visit before; of a signed visit those that were entered before it was."""
        since = record.previous[-1].day if record.previous else None
        signed = next((event.id for event in events if isinstance(event.payload, Signed)), None)
        return tuple(
            contact
            for contact in self._store.contacts(record.infant.id)
            if (since is None or contact.day > since) and contact.day <= record.day
            if signed is None or contact.id < signed
        )

    def _document(self, visit: str) -> VisitDocument:
        record, events = self._store.record(visit), self._store.events(visit=visit)
        document = VisitDocument(
            record=record,
            drafted=derive(record, self._stages),
            changed_at=max(event.at for event in events),
            program=PROGRAM,
            contacts=self._contacts(record, events),
            **_told(events, self._store),
        )
        return _without_names(document, self._nameless, self._stages) if self._nameless else document


def _told(events: list[Event], store: Store) -> dict[str, Any]:
    """What the events of a visit tell beside its words."""
    told: dict[str, Any] = {"consents": (), "additions": ()}
    lines: dict[str, str] = {}
    for event in events:
        match event.payload:
            case Consent(scope=scope, state=state, giver=giver):
                told["consents"] += (ConsentTold(id=event.id, at=event.at, scope=scope, state=state, giver=giver),)
            case Signed() as signed:
                note = Note.model_validate_json(store.stored(signed.note))
                lines = {line.id: line.text for part in note.parts() for line in part.lines}
                asked = {remark.id: remark.title for remark in note.remarks}
                hands = ((signed.signer, signed.role), (signed.second, signed.second_role))
                told |= {
                    "signed_note": note,
                    "signed_sha256": signed.note,
                    "norms_sha256": signed.norms_sha256,
                    "left_open": tuple(f"{asked.get(key, key)}: {why}" for key, why in signed.left_open.items()),
                    "signatures": tuple(Signature(name=n, role=role, at=event.at) for n, role in hands if n),
                }
            case Addendum() as one:
                told["additions"] += (
                    Addition(
                        name=one.signer,
                        role=one.role,
                        at=event.at,
                        text=one.text,
                        what=one.kind.replace("_", " "),
                        reason=one.reason,
                        about=lines.get(one.line, ""),
                    ),
                )
    return told


def _without_names(document: VisitDocument, nameless: Nameless, stages: Stages) -> VisitDocument:
    """The document drafted anew from items without words; who signed is not told, and when only by the shifted day."""
    record, infant = document.record, document.record.infant
    filed = nameless.visit(_filed(document))
    at = datetime.combine(filed.day, time(), UTC)
    words = Transcript(
        id="", recording="", model=SpeechModel(name="", sha256=""), words=(), utterances=(), duration_ms=0
    )
    bare = VisitRecord(
        visit=filed.visit,
        infant=nameless.infant(infant),
        day=filed.day,
        age=filed.age,
        recording=record.recording.model_copy(update={"id": "", "sha256": "", "source_name": "", "torn": ""}),
        transcript=words,
        transcript_sha256="",
    )
    extraction = Extraction(items=filed.items, clauses=())
    note = stages.draft(bare, extraction, (), words, filed.age, (), Changes())
    note = note.model_copy(update={"vocab_hash": ""})  # the clinician's own words are part of that hash
    drafted = Drafted(transcript=words, extraction=extraction, remarks=(), note=note)
    signed = (Signature(name="practitioner", at=at),) if document.signatures else ()
    return VisitDocument(record=bare, drafted=drafted, changed_at=at, program=PROGRAM, signatures=signed, nameless=True)


def _filed(document: VisitDocument) -> FiledVisit:
    record = document.record
    return FiledVisit(
        visit=record.visit,
        infant=record.infant,
        day=record.day,
        age=document.note.age,
        recording="",
        signed=bool(document.signatures),
        items=document.drafted.extraction.items,
    )


def _sounds(events: Sequence[Event]) -> Iterator[str]:
    replaced = replaced_files(event.payload for event in events)
    for event in events:
        now = (in_place_of(sha256, replaced) for sha256, sound in files_of(event.payload) if sound)
        yield from filter(None, now)


def _key(config: Config) -> bytes:
    """The key of the copies without names, made once: with it, all copies of one infant fit together."""
    path = config.home / _KEY
    if not path.exists():
        write_atomic(path, stored(secrets.token_hex(32).encode(), path, keys_of(config.home)))
    try:
        return bytes.fromhex(clear_bytes(path).decode("ascii").strip())
    except (OSError, ValueError) as error:
        raise InputError(f"{path}: cannot be read as a key; remove it, and the next copies get a new one.") from error
