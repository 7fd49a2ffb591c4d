"""Finds stored lines by what was found, where, on which side, with which result, when, at which age; and by the words.

Newest first without sorting all that fits: an index gives each combination of concept, structure and result in the
order of days, and these streams are merged as far as lines are asked for. Counting stops at ``COUNTED``.
"""

import heapq
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from pipeline.prompts import PROMPT_SECTIONS
from pipeline.store.reading import Reader
from pipeline.store.wanted import FEW_WORDS, Range, Wanted, quoted, streams, visit_conditions

__all__ = [
    "MARK_OFF", "MARK_ON", "Count", "Found", "Hit", "Range", "Wanted",
    "count_items", "find_items", "find_words", "hits_of", "infants_named", "passages_of", "quoted",
]  # fmt: skip

COUNTED = 1000  # lines counted; beyond it there are "more"
MARK_ON, MARK_OFF = "\x02", "\x03"  # around matched words in Passage.marked; no transcript holds them


@dataclass(frozen=True, slots=True)
class Hit:
    """One line found: whose, when, what the note says, the speaker's words, and the stretch that plays them.

    ``around``: what was said about that time. ``others``: further lines that answer too, of the same visit or infant.
    ``gone``: when, by whom and why the sound was destroyed.
    """

    visit: str
    infant: str
    day: date
    age_days: int | None
    line: str
    quote: str
    start_ms: int
    end_ms: int
    around: str = ""
    others: int = 0
    concept: str | None = None
    site: str | None = None
    side: str | None = None
    result: str | None = None
    value: float | None = None
    unit: str | None = None
    gone: str = ""


@dataclass(frozen=True, slots=True)
class Found:
    """A line or utterance that fits, as the index knows it. ``marked``: an utterance with the found words marked."""

    row: int
    visit: str
    infant: str
    day: str
    marked: str = ""


@dataclass(frozen=True, slots=True)
class Count:
    """How many lines, visits and infants fit. ``all`` is False where counting stopped: there are more lines than that,
    and visits and infants were not counted (None)."""

    lines: int
    visits: int | None
    infants: int | None
    all: bool


# ---------------------------------------------------------------- lines of notes


def find_items(reader: Reader, wanted: Wanted, *, oldest_first: bool = False) -> Iterator[Found]:
    """The lines that fit, newest visit first; those of a visit in spoken order. Raises StoreError."""
    order = "ASC" if oldest_first else "DESC"
    asked = [
        map(
            tuple,
            reader.stream(
                f"SELECT {s.day}, item.rowid {s.source} WHERE {s.where} ORDER BY 1 {order}, 2 {order}", s.given
            ),
        )
        for s in streams(reader, wanted)
    ]
    same: list[Found] = []  # of one visit, in the order of the stream
    for day, row in heapq.merge(*asked, reverse=not oldest_first):
        if same and row == same[-1].row:
            continue
        visit, infant = reader.rows("SELECT visit, infant FROM item WHERE rowid = ?", (row,))[0]
        if same and visit != same[0].visit:
            yield from same if oldest_first else reversed(same)
            same = []
        same.append(Found(row, visit, infant, day))
    yield from same if oldest_first else reversed(same)


def count_items(reader: Reader, wanted: Wanted, upto: int | None = COUNTED) -> Count:
    """How many lines fit, counted as far as ``upto`` (None: all of them). Raises StoreError."""
    rows: set[int] = set()
    for s in streams(reader, wanted):
        room = -1 if upto is None else upto + 1 - len(rows)
        rows.update(
            row for (row,) in reader.stream(f"SELECT item.rowid {s.source} WHERE {s.where} LIMIT {room}", s.given)
        )
        if upto is not None and len(rows) > upto:
            break
    if upto is not None and len(rows) > upto:
        return Count(upto, None, None, all=False)
    visits, infants = reader.rows(
        "SELECT count(DISTINCT visit), count(DISTINCT infant) FROM json_each(?) j JOIN item ON item.rowid = j.value",
        (json.dumps(sorted(rows)),),
    )[0]
    return Count(len(rows), visits, infants, all=True)


def hits_of(reader: Reader, found: Sequence[Found]) -> list[Hit]:
    """The lines as a person reads them, in the same order. Raises StoreError."""
    if not found:
        return []
    marks = ",".join("?" * len(found))
    rows = reader.rows(
        f"SELECT item.rowid AS row, item.*, infant.code_name, {LINE_TEXT} AS line_text, {QUOTE} AS quote, "
        f"{GONE} AS gone FROM item JOIN visit ON visit.id = item.visit "
        f"JOIN infant ON infant.id = item.infant WHERE item.rowid IN ({marks})",
        [one.row for one in found],
    )
    by_row = {row["row"]: row for row in rows}
    return [_item_hit(reader, by_row[one.row]) for one in found if one.row in by_row]


