"""Who read what: noted as events, so that the chain proves them too; and who read or changed an infant's record.

A search must be there at once, so noting goes past SQLAlchemy. A reading changes nothing that is derived.
"""

import json
import logging
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ulid import ULID

from pipeline.store.chain import NEWEST, chained
from pipeline.store.driver import connect, sqlite
from pipeline.store.faults import told
from pipeline.store.reading import DATABASE
from pipeline.vault import keys_of

if TYPE_CHECKING:
    import sqlalchemy as sa

    from pipeline.store.events import Event

logger = logging.getLogger(__name__)
ONE_READING = timedelta(minutes=15)  # opened again by the same person within this, it is one reading
_RECENT = 200  # events that are looked through for it
_WAIT_S = 2.0


def note_reading(home: Path, payload: dict[str, Any], *, visit: str | None = None, infant: str | None = None) -> None:
    """Append a ``Read`` (``payload`` in its form) of now and of who is at work.

    Where it cannot be written (another program writes for long, the disk is full), reading goes on and a warning tells
    so: a clinician must be able to read. Raises LockedError.
    """
    keys, now = keys_of(home), datetime.now(UTC)
    who = keys.who if keys else ""
    fields = {"author": who, "infant": infant, "visit": visit, "type": "read", "payload": payload}
    try:
        connection = connect(home / DATABASE, keys, writes=True)
        try:
            connection.execute(f"PRAGMA busy_timeout={int(_WAIT_S * 1000)}")
            connection.execute("BEGIN IMMEDIATE")
            if not _again(connection, fields, now):
                _append(connection, fields, now)
            connection.execute("COMMIT")
        finally:
            connection.close()
    except sqlite.Error as error:
        logger.warning("handspoken: who read this could not be noted: %s", told(home / DATABASE, error))


def log_of(connection: "sa.Connection", infant: str) -> "list[Event]":
    """All events of an infant and its visits, of entries merged into it too, and readings of several visits or of all
    the record that it was among; in order. Raises StoreError."""
    import sqlalchemy as sa

    from pipeline.store import schema
    from pipeline.store.events import Read, event_of
    from pipeline.store.people import entries_of

    c, v = schema.event.c, schema.visit.c
    names = [infant, *(entry.id for entry in entries_of(connection, infant))]
    visits = set(connection.scalars(sa.select(v.id).where(v.infant == infant)))
    among = sa.and_(c.type == "read", c.visit.is_(None), c.infant.is_(None))
    mine = sa.or_(c.visit.in_(visits), sa.and_(c.visit.is_(None), c.infant.in_(names)), among)
    found = map(event_of, connection.execute(sa.select(schema.event).where(mine).order_by(c.seq)))
    return [
        event
        for event in found
        if event.visit
        or event.infant
        or (isinstance(event.payload, Read) and (not event.payload.visits or visits & set(event.payload.visits)))
    ]


def _again(connection: sqlite.Connection, fields: dict[str, Any], now: datetime) -> bool:
    rows = connection.execute(
        "SELECT at, payload FROM event WHERE seq > (SELECT max(seq) FROM event) - ? AND type = 'read' AND author = ? "
        "AND visit IS ? AND infant IS ?",
        (_RECENT, fields["author"], fields["visit"], fields["infant"]),
    )
    since = now - ONE_READING
    return any(
        since <= datetime.fromisoformat(at) <= now and json.loads(payload) == fields["payload"] for at, payload in rows
    )


def _append(connection: sqlite.Connection, fields: dict[str, Any], now: datetime) -> None:
    newest = connection.execute(NEWEST).fetchone() or (0, "")
    row = chained(newest, {"id": str(ULID()), "at": now.isoformat().replace("+00:00", "Z"), **fields})
    row["payload"] = json.dumps(fields["payload"])
    names = ", ".join(row)
    connection.execute(f"INSERT INTO event ({names}) VALUES ({', '.join('?' * len(row))})", tuple(row.values()))
