"""Numbers that cannot be: asked about, and kept out of every other rule and off the growth chart."""

from collections.abc import Iterable, Iterator

from pipeline.check.facts import Fact, Facts
from pipeline.check.growth import z_at
from pipeline.check.norms import Norms
from pipeline.check.remarks import cited, items_of, remark_id, spans_of
from pipeline.check.rows import Plausible
from pipeline.model import Age, Answer, Edit, Infant, Remark, Urgency

ASKED = "VALUE."
IS_RIGHT = "is right"
BELIEVED_Z = 3.0  # a shifted decimal point is offered only where it lands within 3 SD


def implausible(facts: Facts, infant: Infant, age: Age | None, norms: Norms) -> Iterator[tuple[Fact, Remark]]:
    """Each value outside what a measure can be, with the question to ask."""
    for row in norms.plausible:
        for fact in facts.of(row.concept):
            if fact.value is None or fact.unit not in (None, row.unit):
                continue
            z = z_at(row.concept, fact.value, infant, age)
            if row.low <= fact.value <= row.high and not _far(row, z):
                continue
            yield fact, _question(row, fact, infant, age, z)


def confirmed_values(edits: Iterable[Edit]) -> frozenset[str]:
    """Ids of the questions above whose last answer is that the number is right."""
    last = {edit.remark_id: edit.choice for edit in edits if isinstance(edit, Answer)}
    return frozenset(asked for asked, choice in last.items() if asked.startswith(ASKED) and choice.endswith(IS_RIGHT))


def _far(row: Plausible, z: float | None) -> bool:
    low, high = row.z_low, row.z_high
    return z is not None and ((low is not None and z < low) or (high is not None and z > high))


def _question(row: Plausible, fact: Fact, infant: Infant, age: Age | None, z: float | None) -> Remark:
    value = fact.value or 0
    choices = [f"{value:g} {row.unit} {IS_RIGHT}"]
    for shifted in (value / 10, value * 10):
        at = z_at(row.concept, shifted, infant, age)
        if row.low <= shifted <= row.high and (at is None or abs(at) <= BELIEVED_Z):
            choices.append(f"{shifted:g} {row.unit} was meant")
    where = f"outside {row.low:g} to {row.high:g} {row.unit}" if z is None else f"z {z:+.1f} at this age"
    return Remark(
        id=remark_id(f"{ASKED}{row.concept}", (fact,)),
        rule=f"{ASKED}{row.concept}",
        urgency=Urgency.ASK,
        title="Is this number right?",
        reason=f"{value:g} {row.unit} is hardly possible ({where}); it is not plotted or judged until confirmed.",
        action="Listen again, or measure again.",
        source=cited(row),
        mark=row.mark,
        items=items_of((fact,)),
        spans=spans_of((fact,)),
        choices=tuple(choices),
    )
