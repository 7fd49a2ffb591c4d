"""Helpers of the draft's tests: the note of an invented visit, its lines and sections."""

from collections.abc import Callable
from datetime import date
from typing import Any

from pipeline.draft import draft_note, load_wording
from pipeline.draft.lines import LineWriter
from pipeline.model import (
    Age,
    Extraction,
    Infant,
    Item,
    Line,
    Mark,
    Note,
    Remark,
    Section,
    Transcript,
    Urgency,
    item_id,
    span_of,
)
from pipeline.vocabulary import load_vocabulary

VOCAB = load_vocabulary()
WRITER = LineWriter(VOCAB, load_wording())
MAMA = {"reporter": "caregiver", "source_role": "mother"}
Spoken = Callable[[str], Transcript]


def said(transcript: Transcript, words: str, concept: str, result: str | None, **slots: Any) -> Item:
    """An item that rests on the first stretch of the transcript that reads ``words``."""
    wanted, all_words = words.split(), [word.text for word in transcript.words]
    i0 = next(i for i in range(len(all_words)) if all_words[i : i + len(wanted)] == wanted)
    span = span_of(transcript.words, i0, i0 + len(wanted))
    known = VOCAB.concepts[concept]
    slots = {"site": known.site, "kind": known.kind, "evidence": (span,), **slots}
    ident = item_id(transcript.recording, concept, slots["site"], span.start_ms)
    return Item(id=ident, concept=concept, result=result, **slots)


def draft(transcript: Transcript, *items: Item, **more: Any) -> Note:
    """The note of an invented visit of Wren."""
    extraction = more.pop("extraction", Extraction(items=items, clauses=()))
    return draft_note(
        extraction,
        more.pop("remarks", ()),
        transcript,
        infant=Infant(id="i1", code_name="Wren"),
        age=Age(days=63, as_said="9 weeks"),
        on=date(2026, 11, 25),
        visit="v1",
        vocab=VOCAB,
        **more,
    )


def section(note: Note, wanted: str) -> Section:
    return next(part for part in note.parts() if part.id == wanted)


def every_line(note: Note) -> list[Line]:
    return [line for part in note.parts() for line in part.lines]


def line_of(note: Note, item: Item) -> Line:
    return next(line for line in every_line(note) if line.id == item.id)


def check_texts(note: Note) -> list[str]:
    return [line.text for part in note.sections if part.id == "check" for line in part.lines]


def remark_on(item: Item, urgency: Urgency, **slots: Any) -> Remark:
    known: dict[str, Any] = {"id": f"R:{urgency}", "rule": "R", "title": "Title", "reason": "Reason.", "source": "s"}
    return Remark(**{**known, "urgency": urgency, "mark": Mark.OURS, "items": (item.id,), **slots})
