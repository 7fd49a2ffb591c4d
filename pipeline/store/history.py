"""What is on record of an infant before a visit: the earlier visits as drafted, and the names known by then.

These depend on nothing that was filed later, so that a rebuild drafts each visit as it was drafted first.
"""

from datetime import date

import sqlalchemy as sa

from pipeline.model import Age
from pipeline.records import PastVisit, VisitOnRecord
from pipeline.store import schema
from pipeline.store.entries import is_signed
from pipeline.store.items import items_of
from pipeline.store.people import entries_of

READING = "read"  # the kind of event that changes nothing
_v, _r = schema.visit.c, schema.remark.c


def previous_visits(connection: sa.Connection, infant: str, day: date, visit: str) -> tuple[PastVisit, ...]:
    """The infant's drafted visits before this one, oldest first; of one day in the order they were opened."""
    earlier = sa.or_(_v.day < day, sa.and_(_v.day == day, _v.id < visit))
    query = sa.select(_v.id, _v.day, _v.age).where(_v.infant == infant, earlier, _drafted()).order_by(_v.day, _v.id)
    return tuple(
        PastVisit(
            id=row.id,
            day=row.day,
            age=Age.model_validate(row.age) if row.age else None,
            items=tuple(items_of(connection, [row.id])[row.id]),
            told=tuple(connection.scalars(sa.select(_r.id).where(_r.visit == row.id).order_by(_r.id))),
        )
        for row in connection.execute(query).all()
    )


def drafted_visits(connection: sa.Connection, *, infant: str = "", recording: str = "") -> list[tuple[str, date]]:
    """All drafted visits of the infant or on the recording with their days, oldest first."""
    mine = sa.or_(_v.infant == infant, _v.recording == recording)
    query = sa.select(_v.id, _v.day).where(mine, _drafted()).order_by(_v.day, _v.id)
    return [(row.id, row.day) for row in connection.execute(query)]


def drafted_by_content(connection: sa.Connection) -> dict[str, str]:
    """By the SHA-256 of a recording's bytes, the drafted visit that it was filed under first."""
    query = sa.select(schema.recording.c.sha256, _v.id).join(schema.recording, schema.recording.c.id == _v.recording)
    rows = connection.execute(query.where(_drafted()).order_by(_v.opened.desc())).all()
    return {row.sha256: row.id for row in rows}


def visit_of(connection: sa.Connection, recording: str) -> str | None:
    """The visit that a recording was filed under first; others may hold stretches of it."""
    return connection.scalar(sa.select(_v.id).where(_v.recording == recording).order_by(_v.opened).limit(1))


def all_visits(connection: sa.Connection) -> list[VisitOnRecord]:
    """Every visit on record, newest first."""
    heard = sa.exists().where(schema.transcript.c.recording == _v.recording)
    query = (
        sa.select(
            _v.id, _v.infant, _v.day, schema.infant.c.code_name, heard.label("heard"), is_signed(_v.id).label("signed")
        )
        .join(schema.infant, schema.infant.c.id == _v.infant)
        .order_by(_v.day.desc(), _v.id.desc())
    )
    return [
        VisitOnRecord(
            id=row.id,
            infant=row.infant,
            code_name=row.code_name,
            day=row.day,
            transcribed=bool(row.heard),
            signed=bool(row.signed),
        )
        for row in connection.execute(query)
    ]


def version(connection: sa.Connection, visit: str) -> int:
    """Names this state of a visit: the number of the last event of it or of its infant that changed anything; 0 where
    there is none."""
    event = schema.event.c
    mine = sa.select(_v.infant).where(_v.id == visit).scalar_subquery()
    about = sa.or_(event.visit == visit, sa.and_(event.visit.is_(None), event.infant == mine))
    return connection.execute(sa.select(sa.func.max(event.seq)).where(about, event.type != READING)).scalar() or 0


def known_names(connection: sa.Connection, infant: str, visit: str) -> tuple[tuple[str, str], ...]:
    """The names that other infants were known by before the visit was opened (now, where it is not), with their ids."""
    own = {infant, *(entry.id for entry in entries_of(connection, infant))}
    c = schema.infant_name.c
    opened = sa.select(_v.opened).where(_v.id == visit).scalar_subquery()
    before = sa.or_(opened.is_(None), c.seq < opened)
    query = sa.select(c.name, c.infant).where(c.infant.not_in(own), before).order_by(c.seq, c.name)
    return tuple((row.name, row.infant) for row in connection.execute(query))


def _drafted() -> sa.Exists:
    return sa.exists().where(schema.run.c.visit == _v.id)
