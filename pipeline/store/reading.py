"""Reads the record at once: SQLite alone, without what writes it (loading that takes longer than a search may).

A record of an earlier version is brought up to date first, by ``database.open_database``.
"""

from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from pipeline.errors import NotFoundError
from pipeline.store.driver import connect, sqlite
from pipeline.store.faults import told
from pipeline.store.head import HEAD
from pipeline.vault import keys_of

DATABASE = "record.db"


class Reader:
    """One consistent view of the record under ``home``, which nothing can be changed through. A context manager."""

    def __init__(self, home: Path) -> None:
        """Raises NotFoundError where there is no record yet, LockedError, StoreError where it cannot be read."""
        self.path = home / DATABASE
        try:
            missing = not self.path.exists()
        except OSError:
            missing = False  # opening it says why
        if missing:
            raise NotFoundError(f"no visit is on record yet in {home}; draft one first.")
        self._said = "", 0
        self._keys = keys_of(home)
        self._connection = self._open()
        if self._revision() != HEAD:
            self._connection.close()
            self._bring_up_to_date()
            self._connection = self._open()

    def __enter__(self) -> Self:
        self.rows("BEGIN")
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._connection.close()

    def rows(self, sql: str, parameters: "tuple[Any, ...] | list[Any]" = ()) -> list[sqlite.Row]:
        """All rows of a query. Raises StoreError."""
        try:
            found: list[sqlite.Row] = self._connection.execute(sql, parameters).fetchall()
        except sqlite.Error as error:
            raise told(self.path, error) from error
        return found

    def stream(self, sql: str, parameters: "tuple[Any, ...] | list[Any]" = ()) -> Iterator[sqlite.Row]:
        """The rows of a query one by one, as far as they are asked for. Raises StoreError."""
        try:
            yield from self._connection.execute(sql, parameters)
        except sqlite.Error as error:
            raise told(self.path, error) from error

    def keep_said(self, query: str) -> int:
        """Fill the table ``said`` (of this connection alone) with the utterances that a full-text query finds; returns
        how many. Kept for the next call with the same query. Raises StoreError."""
        if query != self._said[0]:
            self.rows("CREATE TEMP TABLE IF NOT EXISTS said (row INTEGER PRIMARY KEY)")
            self.rows("DELETE FROM said")
            self.rows("INSERT INTO said SELECT rowid FROM passage_fts WHERE passage_fts MATCH ?", [query])
            self._said = query, int(self.rows("SELECT count(*) FROM said")[0][0])
        return self._said[1]

    def _open(self) -> sqlite.Connection:
        try:
            connection = connect(self.path, self._keys, writes=False)
            connection.row_factory = sqlite.Row
            connection.execute("PRAGMA mmap_size=268435456")
            connection.execute("PRAGMA cache_size=-65536")
        except sqlite.Error as error:
            raise told(self.path, error) from error
        return connection

    def _revision(self) -> str | None:
        try:
            row = self._connection.execute("SELECT version_num FROM alembic_version").fetchone()
        except sqlite.OperationalError as error:
            if "no such table" in str(error):
                return None
            raise told(self.path, error) from error
        except sqlite.Error as error:
            raise told(self.path, error) from error
        return str(row[0]) if row else None

    def _bring_up_to_date(self) -> None:
        from pipeline.store.database import open_database

        open_database(self.path, self._keys).dispose()
