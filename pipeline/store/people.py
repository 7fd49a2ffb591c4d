"""Who is who: infants by their key, and entries that turned out to be one infant."""

from collections.abc import Iterator

import sqlalchemy as sa

from pipeline.model import Infant
from pipeline.store import schema
from pipeline.store.events import InfantsMerged, read_payload

_c = schema.infant.c


def find_infant(connection: sa.Connection, key: str) -> Infant | None:
    """The infant of this id or code name, without regard to case; of a merged entry, who that turned out to be."""
    entry = find_entry(connection, key)
    return entry and _read(connection, root(connection, entry.id))


def find_entry(connection: sa.Connection, key: str) -> Infant | None:
    """The entry of this id or code name as it was entered, merged or not."""
    folded = key.casefold()
    same = sa.or_(_c.code_key == folded, sa.func.lower(_c.id) == folded)
    row = connection.execute(sa.select(schema.infant).where(same)).first()
    return _infant(row) if row else None


def infants(connection: sa.Connection) -> list[tuple[Infant, int, tuple[Infant, ...]]]:
    """All infants by code name, each with the number of its visits and the entries merged into it."""
    c = schema.visit.c
    counted = sa.select(c.infant, sa.func.count().label("visits")).group_by(c.infant).subquery()
    rows = connection.execute(
        sa.select(schema.infant, counted.c.visits)
        .outerjoin(counted, counted.c.infant == _c.id)
        .where(_c.merged_into.is_(None))
        .order_by(_c.code_key)
    ).all()
    return [(_infant(row), row.visits or 0, entries_of(connection, row.id)) for row in rows]


def merge_of(connection: sa.Connection, entry: str) -> InfantsMerged | None:
    """How an entry was merged into another infant; None where it stands by itself."""
    if entry not in _merged(connection):
        return None
    event = schema.event.c
    query = sa.select(event.seq, event.payload).where(event.type == "infants_merged").order_by(event.seq.desc())
    for row in connection.execute(query):
        payload = read_payload(row.payload, row.seq)
        if isinstance(payload, InfantsMerged) and payload.merged == entry:
            return payload
    return None


def entries_of(connection: sa.Connection, infant: str) -> tuple[Infant, ...]:
    """The entries merged into an infant, directly or not, in the order they were entered."""
    into = _merged(connection)
    mine = sorted(entry for entry in into if infant in list(_line(into, entry))[1:])
    return tuple(_read(connection, entry) for entry in mine)


def root(connection: sa.Connection, entry: str) -> str:
    """Who an entry turned out to be; itself where it was not merged."""
    return list(_line(_merged(connection), entry))[-1]


def refile(connection: sa.Connection, entry: str) -> None:
    """After a merge of ``entry`` or its undoing: its visits and contacts, and those merged into it, to who that is."""
    into = _merged(connection)
    for one in {entry, *(merged for merged in into if entry in _line(into, merged))}:
        to = list(_line(into, one))[-1]
        for table in (schema.visit, schema.contact):
            connection.execute(table.update().where(table.c.filed_to == one).values(infant=to))


def _merged(connection: sa.Connection) -> dict[str, str]:
    """What each merged entry was merged into: few, so all are read."""
    rows = connection.execute(sa.select(_c.id, _c.merged_into).where(_c.merged_into.is_not(None)))
    return {row.id: row.merged_into for row in rows}


def _line(into: dict[str, str], entry: str) -> Iterator[str]:
    """An entry, what it was merged into, and so on."""
    at: str | None = entry
    while at is not None:
        yield at
        at = into.get(at)


def _read(connection: sa.Connection, entry: str) -> Infant:
    return _infant(connection.execute(sa.select(schema.infant).where(_c.id == entry)).one())


def _infant(row: sa.Row[tuple[object, ...]]) -> Infant:
    return Infant.model_validate({name: value for name, value in row._mapping.items() if name in Infant.model_fields})
