"""Writes the derived tables: one event at a time, and the draft of a visit as a whole.

Appending and rebuilding go through the same functions, so both end in the same rows.
"""

from collections.abc import Iterator
from functools import singledispatch
from typing import Any

import sqlalchemy as sa

from pipeline.model import Age, Infant, Item, Line
from pipeline.records import Drafted, VisitRecord
from pipeline.store import people, schema
from pipeline.store.difference import Difference
from pipeline.store.events import (
    Contact,
    Event,
    InfantEntered,
    InfantRevised,
    InfantsMerged,
    InfantsSplit,
    RecordDestroyed,
    RecordingSealed,
    Redaction,
    SoundDestroyed,
    StretchesGiven,
    TranscriptMade,
    VisitMoved,
    VisitOpened,
    VisitRevised,
)
from pipeline.store.tombstones import note_destroyed
from pipeline.times import day


def apply_event(connection: sa.Connection, event: Event) -> None:
    """Bring infant, visit, recording and transcript up to the event. Kinds that none of them shows change nothing."""
    _apply(event.payload, event, connection)


@singledispatch
def _apply(payload: Any, event: Event, connection: sa.Connection) -> None:
    """Edits, answers, signatures and the like are read from the events themselves."""


@_apply.register
def _(payload: InfantEntered, event: Event, connection: sa.Connection) -> None:
    connection.execute(schema.infant.insert().values(**_infant_row(payload.infant)))
    _keep_names(payload.infant, event, connection)


@_apply.register
def _(payload: InfantRevised, event: Event, connection: sa.Connection) -> None:
    _revise(payload.infant, event, connection)


@_apply.register
def _(payload: InfantsMerged, event: Event, connection: sa.Connection) -> None:
    c = schema.infant.c
    connection.execute(schema.infant.update().where(c.id == payload.merged).values(merged_into=payload.kept))
    _revise(payload.after, event, connection)
    people.refile(connection, payload.merged)


@_apply.register
def _(payload: InfantsSplit, event: Event, connection: sa.Connection) -> None:
    connection.execute(schema.infant.update().where(schema.infant.c.id == payload.merged).values(merged_into=None))
    _revise(payload.kept, event, connection)
    people.refile(connection, payload.merged)


@_apply.register
def _(payload: VisitOpened, event: Event, connection: sa.Connection) -> None:
    row = {
        "id": payload.visit,
        "filed_to": payload.infant,
        "infant": people.root(connection, payload.infant),
        "day": payload.day,
        "at": payload.at,
        "age": _age(payload.age),
        "opened": event.seq,
    }
    connection.execute(schema.visit.insert().values(**row))


@_apply.register
def _(payload: VisitRevised, event: Event, connection: sa.Connection) -> None:
    _revise_visit(event, connection, day=payload.day, age=_age(payload.age))


@_apply.register
def _(payload: VisitMoved, event: Event, connection: sa.Connection) -> None:
    to, infant = payload.infant, people.root(connection, payload.infant)
    _revise_visit(event, connection, filed_to=to, infant=infant, age=_age(payload.age))


@_apply.register
def _(payload: StretchesGiven, event: Event, connection: sa.Connection) -> None:
    recording = payload.recording if payload.stretches else None
    _revise_visit(event, connection, recording=recording, stretches=[list(s) for s in payload.stretches] or None)


@_apply.register
def _(payload: RecordingSealed, event: Event, connection: sa.Connection) -> None:
    recording = payload.recording
    row = {
        **recording.model_dump(include={"id", "sha256", "media_type", "duration_ms"}),
        "data": recording.model_dump(mode="json"),
    }
    connection.execute(schema.recording.insert().values(**row))
    _revise_visit(event, connection, recording=recording.id)


@_apply.register
def _(payload: Contact, event: Event, connection: sa.Connection) -> None:
    if event.infant is None:
        return  # of nobody: kept as an event, shown nowhere
    row = {
        **payload.model_dump(include={"day", "at", "what", "text"}),
        "id": event.id,
        "filed_to": event.infant,
        "infant": people.root(connection, event.infant),
        "visit": event.visit,
        "files": [file.model_dump() for file in payload.files],
    }
    connection.execute(schema.contact.insert().values(**row))


