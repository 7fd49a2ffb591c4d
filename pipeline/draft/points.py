"""Points to check: why a person should look at a line, and what did not become a line."""

from collections.abc import Iterable

from pipeline.draft.wording import Wording
from pipeline.model import (
    ClauseClass,
    Extraction,
    Item,
    Line,
    Remark,
    Span,
    TraceStep,
    Transcript,
    Urgency,
    Word,
    span_of,
)
from pipeline.patterns import fill, quoted
from pipeline.safe import stop

# Below this the recogniser's own probability counts as unsure. Chosen with the recogniser's measurements in mind
# (words that all passes agreed on lie above it almost always); our recommendation.
UNSURE_BELOW = 0.5

_SECOND_HANDS = ("student", "second_practitioner")
_ASKING = (Urgency.ASK,)
_SURE = "low_confidence"
_NOISY = "noise"  # the flag that hearing puts on the words of a noisy chunk
_NUMBER = "number?"  # the flag of a number with two readings
_TOUCHING_MS = 3_000  # noisy chunks no further apart are one stretch


def unsure_words(item: Item, transcript: Transcript) -> tuple[int, ...]:
    """The words of an item's spans, taken-back ones left out, that were heard unsurely or carry a flag."""
    ranges = [span.words for span in item.evidence if span.role != "retracted"]
    words = [word for i0, i1 in ranges for word in transcript.words[i0:i1]]
    return tuple(sorted({word.i for word in words if word.p < UNSURE_BELOW or word.flags}))


def resting_on(
    item: Item, unsure: Iterable[int], steps: Iterable[TraceStep], transcript: Transcript
) -> tuple[int, ...]:
    """The unsure words that gave the line one of its slots; all of them where no trace tells.

    A doubted number is always one of them in a line that holds a value.
    """
    ranges = [step.words for step in steps]
    valued = item.value is not None
    return tuple(
        i
        for i in unsure
        if not ranges or any(i0 <= i < i1 for i0, i1 in ranges) or (valued and _NUMBER in transcript.words[i].flags)
    )


def points_of(
    item: Item, unsure: Iterable[int], transcript: Transcript, wording: Wording, *, lacks_structure: bool
) -> dict[str, str]:
    """The points of a line by code, the most pressing first. ``unsure``: the unsure words that the line rests on."""
    asked = wording.words["points"]
    words = [transcript.words[i] for i in unsure]
    codes: dict[str, list[Word]] = {flag: [] for flag in item.flags}
    if lacks_structure:
        codes["which_structure"] = []
    for word in words:
        known = [flag for flag in word.flags if flag in asked]
        for code in known or [_SURE]:
            codes.setdefault(code, []).append(word)
    points = {
        code: fill(asked.get(code, asked["other"]), _slots(code, item, at, transcript)) for code, at in codes.items()
    }
    if item.source_role in _SECOND_HANDS:
        who = wording.word("present", item.source_role)
        points["student"] = fill(asked["student"], {"who": who})
    order = {code: place for place, code in enumerate(asked)}
    return {code: points[code] for code in sorted(points, key=lambda code: order.get(code, order["other"]))}


def _slots(code: str, item: Item, at: list[Word], transcript: Transcript) -> dict[str, str]:
    """What a point can say about its words: which ones, and what stood or was heard before."""
    slots = {"words": ", ".join(quoted(word.text) for word in at), "reason": code.replace("_", " ")}
    if code == _NUMBER:
        slots["readings"] = " or ".join(quoted(s.text) for word in at for s in word.suggestions)
    if code == "corrected":
        taken_back = [span.quote.rstrip(" .,;") for span in item.evidence if span.role == "retracted"]
        slots["before"] = ", ".join(quoted(quote) for quote in taken_back)
    if code == "repaired_term":
        ranges = [span.words for span in item.evidence]
        repaired = [w for i0, i1 in ranges for w in transcript.words[i0:i1] if any(h.text != w.text for h in w.heard)]
        slots["words"] = quoted(" ".join(word.text for word in repaired))
        slots["before"] = quoted(" ".join(next(h.text for h in w.heard if h.text != w.text) for w in repaired))
    return slots


def remark_points(remarks: Iterable[Remark]) -> list[Line]:
    """The open remarks that ask, those that block signing first. Safeguarding ones never stand in a note's lines."""
    asking = [r for r in remarks if r.open and not r.safeguarding and (r.blocks_signing or r.urgency in _ASKING)]
    asking.sort(key=lambda remark: not remark.blocks_signing)
    return [
        Line(
            id=f"check:{r.id}",
            text=f"{stop(r.title)} {r.reason}".strip(),
            items=r.items,
            spans=r.spans,
        )
        for r in asking
    ]


def loose_points(extraction: Extraction, transcript: Transcript, wording: Wording) -> list[Line]:
    """What a person should listen to: noisy stretches, those not heard, trade terms that found no place."""
    asked, lines = wording.words["points"], _noisy_points(transcript, wording)
    for gap in transcript.dropped:
        slots = {"reason": wording.word("dropped", gap.reason)}
        at = next((word.i for word in transcript.words if word.start_ms >= gap.start_ms), len(transcript.words))
        span = Span(start_ms=gap.start_ms, end_ms=gap.end_ms, words=(at, at), quote=gap.text)
        lines.append(Line(id=f"check:not_heard:{gap.start_ms}", text=fill(asked["not_heard"], slots), spans=(span,)))
    for clause in extraction.clauses:
        if clause.clause_class is ClauseClass.UNPLACED and clause.terms:
            span = span_of(transcript.words, *clause.words)
            text = fill(asked["unplaced"], {"words": quoted(span.quote)})
            lines.append(Line(id=f"check:unplaced:{span.start_ms}", text=text, spans=(span,)))
    return sorted(lines, key=lambda line: line.spans[0].start_ms)


def _noisy_points(transcript: Transcript, wording: Wording) -> list[Line]:
    """Stretches where noise was so loud that hearing marked their words; those that touch are told as one."""
    stretches: list[tuple[int, int, float]] = []
    for chunk in transcript.chunks:
        inside = [w for w in transcript.words if chunk.start_ms <= w.start_ms < chunk.end_ms]
        if chunk.snr_db is None or not any(_NOISY in word.flags for word in inside):
            continue
        start, level = chunk.start_ms, chunk.snr_db
        if stretches and start - stretches[-1][1] <= _TOUCHING_MS:
            start, _, before = stretches.pop()
            level = min(level, before)
        stretches.append((start, chunk.end_ms, level))
    lines = []
    for start, end, level in stretches:
        at = [word.i for word in transcript.words if start <= word.start_ms < end]
        span = Span(start_ms=start, end_ms=end, words=(at[0], at[-1] + 1), quote="")
        text = fill(wording.words["points"]["noisy"], {"level": f"{level:.0f}"})
        lines.append(Line(id=f"check:noisy:{start}", text=text, spans=(span,)))
    return lines


def absent_points(items: Iterable[Item], *, someone_named: bool, wording: Wording) -> list[Line]:
    """What every visit's record needs and was not heard: who was present, and consent where something was done."""
    items, asked = tuple(items), wording.words["points"]
    lines = []
    if items and not someone_named:
        lines.append(Line(id="check:presence", text=asked["presence"]))
    done = any(item.kind in ("treatment", "finding") for item in items)
    if done and not any(item.concept == "treatment.consent" for item in items):
        lines.append(Line(id="check:consent", text=asked["consent"]))
    return lines
