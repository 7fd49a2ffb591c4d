"""Invented visits for the tests of the store, the search and the commands: no sound, no model, nobody real."""

# ruff: noqa: ARG002  (the plain stages take what the Protocol gives and use little of it)

import hashlib
import resource
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path

from pipeline.amend import amend, correct, standing
from pipeline.errors import InputError
from pipeline.model import (
    Age,
    Changes,
    Edit,
    Extraction,
    Infant,
    Item,
    Kind,
    Line,
    Mark,
    Note,
    Recording,
    Remark,
    Section,
    Side,
    Stretch,
    Transcript,
    Unattached,
    Urgency,
    item_id,
    span_of,
)
from pipeline.records import Drafted, Looked, VisitRecord
from pipeline.render import NoteView, view
from pipeline.stages import Copy, Heard, Progress
from pipeline.store import Store, new_id
from pipeline.store.events import InfantEntered, RecordingSealed, TranscriptMade, VisitOpened
from pipeline.vocabulary import Vocabulary

DAY = date(2026, 11, 25)


def item(
    transcript: Transcript,
    words: tuple[int, int],
    concept: str,
    result: str | None,
    *,
    kind: Kind = "finding",
    site: str | None = None,
    side: Side = "none",
    value: float | None = None,
    unit: str | None = None,
    level: str | None = None,
) -> Item:
    """An item resting on the words ``i0 <= i < i1``."""
    span = span_of(transcript.words, *words)
    return Item(
        id=item_id(transcript.recording, concept, site, span.start_ms, words[1]),
        kind=kind,
        concept=concept,
        site=site,
        side=side,
        result=result,
        value=value,
        unit=unit,
        level=level,
        evidence=(span,),
    )


def drafted(record: VisitRecord, items: tuple[Item, ...]) -> Drafted:
    """A plain draft: one line an item, one remark on the first, and the remark once more as a point to check."""
    remarks = tuple(
        Remark(id=f"TEST:{i.concept}", rule="TEST", urgency=Urgency.ASK, title="invented", reason="invented",
               source="invented", mark=Mark.OURS, items=(i.id,), spans=i.evidence)
        for i in items[:1]
    )  # fmt: skip
    lines = tuple(
        Line(id=i.id, text=f"{i.site or ''} {i.concept}: {i.result} {i.side}", items=(i.id,), spans=i.evidence)
        for i in items
    )
    points = tuple(
        Line(id=f"check:{r.id}", text="invented seizure prompt", items=r.items, spans=r.spans) for r in remarks
    )
    note = Note(
        visit=record.visit,
        recording=record.recording.id,
        infant=record.infant,
        age=record.age,
        on=record.day,
        sections=(
            Section(id="found", title="Looked at and found", subsections=(
                Section(id="found.all", title="All", lines=lines),
            )),
            Section(id="check", title="Points to check", lines=points),
        ),
        remarks=remarks,
        program="test",
        vocab_hash="0" * 64,
    )  # fmt: skip
    return Drafted(
        transcript=record.transcript, extraction=Extraction(items=items, clauses=()), remarks=remarks, note=note
    )


def record_of(transcript: Transcript, infant: Infant, day: date = DAY, age: Age | None = None) -> VisitRecord:
    """A visit with this transcript as it would stand in the record; nothing is stored."""
    return VisitRecord(
        visit=new_id(),
        infant=infant,
        day=day,
        age=age,
        recording=Recording(id=transcript.recording, sha256=transcript.recording, media_type="text/vtt",
                            duration_ms=transcript.duration_ms),
        transcript=transcript,
        transcript_sha256="",
    )  # fmt: skip


def file_visit(store: Store, record: VisitRecord, *items: Item) -> VisitRecord:
    """Store a visit with its draft, entering the infant where it is not known; returns it as it is on record."""
    visit, infant = record.visit, record.infant
    with store.writing() as unit:
        sha256 = unit.blobs.keep(record.transcript.model_dump_json().encode())
        if store.infant(infant.id) is None:
            unit.append(InfantEntered(infant=infant), infant=infant.id)
        opened = VisitOpened(visit=visit, infant=infant.id, day=record.day, age=record.age)
        unit.append(opened, visit=visit, infant=infant.id)
        unit.append(RecordingSealed(recording=record.recording), visit=visit)
        made = TranscriptMade(recording=record.recording.id, sha256=sha256, model_sha256="0" * 64, vocab_hash="0" * 64)
        unit.append(made, visit=visit)
        stored = record.model_copy(update={"transcript_sha256": sha256})
        unit.put_draft(stored, drafted(stored, items))
    return stored


