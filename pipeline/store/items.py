"""Items as they stand in the tables, with their evidence; of many visits at once."""

from collections.abc import Iterator, Sequence
from typing import Any

import sqlalchemy as sa

from pipeline.model import Age, Infant, Item
from pipeline.records import FiledVisit
from pipeline.store import schema
from pipeline.store.entries import is_signed
from pipeline.store.people import find_infant

_v, _i, _e = schema.visit.c, schema.item.c, schema.evidence.c
_BATCH = 200  # visits asked for at once: below the variables that SQLite allows, and memory stays flat


def items_of(connection: sa.Connection, visits: Sequence[str]) -> dict[str, list[Item]]:
    """The items of each visit in spoken order; visits without any have an empty list."""
    spans: dict[str, list[dict[str, Any]]] = {}
    query = sa.select(schema.evidence).join(schema.item, _e.item == _i.id).where(_i.visit.in_(visits))
    for row in connection.execute(query.order_by(_e.item, _e.position)):
        span = {"role": row.role, "start_ms": row.start_ms, "end_ms": row.end_ms, "words": (row.i0, row.i1)}
        spans.setdefault(row.item, []).append({**span, "quote": row.quote})
    found: dict[str, list[Item]] = {visit: [] for visit in visits}
    rows = sa.select(_i.id, _i.visit, _i.data).where(_i.visit.in_(visits)).order_by(_i.visit, _i.position)
    for row in connection.execute(rows):
        found[row.visit].append(Item.model_validate({**row.data, "evidence": spans.get(row.id, [])}))
    return found


def filed_visits(connection: sa.Connection, visits: Sequence[str]) -> Iterator[FiledVisit]:
    """These visits with their items, in the order given."""
    infants: dict[str, Infant] = {}
    signed = is_signed(_v.id).label("signed")
    query = sa.select(_v.id, _v.infant, _v.day, _v.age, schema.recording.c.sha256, signed).outerjoin(
        schema.recording, schema.recording.c.id == _v.recording
    )
    for n in range(0, len(visits), _BATCH):
        batch = visits[n : n + _BATCH]
        rows = {row.id: row for row in connection.execute(query.where(_v.id.in_(batch)))}
        items = items_of(connection, batch)
        for visit in batch:
            row = rows[visit]
            if row.infant not in infants:
                infant = find_infant(connection, row.infant)
                assert infant is not None, "the foreign key holds"
                infants[row.infant] = infant
            yield FiledVisit(
                visit=visit,
                infant=infants[row.infant],
                day=row.day,
                age=Age.model_validate(row.age) if row.age else None,
                recording=row.sha256 or "",
                signed=bool(row.signed),
                items=tuple(items[visit]),
            )
