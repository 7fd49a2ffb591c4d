"""Statements that cannot both be true: inside a visit without a correction, and against the last visit's side."""

from collections.abc import Iterator, Sequence
from itertools import combinations

from pipeline.check.facts import Fact, Facts
from pipeline.check.hold import treatments
from pipeline.check.norms import Norms
from pipeline.check.remarks import cited, items_of, remark_id, spans_of
from pipeline.check.rows import Opposite
from pipeline.model import Mark, Remark, Urgency

MEASURED_ONCE = ("measure.weight", "measure.length", "measure.head_circumference", "history.birth_weight")
OTHER_SIDE = {"left": "right", "right": "left"}
OURS = "A record that says two things of one place must say which holds"


def contradictions(facts: Facts, last: Facts, norms: Norms) -> Iterator[Remark]:
    """Ask which holds: opposite results of one place, two numbers for one measure, a side other than last time."""
    treated = [(f.start_ms, max((s.end_ms for s in f.spans), default=f.start_ms)) for f in treatments(facts)]
    for row in norms.opposites:
        fine = [f for f in facts.of(row.concept) if f.result in row.fine]
        found = [f for c in (row.across or (row.concept,)) for f in facts.of(c) if f.result in row.found]
        for first in fine:
            for second in found:
                if _same_place(first, second, norms) and not _explained(first, second, treated):
                    yield _which(row, first, second, norms)
        if row.lasting:
            yield from _other_side(row, facts, last)
    for concept in MEASURED_ONCE:
        told = [f for f in facts.of(concept) if f.value is not None]
        for one, two in combinations(told, 2):
            if abs((one.value or 0) - (two.value or 0)) > norms.tolerance("same.measure") / 100 * (one.value or 0):
                yield _numbers(one, two)


def _same_place(one: Fact, two: Fact, norms: Norms) -> bool:
    """Whether both speak of one place. A paired structure without its side may be either: the side is asked first."""
    if one.site != two.site or one.level != two.level:
        return False
    if one.side == two.side:
        return one.side != "none" or one.site not in norms.paired
    return "both" in (one.side, two.side) and "none" not in (one.side, two.side)


def _explained(fine: Fact, found: Fact, treated: Sequence[tuple[int, int]]) -> bool:
    """Found, treated, then fine is how a treatment goes; a stated change explains, and so do the very same words."""
    if fine.change is not None or found.change is not None or (fine.spans and fine.spans == found.spans):
        return True
    return found.start_ms <= fine.start_ms and any(
        start <= fine.start_ms and found.start_ms <= end for start, end in treated
    )


def _which(row: Opposite, fine: Fact, found: Fact, norms: Norms) -> Remark:
    pair = sorted((fine, found), key=lambda f: (f.start_ms, f.concept))
    words = [f"{(f.result or '').replace('_', ' ')}" for f in pair]
    side = fine.side if fine.side in OTHER_SIDE else ""
    place = " ".join(filter(None, [side, norms.place(fine.site) or "the same place", fine.level]))
    return _ask(
        f"CONFLICT.{row.id.removeprefix('two.')}",
        pair,
        "Which of the two holds?",
        f"Of {place} it was said {words[0]}, then {words[1]}, with no correction or treatment between.",
        words,
        row,
    )


def _numbers(one: Fact, two: Fact) -> Remark:
    values = [f"{f.value:g} {f.unit or ''}".strip() for f in (one, two)]
    reason = f"Two numbers were told for one measure: {values[0]} and {values[1]}."
    return _ask(f"CONFLICT.{one.concept}", (one, two), "Which number holds?", reason, values)


def _ask(
    rule: str, facts: Sequence[Fact], title: str, reason: str, choices: Sequence[str], row: Opposite | None = None
) -> Remark:
    """One question about these facts; ``row``: where its source stands (else it is our own)."""
    return Remark(
        id=remark_id(rule, facts),
        rule=rule,
        urgency=Urgency.ASK,
        title=title,
        reason=reason,
        source=OURS if row is None else cited(row),
        mark=Mark.OURS if row is None else row.mark,
        items=items_of(facts),
        spans=spans_of(facts),
        choices=tuple(choices),
    )


def _other_side(row: Opposite, facts: Facts, last: Facts) -> Iterator[Remark]:
    now = facts.of(row.concept)
    for past in last.of(row.concept):
        other = OTHER_SIDE.get(past.side)
        if other is None or past.result not in row.found:
            continue
        here = [f for f in now if f.site == past.site and f.side == other and f.result in row.found]
        spoken_of = any(f.site == past.site and f.side in (past.side, "both") for f in now)
        if here and not spoken_of and not any(f.change for f in here):
            reason = f"Last time on the {past.side}, today on the {other}; of the {past.side} nothing was said."
            choices = (past.side, other, "both")
            yield _ask(f"SIDE.{row.id.removeprefix('two.')}", here, "Which side?", reason, choices, row)
