"""A note as the templates see it: every time, word and mark worked out, so that a template only places them."""

import re
from dataclasses import dataclass

from pipeline.model import Line, Mark, Note, Remark, Section, Span, Transcript, Urgency, Word
from pipeline.render.spelled import facts
from pipeline.times import clock, media_link

_JOIN_MS = 2000  # stretches closer than this are heard in one go
_PLAYED = ("said", "question", "answer", "retracted")
_FLAGS = (Urgency.EMERGENCY, Urgency.SAME_DAY, Urgency.REFER)
# Points whose answer says something that the line does not.
_PRINTED = ("side_missing", "which_structure", "force_unsaid", "student")
_FOLDED = (Urgency.EXPECTED, Urgency.NOT_INFORMATIVE)
_PLACES = "places"
_NOT_SHOWN = (_PLACES, "struck")  # what was struck before signing is no part of the note
_TREATED = "treatment"


@dataclass(frozen=True)
class TimeView:
    """A stretch of the recording: how it reads, and the link that plays exactly it ("" without a recording)."""

    start: str
    end: str
    href: str


@dataclass(frozen=True)
class WordView:
    """One spoken word; ``unsure`` shows it as unsure, ``other`` tells what else was heard or could be meant."""

    text: str
    unsure: bool
    other: str


@dataclass(frozen=True)
class SpanView:
    """The words of one stretch a line rests on, and what they were: said, asked, answered, taken back, said again."""

    role: str
    words: tuple[WordView, ...]
    time: TimeView


@dataclass(frozen=True)
class RemarkView:
    """A remark, its own anchor, its spans as times, and where its lines stand."""

    remark: Remark
    anchor: str
    times: tuple[TimeView, ...]
    anchors: tuple[str, ...]
    from_memory: bool


@dataclass(frozen=True)
class LineRemark:
    """A remark as it stands under a line: told in ``full`` once in a note, named by its title elsewhere."""

    view: RemarkView
    full: bool


@dataclass(frozen=True)
class LineView:
    """One line: its anchor in the page, times, own words, remarks, and the lines it speaks about (points, places)."""

    line: Line
    anchor: str
    times: tuple[TimeView, ...]
    spans: tuple[SpanView, ...]
    remarks: tuple[LineRemark, ...]
    folded: tuple[LineRemark, ...]
    about: str
    anchors: tuple[str, ...]
    answers: tuple[str, ...] = ()


@dataclass(frozen=True)
class SectionView:
    """A part of the note."""

    id: str
    title: str
    lines: tuple[LineView, ...]
    subsections: tuple["SectionView", ...]


@dataclass(frozen=True)
class PlaceView:
    """A place of the outline: ``found``, ``looked`` or ``open``; ``unsided`` where a finding's side was not said."""

    text: str
    state: str
    unsided: bool
    anchors: tuple[str, ...]


@dataclass(frozen=True)
class NoteView:
    """All that a note template may use. ``cautioned``: the section that the cautions of this visit stand beside."""

    note: Note
    sections: tuple[SectionView, ...]
    flags: tuple[RemarkView, ...]
    whole: tuple[RemarkView, ...]
    cautioned: str
    places: dict[str, PlaceView]
    place_lines: tuple[LineView, ...]
    points: int
    kept_back: int
    facts: tuple[tuple[str, str], ...]


def view(note: Note, transcript: Transcript | None = None, audio: str | None = None) -> NoteView:
    """Work a note out for a template.

    transcript: for the words' marks; without it the quotes stand. audio: what the times link to, "" for sound inside
    the page, None for no sound. Remarks of the safeguarding class are only counted (``kept_back``).
    """
    return _Viewer(note, transcript, audio).view()


def anchor(line_id: str) -> str:
    """A line's id as an anchor of the page."""
    return "line-" + re.sub(r"[^A-Za-z0-9_.-]", "-", line_id)


