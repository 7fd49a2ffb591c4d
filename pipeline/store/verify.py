"""Everything held against everything: database, events and their chain, blobs, signed notes, and a fresh rebuild.

Works on a copy of the database as it is at one moment, so that others may go on writing; changes nothing.
"""

import json
import re
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import sqlalchemy as sa
from pydantic import ValidationError

from pipeline.errors import HandspokenError, InputError, StoreError
from pipeline.files import sha256_of
from pipeline.model import Frozen, Note, Transcript
from pipeline.records import Drafted, VisitRecord
from pipeline.store.chain import content_hash, event_hash, first_hash
from pipeline.store.compare import derived_rows, differences
from pipeline.store.driver import connect, sqlite
from pipeline.store.events import Event, Signed, TranscriptMade, kind_of, read_payload
from pipeline.store.reading import DATABASE
from pipeline.store.schema import DRAFT_TABLES
from pipeline.store.store import Store
from pipeline.store.tombstones import attested, in_place_of, replaced_files
from pipeline.store.transfer import files_of

RESTORE = "restore a backup"
REBUILD = "`handspoken rebuild` makes it again from the events"
Step = Callable[[str], None]
_HASH = re.compile(r"[0-9a-f]{64}")


class Fault(Frozen):
    """Something that is not as it should be, where, and what to do.

    damage: False for what is only left over or older. no_sound: a recording is not here; its words and lines are.
    """

    where: str
    what: str
    do: str
    damage: bool = True
    no_sound: bool = False


class Verified(Frozen):
    """What was found. ``head``: number and hash of the newest event: kept elsewhere, it proves all before it."""

    events: int
    blobs: int
    visits: int
    head: str
    faults: tuple[Fault, ...]

    @property
    def sound(self) -> bool:
        """Whether nothing is damaged."""
        return not any(fault.damage for fault in self.faults)


def snapshot(store: Store, to: Path) -> None:
    """Copy the database as it is now, while others write, to the file ``to``. Raises StoreError."""
    with store.reading() as connection:
        source = connection.connection.driver_connection
        assert isinstance(source, sqlite.Connection)
        target = connect(to, store.keys, writes=True)
        try:
            source.backup(target)
        finally:
            target.close()


def blobs_of(events: list[Event]) -> dict[str, tuple[str, bool]]:
    """Every blob that must be there, by its hash, with what it belongs to and whether it is sound.

    These are those that the events name, and what stands in the place of those that were destroyed.
    """
    named: dict[str, tuple[str, bool]] = {}
    replaced = replaced_files(event.payload for event in events)
    for event in events:
        what = f"{event.payload.type.replace('_', ' ')}, visit {event.visit or 'none'}"
        for came, sound in files_of(event.payload):
            if now := in_place_of(came, replaced):
                named[now] = (what, sound and named.get(now, ("", True))[1])
    return named


def verify(
    store: Store, home: Path, derive: Callable[[VisitRecord], Drafted] | None, *, head: str | None = None, step: Step
) -> Verified:
    """Check everything; ``step`` hears what is looked at. ``head``: "SEQ:HASH" as noted before.

    derive: drafts a visit, for the rebuild to compare with; None leaves the drafts out.

    Raises StoreError where not even a copy can be made, InputError where ``head`` is none.
    """
    with tempfile.TemporaryDirectory(prefix=".verify-", dir=home) as folder:
        copy = Path(folder) / DATABASE
        step("database")
        snapshot(store, copy)
        with Store(Path(folder), copy_of=store) as copied:
            faults = list(_database(copied))
            step("events")
            events, found = _events(copied)
            faults += found
            chain, newest = _chain(copied, events, _noted(head))
            faults += chain
            step("stored files")
            named = blobs_of(events)
            faults += _blobs(copied, named, store, int(newest.partition(":")[0]))
            faults += _contents(copied, events)
            visits = 0
            if derive is not None:
                step("drafts")
                visits, found = _rebuilt(copied, derive)
                faults += found
    return Verified(events=len(events), blobs=len(named), visits=visits, head=newest, faults=tuple(faults))


def _database(store: Store) -> Iterator[Fault]:
    with store.writing() as unit:
        for (said,) in unit.connection.exec_driver_sql("PRAGMA integrity_check"):
            if said != "ok":
                yield Fault(where="database", what=said, do=RESTORE)
        for row in unit.connection.exec_driver_sql("PRAGMA foreign_key_check"):
            yield Fault(where=f"table {row[0]}", what=f"a row points to nothing in {row[2]}", do=REBUILD)
        try:
            unit.connection.exec_driver_sql("INSERT INTO passage_fts(passage_fts, rank) VALUES ('integrity-check', 1)")
        except sa.exc.DBAPIError as error:
            yield Fault(where="search index", what=str(error.orig), do=REBUILD)


def _events(store: Store) -> tuple[list[Event], list[Fault]]:
    events, faults = [], []
    with store.reading() as connection:
        for row in connection.execute(sa.text("SELECT * FROM event ORDER BY seq")).mappings().all():
            try:
                payload = read_payload(json.loads(row["payload"]), row["seq"])
                if kind_of(payload) != row["type"]:
                    raise StoreError(f"event {row['seq']} says that it is {row['type']} and holds {kind_of(payload)}.")
                events.append(Event.model_validate({**row, "payload": payload}, extra="ignore"))
            except (ValueError, HandspokenError) as error:
                faults.append(Fault(where=f"event {row['seq']}", what=str(error), do=RESTORE))
    return events, faults


