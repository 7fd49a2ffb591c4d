"""The record: what goes in comes out, whole or not at all, and the derived tables follow from it."""

import errno
import os
import stat
import threading
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest
import sqlalchemy as sa
from invented import DAY, drafted, file_visit, infant, item, record_of

from pipeline.errors import HandspokenError, InputError, NotFoundError, StoreError
from pipeline.model import Age, Answer, Item, LineEdit, Transcript, WordCorrection
from pipeline.records import Drafted, VisitRecord
from pipeline.store import Store, schema
from pipeline.store.compare import derived_rows
from pipeline.store.events import (
    Addendum,
    Consent,
    Contact,
    InfantEntered,
    InfantRevised,
    Payload,
    Redaction,
    Signed,
    VisitRevised,
)

Spoken = Callable[[str], Transcript]
SAID = "The left sternocleidomastoid is tight. Hips no clunk."


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "home") as opened:
        yield opened


def _items(transcript: Transcript) -> tuple[Item, ...]:
    return (
        item(transcript, (1, 5), "tissue.tension", "tight", site="sternocleidomastoid", side="left"),
        item(transcript, (5, 8), "joint.clunk", "absent", site="hip", side="both"),
    )


def _derive(record: VisitRecord) -> Drafted:
    return drafted(record, _items(record.transcript))


def _derived(store: Store) -> dict[str, dict[str, list[str]]]:
    with store.reading() as connection:
        return derived_rows(connection)


def _everything(home: Path) -> dict[str, bytes]:
    """Every file under home, and the rows of the record instead of its database file."""
    files = {
        str(p.relative_to(home)): p.read_bytes() for p in home.rglob("*") if p.is_file() and "record" not in p.name
    }
    engine = sa.create_engine(f"sqlite:///{home / 'record.db'}", poolclass=sa.NullPool)
    with engine.connect() as connection:
        for table in schema.metadata.sorted_tables:
            files[table.name] = repr(connection.execute(table.select()).all()).encode()
    return files


def test_a_visit_comes_back_as_it_was_filed(store: Store, spoken: Spoken) -> None:
    age = Age(days=63, corrected_days=35, as_said="9 weeks")
    record = record_of(spoken(SAID), infant(born=date(2026, 9, 23), gestation_weeks=36), age=age)

    stored = file_visit(store, record, *_items(record.transcript))

    assert stored == store.record(record.visit)
    assert record.visit == store.visit_of(record.recording.id)
    assert record.infant == store.infant("ROBIN") == store.infant(record.infant.id.lower())
    assert store.infant("wren") is None
    with pytest.raises(NotFoundError, match="no such visit"):
        store.record("01ARZ3NDEKTSV4RRFFQ69G5FAV")


def test_rebuilding_gives_the_same_rows(store: Store, spoken: Spoken) -> None:
    for name, day in (("robin", DAY), ("wren", date(2026, 11, 26))):
        record = record_of(spoken(f"{SAID} {name}."), infant(name), day)
        file_visit(store, record, *_items(record.transcript))
    with store.writing() as unit:
        unit.append(VisitRevised(day=DAY, age=Age(days=70)), visit=record.visit)
        unit.put_draft(revised := record.model_copy(update={
            "day": DAY, "age": Age(days=70), "transcript_sha256": store.record(record.visit).transcript_sha256,
        }), _derive(revised))  # fmt: skip
        unit.append(Contact(day=DAY, what="call", text="sleeps better"), infant=record.infant.id)
        gone = Redaction(recording="none", start_ms=0, end_ms=1, reason="invented", replaced={"0" * 64: ""})
        unit.append(gone, infant=record.infant.id)
    before = _derived(store)
    assert all(before.values()), "every derived table holds something to lose"

    assert store.rebuild(_derive) == 2

    assert before == _derived(store)


def test_a_rebuild_that_fails_changes_nothing(store: Store, spoken: Spoken, tmp_path: Path) -> None:
    record = record_of(spoken(SAID), infant())
    file_visit(store, record, *_items(record.transcript))
    before = _everything(tmp_path / "home")

    def fails(_record: VisitRecord) -> Drafted:
        raise InputError("no")

    with pytest.raises(InputError):
        store.rebuild(fails)

    assert before == _everything(tmp_path / "home")


EDIT = {"kind": "finding", "concept": "joint.clunk", "site": "hip", "start_ms": 0, "end_ms": 500}


@pytest.mark.parametrize(
    "payload",
    [
        LineEdit.model_validate({"item_id": "x", "anchor": EDIT, "action": "change", "after": {"side": "left"}}),
        WordCorrection(start_ms=0, end_ms=500, heard="hep", meant="hip"),
        Answer(remark_id="RF29:hip:left", choice="done", text="rung through"),
        Signed(note="0" * 64, renderings={"note.html": "1" * 64}, signer="invented", program="0", vocab_hash="0" * 64),
        Addendum(text="the report came", signer="invented"),
        Contact(day=DAY, what="call", text="sleeps better"),
        Consent(scope="treat", state="given", giver="mother"),
        Redaction(recording="0" * 64, start_ms=0, end_ms=500, reason="another family heard"),
    ],
    ids=lambda payload: payload.type,
)
def test_every_kind_of_event_is_kept_and_replayed(payload: Payload, store: Store, spoken: Spoken) -> None:
    record = record_of(spoken(SAID), infant())
    file_visit(store, record, *_items(record.transcript))
    with store.writing() as unit:
        unit.append(payload, visit=record.visit)

    assert store.rebuild(_derive) == 1

    last = store.events(visit=record.visit)[-1]
    assert (payload, record.visit) == (last.payload, last.visit)
    edits = store.record(record.visit).edits
    assert edits == ((payload,) if isinstance(payload, LineEdit | WordCorrection | Answer) else ())


