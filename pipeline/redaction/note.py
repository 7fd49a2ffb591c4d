"""A signed note from which a stretch was destroyed: what rested on it is gone, and the note says so."""

from typing import Any

from pipeline.model import Line, Note, Section, Stretch
from pipeline.redaction.words import MARK, Mask, meet

DESTROYED, PLACES = "destroyed", "places"


def note_without(note: Note, stretch: Stretch, mask: Mask, gone: set[str], told: str, now: Note) -> tuple[Note, int]:
    """The note with a mark for each line that rested on the stretch, and a section that tells of it (``told``).

    gone: ids of items, remarks and points that are no longer there. now: the draft without the stretch: the outline's
    places are marked as there. Returns how many lines were destroyed too.
    """
    told_of = [part for part in note.parts() if part.id != PLACES]
    lines = sum(_rests(line, stretch, gone) for part in told_of for line in part.lines)
    places = next((section for section in now.sections if section.id == PLACES), None)
    sections = [
        places if section.id == PLACES and places else _part(section, stretch, gone)
        for section in note.sections
        if section.id != DESTROYED
    ]
    before = next((section.lines for section in note.sections if section.id == DESTROYED), ())
    remarks = tuple(
        remark
        for remark in note.remarks
        if remark.id not in gone
        and not gone.intersection(remark.items)
        and not any(meet((s.start_ms, s.end_ms), stretch) for s in remark.spans)
    )
    text = f"{told} {lines} line{'s' * (lines != 1)} of this note went with it."
    notice = Section(
        id=DESTROYED,
        title="Destroyed since it was signed",
        lines=(*before, Line(id=f"{DESTROYED}:told:{len(before)}", text=text)),
    )
    bare = note.model_copy(update={"sections": tuple(sections), "remarks": remarks})
    data: dict[str, Any] = mask.data(bare.model_dump(mode="json"))
    masked = Note.model_validate(data)
    return masked.model_copy(update={"sections": (notice, *masked.sections)}), lines


def _part(section: Section, stretch: Stretch, gone: set[str]) -> Section:
    lines = [
        Line(id=f"{DESTROYED}:{section.id}:{n}", text=MARK) if _rests(line, stretch, gone) else _kept(line, gone)
        for n, line in enumerate(section.lines)
    ]
    parts = tuple(_part(part, stretch, gone) for part in section.subsections)
    return section.model_copy(update={"lines": tuple(lines), "subsections": parts})


def _kept(line: Line, gone: set[str]) -> Line:
    return line.model_copy(update={"points": tuple(point for point in line.points if point.id not in gone)})


def _rests(line: Line, stretch: Stretch, gone: set[str]) -> bool:
    return (
        line.id in gone
        or bool(gone.intersection(line.items))
        or any(meet((span.start_ms, span.end_ms), stretch) for span in line.spans)
    )