LINE_TEXT = (
    "(SELECT line.text FROM line_item JOIN line ON line.visit = line_item.visit AND line.id = line_item.line "
    f"WHERE line_item.item = item.id AND line.section NOT IN {PROMPT_SECTIONS} ORDER BY line.position LIMIT 1)"
)
GONE = "(SELECT json_extract(recording.data, '$.gone') FROM recording WHERE recording.id = visit.recording)"
QUOTE = "(SELECT group_concat(quote, ' ') FROM (SELECT quote FROM evidence WHERE evidence.item = item.id ORDER BY i0))"


def _item_hit(reader: Reader, row: Any) -> Hit:
    same = ("visit", "age_days", "start_ms", "end_ms", "concept", "site", "side", "result", "value", "unit")
    spoken = reader.rows(
        "SELECT text FROM passage WHERE visit = ? AND line IS NULL AND start_ms < ? AND end_ms > ? ORDER BY start_ms",
        (row["visit"], row["end_ms"], row["start_ms"]),
    )
    quote = row["quote"] or ""
    return Hit(
        infant=row["code_name"],
        day=date.fromisoformat(row["day"]),
        line=row["line_text"] or quote,
        quote=quote,
        gone=row["gone"] or "",
        around=" ".join(passage["text"] for passage in spoken[:3]),
        **{name: row[name] for name in same},
    )


# ---------------------------------------------------------------- what was said


def find_words(reader: Reader, wanted: Wanted, *, oldest_first: bool = False) -> Iterator[Found]:
    """Utterances and typed lines that hold every word, by their stems, of visits that fit; newest first.

    Of words said very often the utterances entered last come first, whatever the day of their visit.
    """
    query = quoted(wanted.words)
    if not query:
        return
    few = reader.rows("SELECT rowid FROM passage_fts WHERE passage_fts MATCH ? LIMIT ?", [query, FEW_WORDS + 1])
    direction = "ASC" if oldest_first else "DESC"
    order = (
        f"visit.day {direction}, passage.row {direction}" if len(few) <= FEW_WORDS else f"passage_fts.rowid {direction}"
    )
    conditions, given = visit_conditions(wanted)
    rows = reader.stream(
        "SELECT passage.row, passage.visit, visit.infant, visit.day, "
        f"highlight(passage_fts, 0, '{MARK_ON}', '{MARK_OFF}') AS marked FROM passage_fts "
        "CROSS JOIN passage ON passage.row = passage_fts.rowid CROSS JOIN visit ON visit.id = passage.visit "
        f"WHERE {' AND '.join(['passage_fts MATCH ?', *conditions])} ORDER BY {order}",
        [query, *given],
    )
    for row in rows:
        yield Found(row["row"], row["visit"], row["infant"], row["day"], row["marked"])


def passages_of(reader: Reader, found: Sequence[Found]) -> list[Hit]:
    """Utterances as a person reads them, in the same order. Raises StoreError."""
    marks = ",".join("?" * len(found))
    rows = reader.rows(
        f"SELECT passage.*, infant.code_name, visit.day, json_extract(visit.age, '$.days') AS days, {GONE} AS gone "
        "FROM passage "
        "JOIN visit ON visit.id = passage.visit JOIN infant ON infant.id = visit.infant "
        f"WHERE passage.row IN ({marks})",
        [one.row for one in found],
    )
    by_row = {row["row"]: row for row in rows}
    return [
        Hit(
            visit=row["visit"], infant=row["code_name"], day=date.fromisoformat(row["day"]), age_days=row["days"],
            line=row["text"], quote=row["text"], start_ms=row["start_ms"], end_ms=row["end_ms"],
            gone=row["gone"] or "",
        )
        for row in (by_row[one.row] for one in found)
    ]  # fmt: skip


def infants_named(reader: Reader, names: Iterable[str]) -> dict[str, str]:
    """The infants whose code name is among the names, without regard to case: name as stored -> id.

    An entry merged into another stands for that one.
    """
    keys = json.dumps(sorted({name.casefold() for name in names}))
    rows = reader.rows(
        "WITH RECURSIVE up(name, id, above) AS (SELECT code_name, id, merged_into FROM infant WHERE code_key IN "
        "(SELECT value FROM json_each(?)) UNION SELECT up.name, infant.id, infant.merged_into FROM up JOIN infant "
        "ON infant.id = up.above) SELECT name, id FROM up WHERE above IS NULL",
        (keys,),
    )
    return {row["name"]: row["id"] for row in rows}
