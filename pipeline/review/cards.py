"""The note as the page shows it: parts, lines, and each point where it belongs, with the answers it takes."""

from collections.abc import Iterable, Iterator
from typing import Literal

from pipeline.model import (
    Frozen,
    Item,
    Line,
    LineEdit,
    Note,
    Point,
    Remark,
    Section,
    Span,
    Unattached,
    Urgency,
)
from pipeline.records import Drafted
from pipeline.review.choices import Choice, line_choices, remark_choices
from pipeline.times import clock
from pipeline.vocabulary import Vocabulary

CHECK = "check:"
CHECK_PART = "check"
STRUCK = "struck"
State = Literal["drafted", "changed", "struck", "written", "loose", "plain"]
_LOOSE = ("unplaced", "not_heard", "presence", "consent")
_NO_PARTS = (CHECK_PART, "part", "places", "not_looked_at")
_PRESSING = ("danger", "blocks", "side_missing", "conflict", "corrected", "repaired_term", "side?", "negation?")
_FOLDED = (Urgency.EXPECTED, Urgency.NOT_INFORMATIVE)


class PointCard(Frozen):
    """A point to check. ``rank``: the most pressing first; ``line``: the line it stands under, "" for none."""

    id: str
    code: str
    text: str
    more: str = ""
    source: str = ""
    line: str = ""
    choices: tuple[Choice, ...] = ()
    answer: str = ""
    danger: bool = False
    blocks: bool = False
    private: bool = False
    start_ms: int | None = None
    end_ms: int | None = None

    @property
    def at(self) -> str:
        """When it was said, as a person reads it."""
        return clock(self.start_ms) if self.start_ms is not None else ""

    @property
    def rank(self) -> int:
        kind = "danger" if self.danger else "blocks" if self.blocks else self.code
        return _PRESSING.index(kind) if kind in _PRESSING else len(_PRESSING)


class RemarkCard(Frozen):
    """A remark that asks nothing: an age norm, something to watch."""

    urgency: Urgency
    title: str
    text: str
    source: str


class LineCard(Frozen):
    """A line, or (``loose``) a stretch that became none; ``state``: as drafted, put right, struck or written."""

    id: str
    text: str
    at: str
    start_ms: int
    end_ms: int
    words: tuple[int, int]
    quote: str
    state: State
    written: str = ""
    points: tuple[PointCard, ...] = ()
    remarks: tuple[RemarkCard, ...] = ()
    folded: tuple[RemarkCard, ...] = ()
    slots: Item | None = None

    @property
    def slots_json(self) -> str:
        """What a form of the line starts from."""
        return self.slots.model_dump_json(exclude={"evidence", "confidence", "flags"}) if self.slots else ""


class PartCard(Frozen):
    """A part of the note with its lines and its subparts."""

    id: str
    title: str
    lines: tuple[LineCard, ...]
    parts: tuple["PartCard", ...] = ()

    def all_lines(self) -> Iterator[LineCard]:
        """Every line from the top, those of its subparts too."""
        yield from self.lines
        for inner in self.parts:
            yield from inner.all_lines()


class Sheet(Frozen):
    """A visit under review. ``version`` names this state of the record; ``open``/``blocking``: points left."""

    visit: str
    version: int
    note: Note
    parts: tuple[PartCard, ...]
    top: tuple[PointCard, ...]
    whole: tuple[RemarkCard, ...]
    not_looked_at: tuple[str, ...]
    loose_edits: tuple[PointCard, ...]
    can_undo: bool = False
    can_redo: bool = False

    def points(self) -> Iterator[PointCard]:
        """Every point, answered ones too, from the top."""
        yield from self.top
        yield from self.loose_edits
        for line in self.lines():
            yield from line.points

    def lines(self) -> Iterator[LineCard]:
        """Every line from the top."""
        for part in self.parts:
            yield from part.all_lines()

    @property
    def open_points(self) -> int:
        return sum(not point.answer for point in self.points())

    @property
    def blocking(self) -> int:
        return sum(point.blocks and not point.answer for point in self.points())

    def point(self, key: str) -> PointCard | None:
        """The point of this id."""
        return next((point for point in self.points() if point.id == key), None)

    def line(self, key: str) -> LineCard | None:
        """The line of this id, struck ones too."""
        return next((line for line in self.lines() if line.id == key), None)


