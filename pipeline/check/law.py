"""The usual cautions, and what the law where one works says of thrusts to an infant's spine."""

from collections.abc import Collection, Iterable, Iterator

from pipeline.check.facts import Fact, Facts, fact_of
from pipeline.check.norms import Norms
from pipeline.check.remarks import cited, items_of, remark_id, spans_of
from pipeline.check.rows import Caution
from pipeline.config import Jurisdiction
from pipeline.model import Age, Item, Remark, Urgency
from pipeline.records import PastVisit


def standing_cautions(items: Iterable[Item], norms: Norms, told: Collection[str] = ()) -> tuple[Caution, ...]:
    """The cautions that matter for this visit; ``told``: ids of those told before about this infant."""
    facts = Facts([fact_of(item) for item in items], norms.parents)
    return tuple(
        row
        for row in norms.cautions
        if not (row.once and row.id in told) and (row.when is None or facts.matches(row.when) is not None)
    )


def caution_texts(items: Iterable[Item], norms: Norms, previous: Iterable[PastVisit] = ()) -> tuple[str, ...]:
    """As a note carries them: first what stands over every note, then those that this visit's lines call for."""
    told = {row.id for visit in previous for row in standing_cautions(visit.items, norms)}
    rows = standing_cautions(items, norms, told)
    over_all = " ".join(row.text for row in rows if row.when is None)
    return (over_all, *(f"{row.text} ({cited(row)})" for row in rows if row.when is not None))


def law_remarks(facts: Facts, age: Age | None, norms: Norms, setting: Jurisdiction) -> Iterator[Remark]:
    """The remarks of the setting's rows. A row with an age limit holds too where the age is not known."""
    for row in norms.laws:
        if row.setting != setting or (row.until is not None and age is not None and age.days >= row.until):
            continue
        found: tuple[Fact, ...] | None = () if row.when is None else facts.matches(row.when)
        if found is None:
            continue
        yield Remark(
            id=row.id if row.once else remark_id(row.id, found),
            rule=row.id,
            urgency=Urgency.ASK,
            title=row.title,
            reason=row.reason,
            action=row.action,
            source=cited(row),
            mark=row.mark,
            items=items_of(found),
            spans=spans_of(found),
            blocks_signing=row.blocks,
            choices=row.choices,
        )
