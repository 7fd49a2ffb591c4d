"""The record as it stood: a copy that holds the events up to a moment, and nothing that was made of later ones."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import sqlalchemy as sa

from pipeline.store import schema
from pipeline.store.derived import apply_event
from pipeline.store.events import event_of
from pipeline.store.store import Store


@contextmanager
def record_at(store: Store, home: Path, moment: datetime) -> Iterator[tuple[Store, str]]:
    """The record with the events that were made up to ``moment``, nothing drafted, and its newest event as "SEQ:HASH".

    By the time that each event carries: the clock of the computer that made it, but never earlier than one that it
    rests on (a clock may be set back). What was destroyed since is not there either: redactions are carried out
    whenever they were made. Raises StoreError.
    """
    latest: dict[str, datetime] = {}  # by visit, and by infant for what belongs to no visit
    with TemporaryDirectory(prefix=".earlier-", dir=home) as folder, Store(Path(folder), copy_of=store) as then:
        head = "0:"
        with store.reading() as live, then.writing() as unit:
            for row in live.execute(sa.select(schema.event).order_by(schema.event.c.seq)):
                rests_on = [latest[key] for key in (row.visit, row.infant) if key in latest]
                made = max([datetime.fromisoformat(row.at), *rests_on])
                latest[row.visit or row.infant or ""] = made
                known = made <= moment
                if not known and row.type != "redaction":
                    continue
                unit.connection.execute(schema.event.insert().values(**row._mapping))
                apply_event(unit.connection, event_of(row))
                head = f"{row.seq}:{row.hash}" if known else head
        yield then, head
