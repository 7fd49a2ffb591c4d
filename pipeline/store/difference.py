"""Writes only those rows that differ from what stands in the tables: most edits touch few of a draft's thousands."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import sqlalchemy as sa

Row = Mapping[str, Any]
Name = tuple[Any, ...]


class Difference:
    """What stands in a table of one visit against what should.

    Of several tables remove first, children before parents; then bring up, parents before children.
    """

    def __init__(
        self, connection: sa.Connection, table: sa.Table, mine: sa.ColumnElement[bool], wanted: Sequence[Row]
    ) -> None:
        """``mine``: which rows are meant; ``wanted``: those that should be there, each with the same columns."""
        self._connection, self._table = connection, table
        self._key = list(table.primary_key.columns)
        said = [column.name for column in self._key]
        if wanted and said[0] not in wanted[0]:
            said = list(wanted[0])  # a row that the database numbers is told apart by all it says
        standing = connection.execute(sa.select(table).where(mine))
        stands = _named((dict(zip(standing.keys(), row, strict=True)) for row in standing), said)
        should = _named(wanted, said)
        self._gone = [row for name, row in stands.items() if name not in should]
        self._new = [row for name, row in should.items() if name not in stands]
        self._both = [(stands[name], row) for name, row in should.items() if name in stands]

    def remove(self) -> None:
        """Delete the rows that should not be there."""
        if self._gone:
            self._connection.execute(
                self._table.delete().where(*self._this()), [self._place(row) for row in self._gone]
            )

    def bring_up(self) -> None:
        """Change and add rows until all stand as wanted."""
        changed: dict[tuple[str, ...], list[dict[str, Any]]] = defaultdict(list)
        for old, row in self._both:
            if columns := tuple(column for column, value in row.items() if old[column] != value):
                changed[columns].append(self._place(old) | {column: row[column] for column in columns})
        for columns, rows in changed.items():
            values: dict[str, sa.BindParameter[Any]] = {column: sa.bindparam(column) for column in columns}
            self._connection.execute(self._table.update().where(*self._this()).values(values), rows)
        if self._new:
            self._connection.execute(self._table.insert(), self._new)

    def _this(self) -> list[sa.ColumnElement[bool]]:
        return [column == sa.bindparam(f"at_{column.name}") for column in self._key]

    def _place(self, row: Row) -> dict[str, Any]:
        return {f"at_{column.name}": row[column.name] for column in self._key}


def _named(rows: Iterable[Row], said: Sequence[str]) -> dict[Name, Row]:
    """Rows by what tells them apart; of equal ones each by its number among them."""
    found: dict[Name, Row] = {}
    for row in rows:
        name: Name = tuple([row[column] for column in said])
        while name in found:
            name = (*name, None)
        found[name] = row
    return found