def infant(code_name: str = "robin", **known: object) -> Infant:
    """An infant by code name."""
    return Infant.model_validate({"id": new_id(), "code_name": code_name, **known})


@contextmanager
def files_limited_to(size: int) -> Iterator[None]:
    """A full disk, as near as a test may come: the system refuses to write files beyond ``size`` bytes."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, handler)


class PlainStages:
    """Stages for tests of what composes them: the "sound" is a file of text, a word "clunk" makes an item.

    "no clunk" is absent, else present. ``torn`` is what every recording lost; ``word`` is heard as "clunk" by repair.
    """

    vocab = Vocabulary(concepts={}, sites={}, cues={})

    def __init__(self, spoken: Callable[[str], Transcript], *, torn: str = "", word: str = "clonk") -> None:
        self._spoken, self._torn, self._word = spoken, torn, word
        self.ages: list[Age | None] = []

    def hear(self, path: Path, on_progress: Progress | None) -> Heard:
        try:
            data = path.read_bytes()
        except OSError as error:
            raise InputError(f"{path}: cannot be read.") from error
        if not data.strip():
            raise InputError("The recording holds nothing but silence.")
        sha256 = hashlib.sha256(data).hexdigest()
        if on_progress is not None:
            on_progress(500, 500)
        recording = Recording(id=sha256, sha256=sha256, media_type="audio/invented", duration_ms=500, torn=self._torn)
        heard = self._spoken(data.decode()).model_copy(update={"recording": sha256})
        return Heard(heard, recording)

    def copy(self, sound: Path, stretches: tuple[Stretch, ...] | None) -> Copy:
        return Copy(sound.read_bytes() + (f" {stretches}".encode() if stretches else b""), "audio/ogg")

    def silenced(self, sound: Path, destroyed: tuple[Stretch, ...]) -> Copy:
        words = self._spoken(sound.read_text()).words
        gone = {w.i for w in words for a, b in destroyed if w.start_ms < b and a < w.end_ms}
        return Copy(" ".join("-" if w.i in gone else w.text for w in words).encode(), "audio/invented")

    def repair(self, transcript: Transcript) -> Transcript:
        return transcript.model_copy(
            update={"words": tuple(replace(w, text=w.text.replace(self._word, "clunk")) for w in transcript.words)}
        )

    def doubt(self, transcript: Transcript, age: Age | None) -> Transcript:
        return transcript

    def standing(self, edits: tuple[Edit, ...]) -> tuple[Edit, ...]:
        return standing(edits)

    def correct(self, transcript: Transcript, edits: tuple[Edit, ...]) -> tuple[Transcript, tuple[Unattached, ...]]:
        return correct(transcript, edits)

    def amend(
        self,
        extraction: Extraction,
        words: Transcript,
        edits: tuple[Edit, ...],
        unattached: tuple[Unattached, ...],
    ) -> tuple[Extraction, Changes]:
        return amend(extraction, words, edits, unattached)

    def extract(self, transcript: Transcript, age: Age | None) -> Extraction:
        self.ages.append(age)
        words = [word.text.strip(".,").lower() for word in transcript.words]
        items = [
            item(transcript, (i, i + 1), "joint.clunk", "absent" if words[i - 1] == "no" else "present", site="hip")
            for i, word in enumerate(words)
            if word == "clunk"
        ]
        return Extraction(items=tuple(items), clauses=())

    def age(self, record: VisitRecord, items: tuple[Item, ...]) -> Age | None:
        return record.age

    def check(
        self, record: VisitRecord, extraction: Extraction, words: Transcript, age: Age | None
    ) -> tuple[Remark, ...]:
        return drafted(record, extraction.items).remarks

    def not_looked_at(
        self, record: VisitRecord, items: tuple[Item, ...], words: Transcript, age: Age | None
    ) -> tuple[Looked, ...]:
        return ()

    def draft(
        self,
        record: VisitRecord,
        extraction: Extraction,
        remarks: tuple[Remark, ...],
        words: Transcript,
        age: Age | None,
        not_looked_at: tuple[Looked, ...],
        changes: Changes,
    ) -> Note:
        return drafted(record, extraction.items).note

    def norms_sha256(self) -> str:
        return "0" * 64

    def paper(self, kind: str, form: str, note: Note, items: tuple[Item, ...]) -> bytes | None:
        return None

    def parts(self) -> dict[str, str]:
        return {"found": "Looked at and found", "found.all": "Looked at and found: All"}

    def outline(self, note: Note) -> NoteView:
        return view(note)

    def render(self, note: Note, words: Transcript, copy: Copy | None) -> dict[str, bytes]:
        return {"note.html": b"invented page " + (copy.data if copy else b"without sound"), "note.md": b"invented"}
