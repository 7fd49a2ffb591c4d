"""Visits and contacts as they were entered, without what was made of them."""

import sqlalchemy as sa

from pipeline.errors import InputError, NotFoundError
from pipeline.model import Recording
from pipeline.records import ContactEntry, VisitEntry
from pipeline.store import schema
from pipeline.store.people import find_infant

_v, _c = schema.visit.c, schema.contact.c
SHORTEST_KEY = 4  # characters of an id that may stand for it


def find_visit(connection: sa.Connection, key: str) -> VisitEntry:
    """The visit of this id, or whose id alone ends so. Raises NotFoundError, InputError where several end so."""
    ending = key.strip().upper()
    if len(ending) < SHORTEST_KEY or not ending.isalnum():
        raise NotFoundError(f"visit {key[:40]!r}: give the id of a visit, or its last {SHORTEST_KEY} letters or more.")
    found = connection.scalars(sa.select(_v.id).where(_v.id.endswith(ending)).limit(2)).all()
    if not found:
        raise NotFoundError(
            f"visit {key[:40]}: the record holds no such visit; `handspoken visit list` shows them all."
        )
    if len(found) > 1:
        raise InputError(f"visit {key}: several visits end so; give more of the id.")
    return visit_entry(connection, found[0])


def visit_entry(connection: sa.Connection, visit: str) -> VisitEntry:
    """A visit by its id. Raises NotFoundError."""
    transcript = schema.transcript.c
    newest = (
        sa.select(transcript.sha256)
        .where(transcript.recording == _v.recording)
        .order_by(transcript.version.desc())
        .limit(1)
        .scalar_subquery()
    )
    row = connection.execute(
        sa.select(schema.visit, schema.recording.c.data, newest.label("newest"), is_signed(_v.id).label("signed"))
        .outerjoin(schema.recording, schema.recording.c.id == _v.recording)
        .where(_v.id == visit)
    ).first()
    if row is None:
        raise NotFoundError(f"visit {visit}: the record holds no such visit.")
    infant = find_infant(connection, row.infant)
    assert infant is not None, "the foreign key holds"
    return VisitEntry.model_validate(
        {
            "id": row.id,
            "infant": infant,
            "day": row.day,
            "at": row.at,
            "age": row.age,
            "recording": Recording.model_validate(row.data) if row.data else None,
            "stretches": row.stretches,
            "transcript_sha256": row.newest,
            "signed": row.signed,
        }
    )


def visits_of(connection: sa.Connection, *, infant: str = "", recording: str = "") -> list[VisitEntry]:
    """The visits of an infant or on a recording, drafted or not, oldest first."""
    mine = sa.or_(_v.infant == infant, _v.recording == recording)
    visits = connection.scalars(sa.select(_v.id).where(mine).order_by(_v.day, _v.id)).all()
    return [visit_entry(connection, visit) for visit in visits]


def is_signed(visit: sa.ColumnElement[str]) -> sa.Exists:
    """Whether the visit was signed."""
    return sa.exists().where(schema.event.c.visit == visit, schema.event.c.type == "signed")


def contacts_of(connection: sa.Connection, infant: str) -> list[ContactEntry]:
    """The contacts of an infant, oldest first."""
    rows = connection.execute(sa.select(schema.contact).where(_c.infant == infant).order_by(_c.day, _c.id))
    return [
        ContactEntry(
            id=row.id,
            infant=row.infant,
            day=row.day,
            at=row.at,
            what=row.what,
            text=row.text,
            visit=row.visit,
            files=tuple((file["sha256"], file["name"], file["size"]) for file in row.files),
        )
        for row in rows
    ]