@pytest.mark.parametrize("statement", ["UPDATE event SET payload = '{}'", "DELETE FROM event"])
def test_an_event_never_changes(statement: str, store: Store) -> None:
    with store.writing() as unit:
        unit.append(InfantEntered(infant=infant()))
    before = store.events()

    with pytest.raises(StoreError, match="an event"), store.writing() as unit:
        unit.connection.execute(sa.text(statement))

    assert before == store.events()


def test_two_infants_with_one_name_are_refused(store: Store) -> None:
    first = infant("Robin")
    second = infant("wren")
    with store.writing() as unit:
        unit.append(InfantEntered(infant=first))
        unit.append(InfantEntered(infant=second))
    before = store.events()

    for twin in (infant("robin"), infant("other").model_copy(update={"id": first.id}), infant(first.id.lower())):
        with pytest.raises(InputError, match="already holds an infant"), store.writing() as unit:
            unit.append(InfantEntered(infant=twin))
    with pytest.raises(InputError, match="already holds an infant"), store.writing() as unit:
        unit.append(InfantRevised(infant=second.model_copy(update={"code_name": "ROBIN"})))
    with store.writing() as unit:
        unit.append(InfantRevised(infant=second.model_copy(update={"code_name": "Wren", "born": DAY})))

    assert before == store.events()[:-1]
    assert store.infant("wren") == second.model_copy(update={"code_name": "Wren", "born": DAY})


def test_what_fails_midway_leaves_no_trace(store: Store, spoken: Spoken, tmp_path: Path) -> None:
    record = record_of(spoken(SAID), infant())
    file_visit(store, record, *_items(record.transcript))
    before = _everything(tmp_path / "home")

    def full() -> Iterator[bytes]:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        yield b""

    def fills_the_disk() -> None:
        with store.writing() as unit:
            unit.blobs.keep(b"kept nowhere")
            unit.append(InfantEntered(infant=infant("wren")))
            unit.blobs._stage("ab" * 32, full())

    def breaks_after_naming() -> None:
        with store.writing() as unit:
            unit.blobs.keep(b"kept nowhere")
            unit.blobs.publish()
            raise RuntimeError

    with pytest.raises(StoreError, match="No space left"):
        fills_the_disk()
    with pytest.raises(RuntimeError):
        breaks_after_naming()

    assert before == _everything(tmp_path / "home")


def test_all_of_it_belongs_to_its_owner_alone(store: Store, spoken: Spoken, tmp_path: Path) -> None:
    file_visit(store, record_of(spoken(SAID), infant()))

    for path in [tmp_path / "home", *(tmp_path / "home").rglob("*")]:
        assert (0o700 if path.is_dir() else 0o600) == stat.S_IMODE(path.stat().st_mode), path


def test_a_changed_blob_is_noticed(store: Store, spoken: Spoken) -> None:
    record = file_visit(store, record_of(spoken(SAID), infant()))
    path = store.blobs.path(record.transcript_sha256)
    path.write_bytes(path.read_bytes().replace(b"tight", b"loose"))

    with pytest.raises(StoreError, match="altered or damaged"):
        store.record(record.visit)
    path.unlink()
    with pytest.raises(StoreError, match="cannot be read"):
        store.record(record.visit)


def test_several_writers_wait_for_each_other(tmp_path: Path) -> None:
    faults: list[HandspokenError] = []

    def write(writer: int) -> None:
        try:
            with Store(tmp_path) as store:
                for n in range(10):
                    with store.writing() as unit:
                        unit.append(InfantEntered(infant=infant(f"invented-{writer}-{n}")))
        except HandspokenError as error:
            faults.append(error)

    writers = [threading.Thread(target=write, args=(n,)) for n in range(4)]
    for thread in writers:
        thread.start()
    for thread in writers:
        thread.join()

    assert faults == []
    with Store(tmp_path) as store:
        events = store.events()
    assert list(range(1, 41)) == [event.seq for event in events]
    assert len({event.id for event in events}) == 40


def test_durability_is_as_promised(store: Store) -> None:
    with store.reading() as connection:
        found = [
            connection.exec_driver_sql(f"PRAGMA {p}").scalar() for p in ("journal_mode", "synchronous", "foreign_keys")
        ]

    assert found == ["wal", 2, 1]


@pytest.mark.parametrize("content", [b"not a database at all, but text of some length" * 50, b"SQLite format 3\0 cut"])
def test_a_damaged_database_is_said(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "record.db").write_bytes(content)

    with pytest.raises(StoreError, match="restore a backup"):
        Store(tmp_path)

    assert content == (tmp_path / "record.db").read_bytes()
