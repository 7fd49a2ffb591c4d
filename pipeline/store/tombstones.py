"""What was destroyed and what stands in its place: stored files by their hash, events by their id.

The events that destroyed something say so (``Redaction``); the table ``destroyed`` sums up what they say of files.
"""

from collections.abc import Iterable, Mapping

import sqlalchemy as sa

from pipeline.store import schema
from pipeline.store.chain import content_hash
from pipeline.store.events import (
    Contact,
    Event,
    Payload,
    RecordDestroyed,
    RecordingSealed,
    Redaction,
    SoundDestroyed,
    event_of,
)
from pipeline.store.fts import guard_events, lift_guards

_c = schema.destroyed.c
DESTROYS = (Redaction, SoundDestroyed, RecordDestroyed)  # the kinds of event that destroy


def replaced_files(payloads: Iterable[Payload]) -> dict[str, str]:
    """The files that these events destroyed, each with the one in its place ("" = none)."""
    told = (payload for payload in payloads if isinstance(payload, DESTROYS))
    return {old: new for payload in told for old, new in payload.replaced.items()}


def attested(payloads: Iterable[Payload]) -> dict[str, str]:
    """The events whose words these events destroyed, by id, each with the hash of what stands there now."""
    told = (payload for payload in payloads if isinstance(payload, Redaction | RecordDestroyed))
    return {key: now for payload in told for key, now in payload.events.items()}


def in_place_of(sha256: str, replaced: Mapping[str, str]) -> str:
    """The file that stands for one now: itself where it was not destroyed; "" where nothing does, or where files are
    said to stand for each other in a ring."""
    for _ in range(len(replaced) + 1):
        if sha256 not in replaced:
            return sha256
        sha256 = replaced[sha256]
    return ""


def destroyings(connection: sa.Connection) -> list[Payload]:
    """What the events say that destroyed anything, in order."""
    c = schema.event.c
    kinds = [kind.model_fields["type"].default for kind in DESTROYS]
    query = sa.select(schema.event).where(c.type.in_(kinds)).order_by(c.seq)
    return [event_of(row).payload for row in connection.execute(query)]


def redactions(connection: sa.Connection) -> list[Event]:
    """The events that destroyed stretches, in order."""
    c = schema.event.c
    query = sa.select(schema.event).where(c.type == "redaction").order_by(c.seq)
    return [event_of(row) for row in connection.execute(query)]


def redactions_of(connection: sa.Connection, recording: str) -> list[Redaction]:
    """What was destroyed of a recording, in order."""
    told = (event.payload for event in redactions(connection))
    return [one for one in told if isinstance(one, Redaction) and one.recording == recording]


def destroyed_files(connection: sa.Connection) -> dict[str, str]:
    """All files that were ever destroyed, as ``replaced_files`` gives them."""
    return {row.sha256: row.instead or "" for row in connection.execute(sa.select(schema.destroyed))}


def note_destroyed(connection: sa.Connection, replaced: Mapping[str, str], seq: int) -> None:
    """Enter files that event ``seq`` destroyed; what was said of one before holds no more."""
    for old, new in replaced.items():
        connection.execute(schema.destroyed.delete().where(_c.sha256 == old))
        connection.execute(schema.destroyed.insert().values(sha256=old, instead=new or None, seq=seq))


def put_in_place(connection: sa.Connection, instead: Mapping[str, Payload]) -> dict[str, str]:
    """Put other payloads in the place of those of these events, by id; what was there is gone, its salt too.

    Returns what the event that tells of it must carry as ``events``, in the same change. The derived row of a recording
    follows; lines do by a new draft.
    """
    event = schema.event
    told: dict[str, str] = {}
    lift_guards(connection)
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql("PRAGMA secure_delete=ON")
    for key, payload in instead.items():
        data = payload.model_dump(mode="json")
        told[key] = content_hash("", data)
        connection.execute(event.update().where(event.c.id == key).values(payload=data, salt=""))
        if isinstance(payload, RecordingSealed):
            _keep_recording(connection, payload)
        if isinstance(payload, Contact):
            contact = schema.contact
            connection.execute(contact.update().where(contact.c.id == key).values(text=payload.text))
    guard_events(connection)
    return told


def _keep_recording(connection: sa.Connection, payload: RecordingSealed) -> None:
    table, recording = schema.recording, payload.recording
    row = connection.execute(sa.select(table).where(table.c.id == recording.id)).one()
    data = recording.model_dump(mode="json") | {
        "sha256": row.sha256,
        "media_type": row.media_type,
        "gone": row.data.get("gone", ""),
    }
    connection.execute(table.update().where(table.c.id == recording.id).values(data=data))