@_apply.register
def _(payload: TranscriptMade, _event: Event, connection: sa.Connection) -> None:
    table = schema.transcript
    versions = connection.execute(
        sa.select(sa.func.count()).select_from(table).where(table.c.recording == payload.recording)
    ).scalar_one()
    connection.execute(table.insert().values(**payload.model_dump(exclude={"type"}), version=versions + 1))


@_apply.register
def _(payload: Redaction, event: Event, connection: sa.Connection) -> None:
    """The drafts on the recording are cleared: they tell what was destroyed, and are made again from what is left."""
    note_destroyed(connection, payload.replaced, event.seq)
    visit, recording, transcript = schema.visit.c, schema.recording, schema.transcript
    for key in connection.scalars(sa.select(visit.id).where(visit.recording == payload.recording)).all():
        clear_draft(connection, key)
    for old, new in ((old, new) for old, new in payload.replaced.items() if new):
        connection.execute(transcript.update().where(transcript.c.sha256 == old).values(sha256=new))
        for row in connection.execute(sa.select(recording).where(recording.c.sha256 == old)).all():
            now = {"sha256": new, "media_type": payload.media_type or row.media_type}
            mine = recording.c.id == row.id
            connection.execute(recording.update().where(mine).values(**now, data=row.data | now))


@_apply.register
def _(payload: SoundDestroyed, event: Event, connection: sa.Connection) -> None:
    note_destroyed(connection, payload.replaced, event.seq)
    table = schema.recording
    gone = f"destroyed on {day(event.at.date())} by {payload.by}: {payload.rule}"
    for row in connection.execute(sa.select(table).where(table.c.id == payload.recording)).all():
        connection.execute(table.update().where(table.c.id == row.id).values(data=row.data | {"gone": gone}))


@_apply.register
def _(payload: RecordDestroyed, event: Event, connection: sa.Connection) -> None:
    note_destroyed(connection, payload.replaced, event.seq)
    infant, visit, recording = schema.infant.c, schema.visit.c, schema.visit.c.recording
    mine = visit.infant.in_(payload.infants)
    recordings = connection.scalars(sa.select(recording).where(mine, recording.is_not(None))).all()
    for key in connection.scalars(sa.select(visit.id).where(mine)).all():
        clear_draft(connection, key)
    for table, rows in (
        (schema.contact, schema.contact.c.infant.in_(payload.infants)),
        (schema.visit, mine),
        (schema.transcript, schema.transcript.c.recording.in_(recordings)),
        (schema.recording, schema.recording.c.id.in_(recordings)),
        (schema.infant_name, schema.infant_name.c.infant.in_(payload.infants)),
    ):
        connection.execute(table.delete().where(rows))
    connection.execute(schema.infant.update().where(infant.id.in_(payload.infants)).values(merged_into=None))
    connection.execute(schema.infant.delete().where(infant.id.in_(payload.infants)))


def put_draft(connection: sa.Connection, record: VisitRecord, drafted: Drafted) -> None:
    """Bring items, evidence, remarks, lines and the search index of one visit up to its draft."""
    note, items = drafted.note, drafted.extraction.items
    run = {
        "visit": record.visit,
        "transcript": record.transcript_sha256,
        "program": note.program,
        "vocab_hash": note.vocab_hash,
        "basis": note.basis,
    }
    told = [(part.id, line) for part in note.parts() for line in part.lines]
    lines = [(position, section, line) for position, (section, line) in enumerate(told)]
    known = {item.id for item in items}
    wanted: dict[str, list[dict[str, Any]]] = {
        "run": [run],
        "item": [_item_row(record, n, item) for n, item in enumerate(items)],
        "evidence": [row for item in items for row in _evidence_rows(item)],
        "remark": [_remark_row(record.visit, remark) for remark in drafted.remarks],
        "line": [_line_row(record.visit, *place) for place in lines],
        "line_item": [
            {"visit": record.visit, "line": line.id, "item": item}
            for _, _, line in lines
            for item in dict.fromkeys(line.items)
            if item in known
        ],
        "passage": list(_passages(record.visit, drafted)),
    }
    differ = [
        Difference(connection, table, _of(table, record.visit), wanted[table.name]) for table in schema.DRAFT_TABLES
    ]
    for table in differ:
        table.remove()
    for table in reversed(differ):
        table.bring_up()


