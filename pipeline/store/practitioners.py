"""Who works here, by the events that say so: few, so all are read."""

import sqlalchemy as sa

from pipeline.model import Practitioner
from pipeline.store import schema
from pipeline.store.events import PractitionerEntered, PractitionerRevised, event_of

_KINDS = ("practitioner_entered", "practitioner_revised")


def practitioners(connection: sa.Connection) -> dict[str, Practitioner]:
    """All who ever worked here by id, in the order they were entered, as known now."""
    c = schema.event.c
    found: dict[str, Practitioner] = {}
    for row in connection.execute(sa.select(schema.event).where(c.type.in_(_KINDS)).order_by(c.seq)):
        payload = event_of(row).payload
        if isinstance(payload, PractitionerEntered | PractitionerRevised):
            found[payload.practitioner.id] = payload.practitioner
    return found