def lay_out(drafted: Drafted, vocab: Vocabulary, version: int, *, undo: bool = False, redo: bool = False) -> Sheet:
    """The sheet of a draft. Pure. Safeguarding remarks stand on it (``private``); in no other paper do they."""
    return _Layer(drafted, vocab).sheet(version, undo=undo, redo=redo)


class _Layer:
    def __init__(self, drafted: Drafted, vocab: Vocabulary) -> None:
        self._drafted, self._vocab, self._words = drafted, vocab, drafted.transcript
        self._items = {item.id: item for item in (*drafted.extraction.items, *drafted.changes.struck)}
        self._of_line: dict[str, list[PointCard]] = {}
        self._remarks: dict[str, list[RemarkCard]] = {}
        self._top: list[PointCard] = []
        self._whole: list[RemarkCard] = []
        shown = {line.id for part in drafted.note.parts() for line in part.lines if line.id in self._items}
        for remark in drafted.remarks:
            self._place(remark, next((key for key in remark.items if key in shown), ""))

    def sheet(self, version: int, *, undo: bool, redo: bool) -> Sheet:
        note, changes = self._drafted.note, self._drafted.changes
        parts = [self._part(section) for section in note.sections if section.id not in _NO_PARTS]
        loose = list(self._loose(note))
        self._top += [point for point, span in loose if span is None]
        stretches = [(point, span) for point, span in loose if span is not None]
        parts = list(_with_loose(parts, stretches))
        seen = next((s.lines for s in note.sections if s.id == "not_looked_at"), ())
        return Sheet(
            visit=note.visit,
            version=version,
            note=note,
            parts=tuple(parts),
            top=tuple(sorted(self._top, key=lambda point: point.rank)),
            whole=tuple(self._whole),
            not_looked_at=tuple(line.text for line in seen),
            loose_edits=tuple(self._unattached(u) for u in changes.unattached),
            can_undo=undo,
            can_redo=redo,
        )

    def _place(self, remark: Remark, line: str) -> None:
        """Where a remark stands: asking ones as points, dangers and those about no line at the top."""
        if remark.danger or remark.blocks_signing or remark.urgency is Urgency.ASK:
            point = self._remark_point(remark, line)
            at_top = not line or point.private or point.danger
            (self._top if at_top else self._of_line.setdefault(line, [])).append(point)
            return
        told = RemarkCard(urgency=remark.urgency, title=remark.title, text=_sentence(remark), source=remark.source)
        (self._remarks.setdefault(line, []) if line else self._whole).append(told)

    def _remark_point(self, remark: Remark, line: str) -> PointCard:
        first = min(remark.spans, key=lambda span: span.start_ms, default=None)
        return PointCard(
            id=remark.id,
            code="remark",
            text=remark.title,
            more=_sentence(remark),
            source=remark.source,
            line=line,
            choices=remark_choices(remark, self._items),
            answer=remark.answer,
            danger=remark.danger,
            blocks=remark.blocks,
            private=remark.safeguarding,
            start_ms=first.start_ms if first else None,
            end_ms=first.end_ms if first else None,
        )

    def _part(self, section: Section) -> PartCard:
        return PartCard(
            id=section.id,
            title=section.title,
            lines=tuple(self._line(line, struck=section.id == STRUCK) for line in section.lines),
            parts=tuple(self._part(child) for child in section.subsections),
        )

    def _line(self, line: Line, *, struck: bool) -> LineCard:
        item = self._items.get(line.id)
        spoken = item.spoken if item else line.spans
        start = min((span.start_ms for span in spoken), default=0)
        told = self._remarks.get(line.id, [])
        points = [self._line_point(point, line, item) for point in line.points]
        points += self._of_line.get(line.id, [])
        return LineCard(
            id=line.id,
            text=line.text,
            at=clock(start) if spoken else "",
            start_ms=start,
            end_ms=max((span.end_ms for span in spoken), default=0),
            words=(min((s.words[0] for s in spoken), default=0), max((s.words[1] for s in spoken), default=0)),
            quote=item.quote if item else " ".join(span.quote for span in line.spans),
            state=self._state(line, item, struck=struck),
            written=line.written or "",
            points=() if struck else tuple(sorted(points, key=lambda point: point.rank)),
            remarks=tuple(r for r in told if r.urgency not in _FOLDED),
            folded=tuple(r for r in told if r.urgency in _FOLDED),
            slots=item,
        )

    def _state(self, line: Line, item: Item | None, *, struck: bool) -> State:
        if struck or item is None:
            return "struck" if struck else "plain"
        changes = self._drafted.changes
        return "written" if line.id in changes.written else "changed" if line.id in changes.edited else "drafted"

    def _line_point(self, point: Point, line: Line, item: Item | None) -> PointCard:
        return PointCard(
            id=point.id,
            code=point.code,
            text=point.text,
            line=line.id,
            choices=line_choices(point.code, item, self._words, self._vocab),
            answer=point.answer,
        )

    def _loose(self, note: Note) -> Iterator[tuple[PointCard, Span | None]]:
        """Points of the visit and of stretches that became no line."""
        for line in (line for section in note.sections if section.id == CHECK_PART for line in section.lines):
            key = line.id.removeprefix(CHECK)
            code = key.partition(":")[0]
            if code in _LOOSE:
                span = line.spans[0] if line.spans else None
                choices = line_choices(code, None, self._words, self._vocab)
                at = {"start_ms": span.start_ms, "end_ms": span.end_ms} if span else {}
                yield PointCard(id=key, code=code, text=line.text, choices=choices, **at), span

    def _unattached(self, loose: Unattached) -> PointCard:
        edit = loose.edit
        if isinstance(edit, LineEdit):
            slots = ", ".join(f"{slot}: {value}" for slot, value in edit.after.items()) or edit.action
            what, start, end = f"{edit.anchor.concept}: {slots}", edit.anchor.start_ms, edit.anchor.end_ms
        else:
            what, start, end = f"“{edit.heard}”: “{edit.meant}”", edit.start_ms, edit.end_ms
        return PointCard(
            id=loose.id,
            code="unattached",
            text=f"A change of yours found no place: {what}",
            more=loose.why,
            choices=line_choices("unattached", None, self._words, self._vocab),
            blocks=True,
            start_ms=start,
            end_ms=end,
        )


