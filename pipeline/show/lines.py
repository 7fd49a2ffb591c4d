"""Results as lines for a person at a terminal."""

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from pipeline.times import clock

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.doctor import Finding
    from pipeline.model import ClauseAccount, Extraction, Item, TraceStep, Transcript
    from pipeline.ownwords import OwnWord
    from pipeline.visits import Done

NOTE_PAGE = "note.html"


def note_line(folder: "Path | str | None", visit: str) -> str:
    """Where a note is read: its file, or its page where nothing lies in clear."""
    return f"Note: {folder}/{NOTE_PAGE}" if folder else f"Note: handspoken review {visit}"


def done_lines(done: "Done") -> Iterator[str]:
    """What became of a recording: where its note lies, and what to look at first."""
    note = done.drafted.note
    if done.filed_before:
        changed = f"; put right: {', '.join(done.changed)}" if done.changed else ""
        yield f"This recording is on record already: its visit was drafted again, nothing is kept twice{changed}."
    if done.redrafted:
        days = ", ".join(map(str, done.redrafted))
        yield f"Held against this too: the visit of {days}. Its page (handspoken review) shows what follows."
    points = sum(len(section.lines) for section in note.sections if section.id == "check")
    lines = len(done.drafted.extraction.items)
    yield f"Visit {done.record.visit}: {done.record.infant.code_name}, {done.record.day}"
    yield f"{lines} line{'s' * (lines != 1)}, {points} point{'s' * (points != 1)} to check before signing"
    yield note_line(done.folder, done.record.visit)
    yield "A draft, to be checked and signed by a licensed clinician."


def own_word_lines(words: "Iterable[OwnWord]") -> Iterator[str]:
    """What is kept as the clinician's own words."""
    shown = [f"heard “{word.heard}”, meant “{word.meant}”" for word in words]
    yield from shown or ["No words of your own are kept."]


def link_lines(link: str) -> Iterator[str]:
    """Where the pages are."""
    yield f"Open {link}"
    yield "The link is yours alone and holds until you end this with Ctrl-C."


def item_line(item: "Item") -> str:
    """An item on one line: time, what, where, side, result."""
    value = f"{item.value:g} {item.unit or ''}".strip() if item.value is not None else None
    parts = (item.site, item.level, item.side if item.side != "none" else None, item.result, value, *item.flags)
    return f"{clock(item.start_ms):>7}  {item.concept}  {' '.join(part for part in parts if part)}  “{item.quote}”"


def item_lines(extraction: "Extraction") -> Iterator[str]:
    """The items in spoken order."""
    yield from map(item_line, extraction.items)


def explained_lines(extraction: "Extraction", words: "Transcript") -> Iterator[str]:
    """Every item with the rules that filled it, then every clause with its class."""
    for item in extraction.items:
        yield item_line(item)
        for step in extraction.trace.get(item.id, ()):
            yield f"         {_step(step, words)}"
    yield ""
    yield "Clauses:"
    for clause in extraction.clauses:
        yield _clause(clause, words)


def _step(step: "TraceStep", words: "Transcript") -> str:
    return f"{step.slot} = {step.value}  by {step.rule}  on “{words.quote(step.words)}”"


def _clause(clause: "ClauseAccount", words: "Transcript") -> str:
    why = f" ({clause.why})" if clause.why else ""
    return f"  {clause.clause_class.value}{why}: “{words.quote(clause.words)}”"


def finding_lines(findings: "tuple[Finding, ...]") -> Iterator[str]:
    """What the doctor found; what stands in the way of work is marked."""
    for finding in findings:
        yield f"{'  ' if finding.good else '! '}{finding.what}: {finding.state}"
