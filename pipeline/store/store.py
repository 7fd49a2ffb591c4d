"""The store: one database and its blobs under one folder. Reads, appends as a whole or not at all, rebuilds.

home/record.db     events and what is derived from them
home/blobs/ab/...  recordings and transcripts by content hash
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

import sqlalchemy as sa
from pydantic import ValidationError
from ulid import ULID

from pipeline.errors import InputError, NotFoundError, StoreError
from pipeline.files import private_folder
from pipeline.model import (
    Age,
    Answer,
    Destroyed,
    Infant,
    LineEdit,
    Recording,
    Redo,
    Transcript,
    Undo,
    WordCorrection,
)
from pipeline.records import ContactEntry, Drafted, PastVisit, VisitEntry, VisitOnRecord, VisitRecord
from pipeline.store import people, schema
from pipeline.store.blobs import Blobs, StagedBlobs
from pipeline.store.chain import chained, head
from pipeline.store.database import faults, open_database, scrub
from pipeline.store.derived import apply_event, clear_draft, put_draft
from pipeline.store.entries import contacts_of, find_visit, visit_entry, visits_of
from pipeline.store.events import (
    Event,
    InfantEntered,
    InfantRevised,
    InfantsMerged,
    Payload,
    event_of,
    kind_of,
)
from pipeline.store.history import (
    READING,
    all_visits,
    drafted_by_content,
    drafted_visits,
    known_names,
    previous_visits,
    version,
    visit_of,
)
from pipeline.store.reading import DATABASE
from pipeline.store.tombstones import destroyed_files, in_place_of
from pipeline.vault import Keys, keys_of

_EDITS = (LineEdit, WordCorrection, Answer, Undo, Redo, Destroyed)


def new_id() -> str:
    """A ULID: unique, and sorting by the time it was made."""
    return str(ULID())


class Writing:
    """One unit of change: blobs, events and derived rows together."""

    def __init__(self, store: "Store", connection: sa.Connection) -> None:
        self.connection = connection
        self.blobs = StagedBlobs(store.blobs)
        self._store = store

    def append(self, payload: Payload, *, visit: str | None = None, infant: str | None = None) -> None:
        """Add an event of now, made by who is at work, and bring the derived tables up to it. Raises as that does."""
        now, key = datetime.now(UTC), new_id()
        who = self._store.keys.who if self._store.keys else ""
        self.take_over(Event(seq=0, id=key, at=now, author=who, infant=infant, visit=visit, payload=payload))

    def take_over(self, event: Event) -> None:
        """Add an event as it was made, its id, time and author kept; its place in the order is the next.

        Raises InputError where it enters an infant whose id or code name is taken.
        """
        payload = event.payload
        if isinstance(payload, InfantEntered | InfantRevised):
            self._refuse_taken(payload.infant, entered=isinstance(payload, InfantEntered))
        row = chained(head(self.connection), {**event.model_dump(mode="json"), "type": kind_of(payload)})
        self.connection.execute(schema.event.insert().values(**row))
        apply_event(self.connection, event.model_copy(update={"seq": row["seq"]}))

    def put_draft(self, record: VisitRecord, drafted: Drafted) -> None:
        """Replace the derived lines of a visit by a new draft."""
        put_draft(self.connection, record, drafted)

    def clear_draft(self, visit: str) -> None:
        """Remove the derived lines of a visit that has no words any more."""
        clear_draft(self.connection, visit)

    def infant(self, key: str) -> Infant | None:
        """The infant of this id or code name as it stands inside this change."""
        return people.find_infant(self.connection, key)

    def entry(self, key: str) -> Infant | None:
        """The entry of this id or code name as it was entered, merged into another infant or not."""
        return people.find_entry(self.connection, key)

    def merge_of(self, entry: str) -> InfantsMerged | None:
        """How an entry was merged into another infant; None where it stands by itself."""
        return people.merge_of(self.connection, entry)

    def visits_of(self, *, infant: str = "", recording: str = "") -> list[VisitEntry]:
        """The visits of an infant or on a recording, drafted or not, oldest first."""
        return visits_of(self.connection, infant=infant, recording=recording)

    def visit_of(self, recording: str) -> str | None:
        """The visit that a recording was filed under first; others may hold stretches of it."""
        return visit_of(self.connection, recording)

    def visit(self, visit: str) -> VisitEntry:
        """A visit as it was entered. Raises NotFoundError."""
        return visit_entry(self.connection, visit)

    def visits_with_words(self) -> list[str]:
        """The ids of all visits that have a recording or a text, oldest first."""
        return [visit.id for visit in reversed(all_visits(self.connection)) if visit.transcribed]

    def find_visit(self, key: str) -> VisitEntry:
        """The visit of this id, or whose id alone ends so. Raises NotFoundError, InputError."""
        return find_visit(self.connection, key)

    def blob(self, sha256: str) -> Path:
        """Where a blob lies that was kept before this change."""
        return self._store.blobs.path(sha256)

    def record(self, visit: str) -> VisitRecord:
        """All that is on record of a visit as it stands inside this change. Raises as ``Store.record`` does."""
        return self._store.record(visit, inside=self.connection)

    def events(self, *, visit: str | None = None, infant: str | None = None) -> list[Event]:
        """The events of a visit, or those of an infant that belong to no visit, in order, without readings.

        Raises StoreError.
        """
        return list(_events(self.connection, visit, infant))

    def transcripts(self, recording: str) -> dict[str, Transcript]:
        """Every version of the words of a recording by the hash of its file, oldest first. Raises StoreError."""
        c = schema.transcript.c
        found = self.connection.scalars(sa.select(c.sha256).where(c.recording == recording).order_by(c.version)).all()
        return {sha256: self._store.transcript(sha256) for sha256 in found}

    def stored(self, sha256: str) -> bytes:
        """A file that an event names, as ``Store.stored`` gives it, inside this change."""
        return self._store.stored(sha256, inside=self.connection)

    def version(self, visit: str) -> int:
        """Names the state of a visit inside this change."""
        return version(self.connection, visit)

    def drafted_visits(self, *, infant: str = "", recording: str = "") -> list[tuple[str, date]]:
        """The drafted visits of an infant or on a recording with their days, oldest first."""
        return drafted_visits(self.connection, infant=infant, recording=recording)

    def _refuse_taken(self, infant: Infant, *, entered: bool) -> None:
        table = schema.infant
        keys = {infant.id.casefold(), infant.code_name.casefold()}
        taken = sa.or_(table.c.code_key.in_(keys), sa.func.lower(table.c.id).in_(keys))
        query = sa.select(table.c.id, table.c.code_name).where(taken)
        if not entered:
            query = query.where(table.c.id != infant.id)
        if other := self.connection.execute(query).first():
            raise InputError(
                f'infant "{infant.code_name}": the record already holds an infant under this name '
                f"({other.code_name}, {other.id}); two infants cannot share one. Give another --infant."
            )


class Store:
    """The record on this computer. Use as a context manager, or call ``close``."""

    def __init__(self, home: Path, *, copy_of: "Store | None" = None) -> None:
        """Open the record under ``home``, made where there is none. Raises InputError, LockedError, StoreError.

        copy_of: whose database was copied to ``home``; the keys and the blobs are those of that one.
        """
        self.keys: Keys | None = copy_of.keys if copy_of else keys_of(home)
        private_folder(home)
        self.blobs: Blobs = copy_of.blobs if copy_of else Blobs(home / "blobs", self.keys)
        self.path = home / DATABASE
        self._engine = open_database(self.path, self.keys)

    @staticmethod
    def exists(home: Path) -> bool:
        """Whether there is a record under ``home``; also where that cannot be told, so that opening it says why."""
        try:
            return (home / DATABASE).exists()
        except OSError:
            return True

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """One consistent view of the record. Raises StoreError."""
        with faults(self.path), self._engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Writing]:
        """All that is done inside is kept when the block ends, or nothing of it where it raises."""
        with faults(self.path), self._engine.connect().execution_options(writes=True) as connection:
            unit = Writing(self, connection)
            try:
                with connection.begin():
                    yield unit
                    unit.blobs.publish()
            except BaseException:
                unit.blobs.take_back()
                raise

    def infant(self, key: str) -> Infant | None:
        """The infant of this id or code name, without regard to case."""
        with self.reading() as connection:
            return people.find_infant(connection, key)

    def infants(self) -> list[tuple[Infant, int, tuple[Infant, ...]]]:
        """All infants by code name, each with the number of its visits and the entries merged into it."""
        with self.reading() as connection:
            return people.infants(connection)

    def contacts(self, infant: str) -> list[ContactEntry]:
        """The contacts of an infant (by its id), oldest first."""
        with self.reading() as connection:
            return contacts_of(connection, infant)

    def drafted_by_content(self) -> dict[str, str]:
        """By the SHA-256 of a recording's bytes, the drafted visit that it was filed under first."""
        with self.reading() as connection:
            return drafted_by_content(connection)

    def counts(self) -> tuple[int, int]:
        """How many infants and how many visits are on record."""
        with self.reading() as connection:
            known = sa.select(sa.func.count()).select_from(schema.infant).where(schema.infant.c.merged_into.is_(None))
            visits = sa.select(sa.func.count()).select_from(schema.visit)
            return connection.execute(known).scalar_one(), connection.execute(visits).scalar_one()

    def visits(self) -> list[VisitOnRecord]:
        """Every visit on record, newest first."""
        with self.reading() as connection:
            return all_visits(connection)

    def visit(self, visit: str) -> VisitEntry:
        """A visit as it was entered. Raises NotFoundError."""
        with self.reading() as connection:
            return visit_entry(connection, visit)

    def version(self, visit: str) -> int:
        """Names the state of a visit: it changes with every event of the visit or its infant."""
        with self.reading() as connection:
            return version(connection, visit)

    def visit_of(self, recording: str) -> str | None:
        """The visit that a recording was filed under first; others may hold stretches of it."""
        with self.reading() as connection:
            return visit_of(connection, recording)

    def recording_of(self, sha256: str) -> str | None:
        """The id of the recording whose file this is now."""
        with self.reading() as connection:
            c = schema.recording.c
            return connection.scalar(sa.select(c.id).where(c.sha256 == sha256).limit(1))

    def record(self, visit: str, *, inside: sa.Connection | None = None) -> VisitRecord:
        """All that is on record of a visit. Raises NotFoundError, StoreError where its transcript is damaged."""
        if inside is not None:
            return self._record(inside, visit)
        with self.reading() as connection:
            return self._record(connection, visit)

    def previous(self, infant: str, day: date) -> tuple[PastVisit, ...]:
        """The infant's visits up to a day, oldest first."""
        with self.reading() as connection:
            return previous_visits(connection, infant, day, "~")

    def stored(self, sha256: str, *, inside: sa.Connection | None = None) -> bytes:
        """The file that an event names, or what stands in its place where a stretch of it was destroyed.

        Raises NotFoundError where it was destroyed as a whole, StoreError where it is damaged.
        """
        if inside is None:
            with self.reading() as connection:
                return self.stored(sha256, inside=connection)
        if not (now := in_place_of(sha256, destroyed_files(inside))):
            raise NotFoundError(f"the stored file {sha256[:12]}… was destroyed.")
        return self.blobs.read(now)

    def head(self) -> str:
        """The newest event as "SEQ:HASH"; kept elsewhere, it proves all events before it."""
        with self.reading() as connection:
            seq, digest = head(connection)
        return f"{seq}:{digest}"

    def events(self, *, visit: str | None = None) -> list[Event]:
        """The record in order of replay, all of it or one visit's without readings. Raises StoreError where one cannot
        be read."""
        with self.reading() as connection:
            return list(_events(connection, visit))

    def scrub(self) -> None:
        """Leave nothing in the database's files of rows that are no longer there: index, free pages, journal.

        Raises StoreError while another program reads the record.
        """
        scrub(self._engine, self.path)

    def rebuild(self, derive: Callable[[VisitRecord], Drafted]) -> int:
        """Empty the derived tables and make them again from events and blobs; returns the number of visits drafted.

        ``derive`` drafts one visit; given the same program and vocabulary it must give the same draft. All or nothing.
        """
        with self.writing() as unit:
            for table in schema.DERIVED_TABLES:
                unit.connection.execute(table.delete())
            for event in _events(unit.connection, None):
                apply_event(unit.connection, event)
            c = schema.visit.c
            heard = sa.exists().where(schema.transcript.c.recording == c.recording)
            visits = unit.connection.scalars(sa.select(c.id).where(heard).order_by(c.day, c.id)).all()
            for visit in visits:  # a visit is held against those before it
                record = self._record(unit.connection, visit)
                unit.put_draft(record, derive(record))
        return len(visits)

    def _record(self, connection: sa.Connection, visit: str) -> VisitRecord:
        row = connection.execute(
            sa.select(schema.visit, schema.recording.c.data, schema.transcript.c.sha256)
            .join(schema.recording, schema.recording.c.id == schema.visit.c.recording)
            .join(schema.transcript, schema.transcript.c.recording == schema.recording.c.id)
            .where(schema.visit.c.id == visit)
            .order_by(schema.transcript.c.version.desc())
        ).first()
        if row is None:
            raise NotFoundError(f"visit {visit}: the record holds no such visit with a recording.")
        infant = people.find_infant(connection, row.infant)
        assert infant is not None, "the foreign key holds"
        edits = [e.payload for e in _events(connection, visit)]
        return VisitRecord(
            visit=visit,
            infant=infant,
            day=row.day,
            age=Age.model_validate(row.age) if row.age else None,
            recording=Recording.model_validate(row.data),
            transcript=self.transcript(row.sha256),
            transcript_sha256=row.sha256,
            stretches=row.stretches,
            at=row.at,
            edits=tuple(
                e for e in edits if isinstance(e, LineEdit | WordCorrection | Answer | Undo | Redo | Destroyed)
            ),
            previous=previous_visits(connection, row.infant, row.day, visit),
            known_names=known_names(connection, row.infant, visit),
        )

    def transcript(self, sha256: str) -> Transcript:
        """A version of the words by the hash of its file. Raises StoreError."""
        try:
            return Transcript.model_validate_json(self.blobs.read(sha256))
        except ValidationError as error:
            raise StoreError(f"{self.blobs.path(sha256)}: no transcript of this program's form.") from error


def _events(connection: sa.Connection, visit: str | None, infant: str | None = None) -> Iterator[Event]:
    query, c = sa.select(schema.event).order_by(schema.event.c.seq), schema.event.c
    if visit is not None:
        query = query.where(c.visit == visit, c.type != READING)
    if infant is not None:
        query = query.where(c.infant == infant, c.visit.is_(None), c.type != READING)
    yield from map(event_of, connection.execute(query).all())