def clear_draft(connection: sa.Connection, visit: str) -> None:
    """Remove the draft of one visit from the derived tables."""
    for table in schema.DRAFT_TABLES:
        connection.execute(table.delete().where(_of(table, visit)))


def _of(table: sa.Table, visit: str) -> sa.ColumnElement[bool]:
    """Which rows of a table are those of a visit's draft."""
    if table is schema.evidence:
        return table.c.item.in_(sa.select(schema.item.c.id).where(schema.item.c.visit == visit))
    return table.c.visit == visit


def _infant_row(infant: Infant) -> dict[str, Any]:
    lists = infant.model_dump(mode="json", include={"risk_factors", "carers"})
    return infant.model_dump() | lists | {"code_key": infant.code_name.casefold()}


def _revise(infant: Infant, event: Event, connection: sa.Connection) -> None:
    row = _infant_row(infant)
    connection.execute(schema.infant.update().where(schema.infant.c.id == row.pop("id")).values(**row))
    _keep_names(infant, event, connection)


def _keep_names(infant: Infant, event: Event, connection: sa.Connection) -> None:
    c = schema.infant_name.c
    kept = set(connection.scalars(sa.select(c.name).where(c.infant == infant.id)))
    for name in dict.fromkeys((infant.code_name, infant.legal_name)):
        if name and name not in kept:
            connection.execute(schema.infant_name.insert().values(infant=infant.id, name=name, seq=event.seq))


def _revise_visit(event: Event, connection: sa.Connection, **columns: Any) -> None:
    connection.execute(schema.visit.update().where(schema.visit.c.id == event.visit).values(**columns))


def _age(age: Age | None) -> dict[str, Any] | None:
    return age.model_dump(mode="json") if age else None


def _item_row(record: VisitRecord, position: int, item: Item) -> dict[str, Any]:
    columns = {"id", "kind", "concept", "site", "side", "level", "result", "value", "unit"}
    return {
        **item.model_dump(include=columns),
        "visit": record.visit,
        "infant": record.infant.id,
        "day": record.day,
        "age_days": record.age.days if record.age else None,
        "corrected_days": record.age.corrected_days if record.age else None,
        "position": position,
        "start_ms": item.start_ms,
        "end_ms": item.end_ms,
        "data": item.model_dump(mode="json", exclude={"evidence"}),
    }


def _evidence_rows(item: Item) -> Iterator[dict[str, Any]]:
    for position, span in enumerate(item.evidence):
        yield {
            "item": item.id,
            "position": position,
            "role": span.role,
            "start_ms": span.start_ms,
            "end_ms": span.end_ms,
            "i0": span.words[0],
            "i1": span.words[1],
            "quote": span.quote,
        }


def _remark_row(visit: str, remark: Any) -> dict[str, Any]:
    data = remark.model_dump(mode="json")
    return {"visit": visit, "id": remark.id, "rule": remark.rule, "urgency": str(remark.urgency), "data": data}


def _line_row(visit: str, position: int, section: str, line: Line) -> dict[str, Any]:
    data = line.model_dump(mode="json")
    return {"visit": visit, "id": line.id, "position": position, "section": section, "text": line.text, "data": data}


def _passages(visit: str, drafted: Drafted) -> Iterator[dict[str, Any]]:
    """Every utterance, and every line that a person typed: what was said or written, not what the program words."""
    words = drafted.transcript.words
    for i0, i1 in drafted.transcript.utterances:
        yield {
            "visit": visit,
            "line": None,
            "start_ms": words[i0].start_ms,
            "end_ms": words[i1 - 1].end_ms,
            "text": drafted.transcript.quote((i0, i1)),
        }
    for line in (line for part in drafted.note.parts() for line in part.lines):
        if line.written and not drafted.note.written:
            yield {"visit": visit, "line": line.id, "start_ms": 0, "end_ms": 0, "text": line.text}
