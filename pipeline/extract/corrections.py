"""Spoken self-correction: "on the right, sorry, the left" keeps the left in the place of the right."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import takewhile

from pipeline.extract.lexicon import CueReading, Hit
from pipeline.extract.marks import Mark, Marked
from pipeline.extract.tokens import Token

BEFORE = 10
AFTER = 4
COMPARED = ("less", "more", "fewer", "higher", "lower", "under", "over")
NO = ("no", "nah", "naw", "nope")
SLOTS = ("side", "level", "number", "site", "result", "concept")


@dataclass(frozen=True)
class Mended:
    """Marks with corrected readings in place; where words were taken back; what was left for an earlier utterance."""

    marked: Marked
    repaired: tuple[tuple[int, int], ...] = ()
    pending: tuple[Mark, ...] = ()
    swaps: tuple[int, ...] = ()  # where "other way round" was said
    cued: bool = False
    doubts: tuple[int, ...] = ()  # where a correction began ("hold on") that has not yet said what is right


def mend(marked: Marked, doubting: frozenset[str]) -> Mended:
    """Put self-corrections inside the utterance right; report those that look back beyond it."""
    marks = list(marked.marks)
    rejected = _rejected(marks, marked.tokens)
    repaired: list[tuple[int, int]] = []
    pending: list[Mark] = []
    swaps: list[int] = []
    cued = False
    doubts: list[int] = []
    hits = marked.cues.get("repair", ())
    turns = {k for hit in hits if hit.payloads[0].gives == "swap" for k in (hit.a, hit.a - 1)}
    struck = _struck(marked, marks)
    for hit in (*hits, *struck, *_bare_no(marked)):
        if hit.payloads[0].gives == "swap":
            cued = True
            swaps.append(hit.a)
            continue
        if hit.payloads[0].gives == "again":
            _measured_again(marks, hit, repaired, pending)
            continue
        cued = True
        if hit.b in turns:
            continue  # "sorry, other way round": says what is right by itself
        after = [m for m in marks if hit.b <= m.a < hit.b + AFTER + 1]
        if len(after) > 1 and after[0].word in COMPARED and after[1].kind == "number":
            marks.remove(after.pop(0))  # "seventy, no, less, sixty-five"
        said = [t.text for t in marked.tokens[hit.a : hit.b]][-1:] == ["said"]
        if said and len(after) >= 2 and after[0].kind == after[1].kind:
            after = after[1:]
        words = " ".join(t.text for t in marked.tokens[hit.a : hit.b])
        if not after:
            doubts += [hit.a] if words in doubting else []
            continue
        restated = list(takewhile(partial(_said_before, marks, hit.a), after))
        if len(restated) == len(after):
            continue  # "the left is tight, sorry, the left": said again, nothing is put right
        right = after[len(restated)]
        wrong = _same_kind_before(marks, right, hit.a, marked.tokens)
        if wrong is not None and restated and right.kind == "result" and not _kin(wrong, right):
            continue  # "limited to ten. I mean the left ankle, yes."
        if wrong is not None:
            repaired.append((wrong.a, right.b))
            marks[marks.index(wrong)] = _instead(wrong, right)
            for mark in (*restated, right):
                marks.remove(mark)
        elif words in doubting and right.kind == "number":
            continue  # "I'm getting, hang on, sixty-five": a pause before the number
        elif not any(m.b <= hit.a and m.kind in ("result", "concept") for m in marks):
            pending.append(right)
    denied: list[tuple[int, int]] = []
    for at, wrong in rejected:
        if wrong not in marks:
            continue
        instead = next((m for m in marks if m.kind == "side" and wrong.b <= m.a <= wrong.b + AFTER), None)
        held = [m for m in marks if m.kind == "side" and m.b <= at and at - m.b <= BEFORE and m.side == wrong.side]
        if instead is None or instead.side == wrong.side:
            continue  # "tight on the left, not on the right" says something of both
        denied.append((at, wrong.b))
        marks.remove(wrong)
        if held:  # "on the left, not the left, the right"
            repaired.append((held[-1].a, instead.b))
            marks[marks.index(held[-1])] = _instead(held[-1], instead)
            marks.remove(instead)
    cues = {**marked.cues, "acts": tuple(h for h in marked.cues.get("acts", ()) if h not in struck)}
    return Mended(
        replace(marked, marks=tuple(marks), cues=cues),
        (*repaired, *denied),
        tuple(pending),
        tuple(swaps),
        cued,
        tuple(doubts),
    )


def _measured_again(
    marks: list[Mark], hit: Hit[CueReading], repaired: list[tuple[int, int]], pending: list[Mark]
) -> None:
    """ "Thirty-nine, no, let me do that again, thirty-nine and a half": the number counts that was taken last."""
    right = next((m for m in marks if hit.b <= m.a <= hit.b + AFTER), None)
    if right is None or right.kind != "number" or right.number is None:
        return
    before = [m for m in marks if m.b <= hit.a]
    wrong = next((m for m in reversed(before) if m.number is not None and hit.a - m.b <= BEFORE), None)
    if wrong is None:
        pending += [] if any(m.says() for m in before) else [right]
    elif wrong.number is not None and right.number.unit in ("", wrong.number.unit):
        repaired.append((wrong.a, right.b))
        marks[marks.index(wrong)] = _instead(wrong, right)
        marks.remove(right)


def _rejected(marks: Sequence[Mark], tokens: Sequence[Token]) -> list[tuple[int, Mark]]:
    """Sides only named to be ruled out, with where their "not" stands: "the right hip, not the left"."""
    found = []
    for mark in marks:
        if mark.kind != "side" or mark.side not in ("left", "right"):
            continue
        at = mark.a - 1
        while at > 0 and tokens[at].text in ("the", "his", "her", "on", "to") and mark.a - at <= 2:
            at -= 1
        end = mark.b
        while end < len(tokens) and not tokens[end - 1].stop and tokens[end].text in ("one", "side"):
            end += 1
        alone = end == len(tokens) or bool(tokens[end - 1].stop)
        if at >= 0 and tokens[at].text == "not" and alone:
            found.append((at, mark))
    return found


def _struck(marked: Marked, marks: Sequence[Mark]) -> list[Hit[CueReading]]:
    """ "T8, strike that, T9, tender": what is struck is put right in the same sentence, and nothing else is undone."""
    found = []
    for hit in marked.cues.get("acts", ()):
        if hit.payloads[0].gives != "retract" or not hit.a or marked.tokens[hit.b - 1].stop != ",":
            continue
        before = [m for m in marks if m.b == hit.a and m.kind in ("side", "level", "number")]
        after = [m for m in marks if hit.b <= m.a <= hit.b + 2]
        if before and after and before[-1].kind == after[0].kind and marked.tokens[hit.a - 1].stop == ",":
            found.append(hit)
    return found


def _bare_no(marked: Marked) -> list[Hit[CueReading]]:
    """ "positive, no, negative": a "no" between commas takes back what stands before it."""
    cue = CueReading("repair", "repair", "none")
    return [
        Hit(k, k + 1, (k,), (cue,))
        for k, token in enumerate(marked.tokens)
        if k and token.text in NO and token.stop == "," and marked.tokens[k - 1].stop == ","
    ]


def _said_before(marks: Sequence[Mark], cue: int, mark: Mark) -> bool:
    """ "C1 is rotated left. Correction, C1 is rotated right.": what stays is said again, only the side is new."""
    near = [m for m in marks if m.b <= cue and cue - m.b <= BEFORE and m.kind == mark.kind]
    return mark.kind != "number" and bool(near) and _value(near[-1]) == _value(mark)


def _kin(a: Mark, b: Mark) -> bool:
    """Both may be results of the same concept."""
    return bool({r.concept for r in a.readings} & {r.concept for r in b.readings})


def _same_kind_before(marks: Sequence[Mark], right: Mark, cue: int, tokens: Sequence[Token]) -> Mark | None:
    for mark in reversed([m for m in marks if m.b <= cue and cue - m.b <= BEFORE]):
        if right.kind == "site" and any(t.stop in (".", "?") for t in tokens[mark.b - 1 : cue]):
            return None  # another structure, named in a sentence before, stands
        if mark.kind == right.kind and right.kind in SLOTS and _value(mark) != _value(right):
            return mark
        if right.kind in ("result", "concept") and mark.kind in ("result", "concept"):
            return None
    return None


def _value(mark: Mark) -> object:
    if mark.kind == "side":
        return mark.side
    if mark.kind == "level":
        return mark.level.text if mark.level else None
    if mark.kind == "number":
        return mark.number.value if mark.number else None
    return tuple((r.concept, r.result, r.site) for r in mark.readings)


def _instead(wrong: Mark, right: Mark) -> Mark:
    """The right reading at the wrong one's place, so that it belongs to the same statement."""
    number = right.number
    if number is not None and not number.unit and wrong.number is not None:
        number = replace(number, unit=wrong.number.unit)
    return replace(right, a=wrong.a, b=wrong.b, number=number)
