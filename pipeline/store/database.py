"""Opens the database, makes it or brings it up to date, and turns its faults into one clear line.

Alembic is imported only where there is something to migrate: a search must start at once.
"""

import json
import os
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.pool import NullPool

from pipeline.errors import StoreError
from pipeline.files import FILE_MODE
from pipeline.store.driver import connect, sqlite
from pipeline.store.faults import BUSY_MS, told
from pipeline.store.head import HEAD
from pipeline.vault import Keys


def open_database(path: Path, keys: Keys | None) -> sa.Engine:
    """An engine on the SQLite file at ``path`` under ``keys`` (None: in clear), made or migrated to ``HEAD`` first.

    Raises StoreError.

    WAL with ``synchronous=FULL``: with NORMAL a power cut can lose a transaction already told as saved.
    """
    try:
        os.close(os.open(path, os.O_RDWR | os.O_CREAT, FILE_MODE))  # -wal and -shm take over its mode
    except OSError as error:
        raise StoreError(f"{path}: the record cannot be opened ({error.strerror}).") from error
    engine = sa.create_engine(
        "sqlite://",
        module=sqlite,
        creator=lambda: connect(path, keys, writes=True),
        poolclass=NullPool,
        json_deserializer=_parsed,
    )
    sa.event.listen(engine, "connect", _prepare)
    sa.event.listen(engine, "begin", _begin)
    with faults(path), engine.begin() as connection:
        found = _revision(connection)
    if found != HEAD:
        migrate(engine, path)
    return engine


def migrate(engine: sa.Engine, path: Path, to: str = "head") -> None:
    """Bring the database to a revision, in one transaction. Raises StoreError; nothing is changed then.

    Foreign keys rest meanwhile (a batch change drops tables that others point to) and are checked at the end.
    """
    from alembic import command
    from alembic.config import Config
    from alembic.util import CommandError

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    try:
        with faults(path), engine.connect().execution_options(writes=True) as connection:
            connection.connection.cursor().execute("PRAGMA foreign_keys=OFF")  # has no effect inside a transaction
            with connection.begin():
                config.attributes["connection"] = connection
                command.upgrade(config, to)
                if loose := connection.exec_driver_sql("PRAGMA foreign_key_check").first():
                    raise StoreError(f"{path}: a row of {loose[0]} points to nothing; restore a backup.")
    except CommandError as error:
        raise StoreError(
            f"{path}: the record was written by a newer version of this program ({error}); update the program."
        ) from error


def scrub(engine: sa.Engine, path: Path) -> None:
    """Make the full-text index anew, write the database without its free pages, and empty the journal.

    Raises StoreError where another program reads: the journal cannot be emptied then.
    """
    if engine.dialect.name != "sqlite":
        return
    with faults(path), engine.connect() as connection:
        cursor = connection.connection.cursor()  # VACUUM works in no transaction
        for statement in ("INSERT INTO passage_fts(passage_fts) VALUES ('rebuild')", "PRAGMA temp_store=MEMORY"):
            cursor.execute(statement)
        cursor.execute("VACUUM")
        busy, *_ = cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    if busy:
        raise StoreError(f"{path}: another program reads the record; close it, then run this again.")


def export(path: Path, keys: Keys | None, to: Path, to_keys: Keys | None) -> None:
    """Copy the database at ``path`` to the new file ``to`` under other keys, or in clear. Raises StoreError."""
    key = f"x'{to_keys.database.hex()}'" if to_keys is not None else ""
    with faults(path), closing(connect(path, keys, writes=True)) as connection:
        os.close(os.open(to, os.O_RDWR | os.O_CREAT | os.O_EXCL, FILE_MODE))
        connection.execute("ATTACH DATABASE ? AS other KEY ?", (str(to), key))
        connection.execute("SELECT sqlcipher_export('other')")
        connection.execute("DETACH DATABASE other")


def refuse_writes(connection: sa.Connection) -> None:
    """Have a database that is about to be exchanged take no event any more, from whoever waits to write."""
    connection.exec_driver_sql(
        "CREATE TRIGGER exchanged BEFORE INSERT ON event "
        "BEGIN SELECT RAISE(ABORT, 'the record was converted meanwhile; run it again'); END"
    )


@contextmanager
def faults(path: Path) -> Iterator[None]:
    """Turn the database's own errors into a StoreError that says what to do."""
    try:
        yield
    except (sa.exc.DBAPIError, sqlite.Error) as error:
        cause = error.orig if isinstance(error, sa.exc.DBAPIError) else error
        raise told(path, cause) from error


def _parsed(text: str) -> Any:
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as error:
        raise StoreError(f"the record holds a value that cannot be read ({error}); restore a backup.") from error


def _prepare(connection: Any, _record: Any) -> None:
    cursor = connection.cursor()
    for pragma in ("foreign_keys=ON", f"busy_timeout={BUSY_MS}", "journal_mode=WAL", "synchronous=FULL"):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin(connection: sa.Connection) -> None:
    """A writer takes its lock at once: two that read first and write later would both fail."""
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _revision(connection: sa.Connection) -> str | None:
    if not sa.inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar()