class _Viewer:
    def __init__(self, note: Note, transcript: Transcript | None, audio: str | None) -> None:
        self._note, self._transcript, self._audio = note, transcript, audio
        self._shown = [self._remark(remark) for remark in note.remarks if not remark.safeguarding]
        self._told = {r.remark.id for r in self._shown if r.remark.urgency in _FLAGS}  # in full at the top

    def view(self) -> NoteView:
        note = self._note
        order = {urgency: place for place, urgency in enumerate(_FLAGS)}
        flags = sorted((r for r in self._shown if r.remark.urgency in order), key=lambda r: order[r.remark.urgency])
        places = next((s.lines for s in note.sections if s.id == _PLACES), ())
        return NoteView(
            note=note,
            sections=tuple(self._section(section) for section in note.sections if section.id not in _NOT_SHOWN),
            flags=tuple(flags),
            whole=self._whole(),
            cautioned=self._cautioned(),
            places=_places(places),
            place_lines=tuple(self._line(line) for line in places),
            points=sum(len(section.lines) for section in note.sections if section.id == "check"),
            kept_back=sum(remark.safeguarding for remark in note.remarks),
            facts=facts(note),
        )

    def _cautioned(self) -> str:
        shown = [section.id for section in self._note.sections if section.id not in _NOT_SHOWN]
        if len(self._note.cautions) < 2 or not shown:
            return ""
        return _TREATED if _TREATED in shown else shown[0]

    def _whole(self) -> tuple[RemarkView, ...]:
        """Remarks that no line carries: neither flags nor points to check, and about no item of the note."""
        lines = {line.id for part in self._note.parts() for line in part.lines}
        elsewhere = (*_FLAGS, Urgency.ASK)
        return tuple(
            r
            for r in self._shown
            if not lines.intersection(r.remark.items)
            and (r.remark.urgency not in elsewhere or (r.remark.answer and r.remark.urgency not in _FLAGS))
        )

    def _section(self, section: Section) -> SectionView:
        return SectionView(
            id=section.id,
            title=section.title,
            lines=tuple(self._line(line) for line in section.lines),
            subsections=tuple(self._section(child) for child in section.subsections),
        )

    def _line(self, line: Line) -> LineView:
        own = line.id in line.items
        remarks = []
        for seen in self._shown:
            if own and line.id in seen.remark.items:
                remarks.append(LineRemark(seen, full=seen.remark.id not in self._told))
                self._told.add(seen.remark.id)
        return LineView(
            line=line,
            anchor=anchor(line.id),
            times=self._times(line.spans),
            spans=tuple(self._span(span, line.unsure_words) for span in line.spans if span.quote),
            remarks=tuple(r for r in remarks if r.view.remark.urgency not in _FOLDED),
            folded=tuple(r for r in remarks if r.view.remark.urgency in _FOLDED),
            about=anchor(line.items[0]) if line.items and not own else "",
            anchors=tuple(anchor(item) for item in line.items),
            answers=tuple(point.answer for point in line.points if point.answer and point.code in _PRINTED),
        )

    def _remark(self, remark: Remark) -> RemarkView:
        return RemarkView(
            remark=remark,
            anchor=anchor(remark.id),
            times=self._times(remark.spans),
            anchors=tuple(anchor(item) for item in remark.items),
            from_memory=remark.mark is Mark.MEMORY,
        )

    def _times(self, spans: tuple[Span, ...]) -> tuple[TimeView, ...]:
        """The stretches that play a line; those close together are one. What was only said again plays by itself."""
        if self._note.written:
            return ()  # typed words have no time
        ranges: list[list[int]] = []
        for span in sorted(spans, key=lambda s: s.start_ms):
            if span.role not in _PLAYED:
                continue
            if ranges and span.start_ms - ranges[-1][1] <= _JOIN_MS:
                ranges[-1][1] = max(ranges[-1][1], span.end_ms)
            else:
                ranges.append([span.start_ms, span.end_ms])
        return tuple(self._time(start, end) for start, end in ranges)

    def _time(self, start_ms: int, end_ms: int) -> TimeView:
        href = "" if self._audio is None else media_link(self._audio, start_ms, end_ms)
        return TimeView(start=clock(start_ms), end=clock(end_ms), href=href)

    def _span(self, span: Span, unsure: tuple[int, ...]) -> SpanView:
        words = self._transcript.words[slice(*span.words)] if self._transcript else ()
        if words:
            shown = tuple(
                WordView(
                    text=word.text,
                    unsure=word.i in unsure,
                    other=_other(word),
                )
                for word in words
            )
        else:
            shown = tuple(WordView(text=text, unsure=False, other="") for text in span.quote.split())
        return SpanView(role=span.role, words=shown, time=self._time(span.start_ms, span.end_ms))


def _other(word: Word) -> str:
    """What else was heard where the word stands, or could be meant."""
    texts = [heard.text for heard in word.heard] + [suggestion.text for suggestion in word.suggestions]
    return ", ".join(dict.fromkeys(text for text in texts if text != word.text))


def _places(lines: tuple[Line, ...]) -> dict[str, PlaceView]:
    """The outline's places by ``place:side``; a finding whose side was not said marks both shapes as unsided."""
    places: dict[str, PlaceView] = {}
    for line in lines:
        _, state, place, side = line.id.split(":")
        places[f"{place}:{side}"] = PlaceView(
            text=line.text, state=state, unsided=False, anchors=tuple(anchor(item) for item in line.items)
        )
    for key, unsided in list(places.items()):
        place, _, side = key.partition(":")
        if side != "none" or f"{place}:left" not in places:
            continue
        for own in (f"{place}:left", f"{place}:right"):
            places[own] = PlaceView(
                text=f"{places[own].text}; {unsided.text}",
                state=places[own].state,
                unsided=unsided.state == "found",
                anchors=(*places[own].anchors, *unsided.anchors),
            )
    return places