def _chain(store: Store, events: list[Event], noted: tuple[int, str] | None) -> tuple[list[Fault], str]:
    """The first event whose hash is not what it must be; and whether the record still holds the noted head."""
    last, first, at = "", "", 0
    faults: list[Fault] = []
    destroyed = attested(event.payload for event in events)
    with store.reading() as connection:
        for row in map(dict, connection.execute(sa.text("SELECT * FROM event ORDER BY seq")).mappings().all()):
            try:
                row["payload"] = json.loads(row["payload"])
            except ValueError:
                row["payload"] = None
            whole = content_hash(row["salt"], row["payload"]) == row["content"]
            known = whole or destroyed.get(row["id"]) == content_hash("", row["payload"])
            follows = event_hash(last, row) == row["hash"] and (
                not whole or row["first_hash"] in (None, first_hash(first, row))
            )
            if not (known and follows) and not faults:
                what = "its hash does not follow: this event or one before it was altered, dropped or added"
                faults.append(Fault(where=f"event {row['seq']}", what=what, do=RESTORE))
            last, first, at = row["hash"], row["first_hash"], row["seq"]
            if noted and noted[0] == at and noted[1] not in (last, first):
                faults.append(Fault(where=f"event {at}", what="it is not the event that was noted", do=RESTORE))
    if noted and noted[0] > at:
        what = f"the record ends at event {at}; event {noted[0]} was noted, so later ones were dropped"
        faults.append(Fault(where="events", what=what, do=RESTORE))
    return faults, f"{at}:{last}"


def _noted(head: str | None) -> tuple[int, str] | None:
    if head is None:
        return None
    seq, _, digest = head.strip().partition(":")
    if not seq.isascii() or not seq.isdigit() or len(seq) > 18 or len(digest) != 64:
        raise InputError(f'head "{head[:90]}" is none; give it as noted, the number of an event, a colon and its hash.')
    return int(seq), digest.lower()


def _blobs(store: Store, named: dict[str, tuple[str, bool]], live: Store, last: int) -> Iterator[Fault]:
    for sha256, (what, sound) in named.items():
        path = store.blobs.path(sha256)
        try:
            found = sha256_of(store.blobs.blocks(sha256))
        except InputError:
            told = f"a stored file is missing ({what})"
            yield Fault(where=str(path), what=told, do=RESTORE, no_sound=sound and not path.exists())
            continue
        except StoreError:
            found = ""  # none of it
        if found != sha256:
            yield Fault(where=str(path), what=f"a stored file was altered or damaged ({what})", do=RESTORE)
    with live.reading() as connection:  # what was filed since the copy was made is not left over
        since = (
            connection.execute(sa.text("SELECT payload FROM event WHERE seq > :last"), {"last": last}).scalars().all()
        )
    known = {store.blobs.path(sha256) for sha256 in (*named, *_HASH.findall("\n".join(since)))}
    for path in sorted(p for p in store.blobs.folder.rglob("*") if p.is_file()):
        if path not in known:
            yield Fault(where=str(path), what="nothing on record names it", do="it may be deleted", damage=False)


def _contents(store: Store, events: list[Event]) -> Iterator[Fault]:
    """Transcripts and signed notes whose bytes are whole must also be readable."""
    replaced = replaced_files(event.payload for event in events)
    for event in events:
        match event.payload:
            case TranscriptMade(sha256=sha256):
                model: type[Transcript] | type[Note] = Transcript
            case Signed(note=sha256):
                model = Note
            case _:
                continue
        if not (sha256 := in_place_of(sha256, replaced)):
            continue
        try:
            model.model_validate_json(store.blobs.read(sha256))
        except ValidationError as error:
            what = f"no {model.__name__.lower()} of this program's form ({error.errors()[0]['msg']})"
            yield Fault(where=str(store.blobs.path(sha256)), what=what, do=RESTORE)
        except StoreError:
            continue  # told already


def _rebuilt(store: Store, derive: Callable[[VisitRecord], Drafted]) -> tuple[int, list[Fault]]:
    """Where the derived tables are not those of a fresh rebuild."""
    with store.reading() as connection:
        before = derived_rows(connection)
    try:
        visits = store.rebuild(derive)
    except HandspokenError as error:
        why = str(error).removesuffix(".").removesuffix(f"; {RESTORE}")
        return 0, [Fault(where="drafts", what=f"they cannot be made again: {why}", do=RESTORE)]
    with store.reading() as connection:
        after = derived_rows(connection)
    drafts = {table.name for table in DRAFT_TABLES}
    other = {visit for table, visit in differences(before, after) if table == "run"}
    faults: dict[str, Fault] = {}
    for table, visit in differences(before, after):
        where = f"visit {visit}" if visit else f"table {table}"
        if table in drafts and visit in other and before["run"].get(visit):
            what = "its draft was made by another program, vocabulary or setting"
            faults.setdefault(where, Fault(where=where, what=what, do=REBUILD, damage=False))
        else:
            what = f"{table} is not what the events and stored files give"
            faults.setdefault(where, Fault(where=where, what=what, do=REBUILD))
    return visits, list(faults.values())
