"""The full-text index over ``passage`` (SQLite FTS5; words by their stem), and the guards of ``event``."""

import sqlalchemy as sa

# External content: the text is kept once, in `passage`. Triggers keep the two alike.
_STATEMENTS = (
    "DROP TRIGGER IF EXISTS passage_added",
    "DROP TRIGGER IF EXISTS passage_removed",
    "DROP TRIGGER IF EXISTS passage_changed",
    "DROP TABLE IF EXISTS passage_fts",
    "CREATE VIRTUAL TABLE passage_fts USING fts5("
    "text, content='passage', content_rowid='row', tokenize='porter unicode61 remove_diacritics 2')",
    "CREATE TRIGGER passage_added AFTER INSERT ON passage BEGIN "
    'INSERT INTO passage_fts(rowid, text) VALUES (new."row", new.text); END',
    "CREATE TRIGGER passage_removed AFTER DELETE ON passage BEGIN "
    "INSERT INTO passage_fts(passage_fts, rowid, text) VALUES ('delete', old.\"row\", old.text); END",
    "CREATE TRIGGER passage_changed AFTER UPDATE ON passage BEGIN "
    "INSERT INTO passage_fts(passage_fts, rowid, text) VALUES ('delete', old.\"row\", old.text); "
    'INSERT INTO passage_fts(rowid, text) VALUES (new."row", new.text); END',
    "INSERT INTO passage_fts(passage_fts) VALUES ('rebuild')",
)

# The record is append-only: also a slip in a later program, or another tool on the file, is stopped.
_GUARDS = (
    "DROP TRIGGER IF EXISTS event_kept",
    "DROP TRIGGER IF EXISTS event_unchanged",
    "CREATE TRIGGER event_kept BEFORE DELETE ON event BEGIN SELECT RAISE(ABORT, 'an event is never deleted'); END",
    "CREATE TRIGGER event_unchanged BEFORE UPDATE ON event BEGIN SELECT RAISE(ABORT, 'an event never changes'); END",
)


def create_fts(connection: sa.Connection) -> None:
    """Make the index and its triggers anew and fill it.

    Called after every migration: a batch change of ``passage`` drops the triggers without a word, and new rows would
    not be found. Does nothing on a database without FTS5 of its own (PostgreSQL).
    """
    if connection.dialect.name == "sqlite":
        for statement in _STATEMENTS:
            connection.exec_driver_sql(statement)


def lift_guards(connection: sa.Connection) -> None:
    """Let events be changed until ``guard_events``, inside one change: for what a redaction destroys of them."""
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql("DROP TRIGGER IF EXISTS event_unchanged")


def guard_events(connection: sa.Connection) -> None:
    """Make the triggers that refuse any change of ``event``; called after every migration, for the same reason."""
    if connection.dialect.name == "sqlite":
        for statement in _GUARDS:
            connection.exec_driver_sql(statement)
