"""Derived rows as texts that can be compared: what a rebuild must give again."""

import json
from collections.abc import Iterator
from typing import Any

import sqlalchemy as sa

from pipeline.store import schema


def derived_rows(connection: sa.Connection) -> dict[str, dict[str, list[str]]]:
    """By table and visit ("" for rows of no visit) every derived row, in a fixed order.

    Left out: the number of a passage, which a rebuild gives anew. A field that is empty and one that was not there yet
    when the row was written are the same.
    """
    item = schema.item.c
    visit_of_item = {row.id: row.visit for row in connection.execute(sa.select(item.id, item.visit))}
    found: dict[str, dict[str, list[str]]] = {}
    for table in schema.DERIVED_TABLES:
        rows: dict[str, list[str]] = {}
        for row in connection.execute(table.select()):
            values = {name: value for name, value in row._mapping.items() if (table.name, name) != ("passage", "row")}
            visit = visit_of_item.get(row.item, "") if table is schema.evidence else values.get("visit") or ""
            rows.setdefault(visit, []).append(json.dumps(_filled(values), sort_keys=True, default=str))
        found[table.name] = {visit: sorted(texts) for visit, texts in rows.items()}
    return found


def differences(
    before: dict[str, dict[str, list[str]]], after: dict[str, dict[str, list[str]]]
) -> Iterator[tuple[str, str]]:
    """(table, visit) wherever the two hold other rows."""
    for table in before:
        for visit in sorted(before[table].keys() | after[table].keys()):
            if before[table].get(visit) != after[table].get(visit):
                yield table, visit


def _filled(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _filled(part) for key, part in value.items() if part not in (None, "", [], {}, ())}
    return [_filled(part) for part in value] if isinstance(value, list | tuple) else value
