"""Legal holds: while one stands on an infant, nothing of its record may be destroyed."""

from collections.abc import Iterable
from datetime import datetime

import sqlalchemy as sa

from pipeline.errors import InputError
from pipeline.model import Frozen
from pipeline.store import schema
from pipeline.store.entries import visit_entry
from pipeline.store.events import Hold, event_of
from pipeline.store.people import find_infant, root


class Held(Frozen):
    """A hold that stands: on whom (id and code name), since when, why, and who set it."""

    infant: str
    code_name: str
    since: datetime
    reason: str
    by: str


def holds(connection: sa.Connection) -> dict[str, Held]:
    """The holds that stand, by the id of the infant; of merged entries, of who that turned out to be."""
    c = schema.event.c
    found: dict[str, Held] = {}
    for row in connection.execute(sa.select(schema.event).where(c.type == "hold").order_by(c.seq)):
        event = event_of(row)
        infant = find_infant(connection, root(connection, event.infant)) if event.infant else None
        if infant is None or not isinstance(event.payload, Hold):
            continue
        found.pop(infant.id, None)
        if event.payload.state == "set":
            told = event.payload.model_dump(include={"reason", "by"})
            found[infant.id] = Held(infant=infant.id, code_name=infant.code_name, since=event.at, **told)
    return found


def refuse_held(connection: sa.Connection, visits: Iterable[str]) -> None:
    """Raises InputError where one of the visits is of an infant under a legal hold."""
    refuse_held_infants(connection, {visit_entry(connection, visit).infant.id for visit in visits})


def refuse_held_infants(connection: sa.Connection, infants: Iterable[str]) -> None:
    """Raises InputError where one of the infants is under a legal hold."""
    standing = holds(connection)
    for infant in infants:
        if held := standing.get(infant):
            raise InputError(
                f"{held.code_name}: under a legal hold since {held.since:%Y-%m-%d} ({held.reason}; {held.by}), so "
                "nothing of its record may be destroyed; lift it first where that is right."
            )
