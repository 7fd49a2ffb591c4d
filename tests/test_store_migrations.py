"""The database's form: what the migrations make is what the program expects."""

import sqlite3
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.operations import Operations
from alembic.script import ScriptDirectory
from invented import PlainStages

from pipeline.errors import StoreError
from pipeline.model import Transcript
from pipeline.run import derive
from pipeline.store import Store, schema
from pipeline.store.compare import derived_rows, differences
from pipeline.store.find import quoted
from pipeline.store.fts import create_fts, guard_events, lift_guards
from pipeline.store.head import HEAD
from pipeline.store.verify import verify


def test_the_migrations_end_in_the_tables_of_the_program(tmp_path: Path) -> None:
    with Store(tmp_path) as store, store.reading() as connection:
        context = MigrationContext.configure(connection, opts={
            "include_name": lambda name, kind, _: not (kind == "table" and name.startswith("passage_fts")),
        })  # fmt: skip
        differences = compare_metadata(context, schema.metadata)

    assert differences == []


def test_the_newest_revision_is_the_one_expected() -> None:
    scripts = ScriptDirectory(str(Path(schema.__file__).parent / "migrations"))

    assert scripts.get_heads() == [HEAD]


RECORDS = Path(__file__).parent / "records"
REVISIONS = [
    script.revision for script in ScriptDirectory(str(Path(schema.__file__).parent / "migrations")).walk_revisions()
]


def test_a_record_of_every_earlier_revision_is_kept() -> None:
    kept = {path.stem for path in RECORDS.glob("*.zip")}

    assert set(REVISIONS) - {HEAD} <= kept, "run tests/records/keep_record.py before a revision is added"


@pytest.mark.parametrize("packed", sorted(RECORDS.glob("*.zip")), ids=lambda path: path.stem)
def test_an_earlier_record_is_brought_up_to_date(
    packed: Path, tmp_path: Path, spoken: Callable[[str], Transcript]
) -> None:
    """Its events stay as they were, and the migrated tables are those that a rebuild makes of them.

    Drafts are compared as far as that they are there: a later program may draft otherwise.
    """
    with zipfile.ZipFile(packed) as record:
        record.extractall(tmp_path)
    columns = "seq, id, at, author, infant, visit, type, payload"
    old = sqlite3.connect(tmp_path / "record.db")
    before = old.execute(f"SELECT {columns} FROM event ORDER BY seq").fetchall()
    old.close()
    assert before

    with Store(tmp_path) as store:
        with store.reading() as connection:
            migrated = derived_rows(connection)
            after = connection.exec_driver_sql(f"SELECT {columns} FROM event ORDER BY seq").all()
            assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
            assert _found(connection, "heart-murmur") == 1
        store.rebuild(lambda record: derive(record, PlainStages(spoken)))
        with store.reading() as connection:
            rebuilt = derived_rows(connection)

    assert before == list(map(tuple, after))
    drafts = {table.name for table in schema.DRAFT_TABLES}
    assert [at for at in differences(migrated, rebuilt) if at[0] not in drafts] == []
    assert migrated["run"].keys() == rebuilt["run"].keys() != set()


def test_a_head_noted_before_the_chain_was_made_anew_still_proves_the_record(tmp_path: Path) -> None:
    with zipfile.ZipFile(RECORDS / "0004.zip") as record:
        record.extractall(tmp_path)
    old = sqlite3.connect(tmp_path / "record.db")
    seq, noted = old.execute("SELECT seq, hash FROM event ORDER BY seq DESC").fetchone()
    old.close()

    with Store(tmp_path) as store:
        found = verify(store, tmp_path, None, head=f"{seq}:{noted}", step=lambda _what: None)
        assert (found.faults, found.head == f"{seq}:{noted}") == ((), False)
        assert verify(store, tmp_path, None, head=found.head, step=lambda _what: None).sound
        with store.writing() as unit:
            lift_guards(unit.connection)
            unit.connection.exec_driver_sql("UPDATE event SET first_hash = 'x' WHERE seq = 3")
        assert not verify(store, tmp_path, None, head=None, step=lambda _what: None).sound


def test_a_newer_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    with Store(tmp_path) as store, store.writing() as unit:
        unit.connection.execute(sa.text("UPDATE alembic_version SET version_num = '9999'"))

    with pytest.raises(StoreError, match="newer version"):
        Store(tmp_path)


def _add_passage(connection: sa.Connection, visit: str, text: str) -> None:
    connection.execute(schema.passage.insert().values(visit=visit, start_ms=0, end_ms=1, text=text))


def _found(connection: sa.Connection, words: str) -> int:
    query = sa.text("SELECT count(*) FROM passage_fts WHERE passage_fts MATCH :words")
    return int(connection.execute(query, {"words": quoted(words)}).scalar_one())


def test_the_index_survives_a_batch_change(tmp_path: Path) -> None:
    """A batch change makes the table anew, and its triggers are gone: create_fts brings them back."""
    with Store(tmp_path) as store:
        with store.writing() as unit:
            unit.connection.exec_driver_sql("PRAGMA defer_foreign_keys=ON")
            c = unit.connection
            c.execute(schema.infant.insert().values(id="I", code_name="i", code_key="i", risk_factors=[], carers=[]))
            day = sa.func.date("2026-11-25")
            c.execute(schema.visit.insert().values(id="V", filed_to="I", infant="I", opened=1, day=day))
            _add_passage(c, "V", "a heart-murmur before")
            operations = Operations(MigrationContext.configure(c))
            with operations.batch_alter_table("passage", recreate="always") as batch:
                batch.add_column(sa.Column("later", sa.Text))
            with operations.batch_alter_table("event", recreate="always") as batch:
                batch.add_column(sa.Column("later", sa.Text))
            create_fts(c)
            guard_events(c)
            _add_passage(c, "V", "a murmur after, and it can't be heard")
        with store.reading() as connection:
            assert tuple(_found(connection, words) for words in ("heart-murmur", "murmurs", "can't")) == (1, 2, 1)
            guards = connection.exec_driver_sql("SELECT count(*) FROM sqlite_master WHERE name LIKE 'event_%'").scalar()
            assert guards == 2


@pytest.mark.parametrize(
    ("typed", "query"),
    [
        ("heart-murmur", '"heart-murmur"'),
        ("can't", '"can\'t"'),
        ('say "hip" OR * NEAR', '"say" "hip" "OR" "NEAR"'),
        ("- * ^ ()", ""),
        ("", ""),
        ("a\0b", '"a" "b"'),
    ],
)
def test_every_typed_word_is_quoted(typed: str, query: str) -> None:
    assert query == quoted(typed)