def _sentence(remark: Remark) -> str:
    """Why and what to do, with the age it goes by."""
    window = f"({remark.window})" if remark.window else ""
    return " ".join(filter(None, [remark.reason, remark.action, window]))


def _with_loose(parts: Iterable[PartCard], stretches: list[tuple[PointCard, Span]]) -> Iterator[PartCard]:
    """The parts, each stretch that became no line after the line that was said last before it."""
    parts = tuple(parts)
    said = sorted((line.start_ms, line.id) for part in parts for line in _spoken(part))
    after: dict[str, list[LineCard]] = {}
    for point, span in stretches:
        before = [key for start, key in said if start <= span.start_ms]
        place = before[-1] if before else said[0][1] if said else ""
        after.setdefault(place, []).append(_stretch(point, span))
    if "" in after:
        yield PartCard(id="stretches", title="Not placed", lines=tuple(after[""]))
    yield from (_put_in(part, after) for part in parts)


def _put_in(part: PartCard, after: dict[str, list[LineCard]]) -> PartCard:
    lines = tuple(card for line in part.lines for card in (line, *after.get(line.id, ())))
    return part.model_copy(update={"lines": lines, "parts": tuple(_put_in(inner, after) for inner in part.parts)})


def _spoken(part: PartCard) -> Iterator[LineCard]:
    for inner in (part, *part.parts):
        yield from (line for line in inner.lines if line.state not in ("struck", "plain"))


def _stretch(point: PointCard, span: Span) -> LineCard:
    return LineCard(
        id=point.id,
        text="",
        at=clock(span.start_ms),
        start_ms=span.start_ms,
        end_ms=span.end_ms,
        words=span.words,
        quote=span.quote,
        state="loose",
        points=(point.model_copy(update={"line": point.id}),),
    )
