"""What is on record of infants over time: their visits, lines, contacts, consents and open points, oldest first."""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from pipeline.errors import NotFoundError
from pipeline.store.find import LINE_TEXT, QUOTE
from pipeline.store.reading import Reader


@dataclass(frozen=True, slots=True)
class Baby:
    """An infant as it is known."""

    id: str
    code_name: str
    born: date | None
    sex: str | None
    gestation_weeks: int | None


@dataclass(frozen=True, slots=True)
class Told:
    """A line on record: an item of a visit, as its note says it and as it was said."""

    id: str
    visit: str
    kind: str
    concept: str
    site: str | None
    side: str
    level: str | None
    result: str | None
    value: float | None
    unit: str | None
    degree: str | None
    change: str | None
    text: str
    quote: str
    start_ms: int
    end_ms: int


@dataclass(frozen=True, slots=True)
class Point:
    """A point raised about a visit. ``open``: nobody has answered it. ``safeguarding``: for the clinician alone."""

    id: str
    visit: str
    urgency: str
    title: str
    open: bool
    safeguarding: bool


@dataclass(frozen=True)
class Seen:
    """A visit: when, at which age, whether drafted and signed, and its lines in spoken order."""

    id: str
    infant: str
    day: date
    age_days: int | None
    corrected_days: int | None
    drafted: bool
    signed: bool
    lines: tuple[Told, ...] = ()


@dataclass(frozen=True, slots=True)
class Between:
    """A contact that was no visit."""

    infant: str
    day: date
    what: str
    text: str
    visit: str | None


def baby(reader: Reader, key: str) -> Baby:
    """The infant of this id or code name; an entry merged into another stands for that one. Raises NotFoundError."""
    rows = reader.rows(
        "WITH RECURSIVE up AS (SELECT infant.* FROM infant WHERE code_key = ?1 OR lower(id) = ?1 UNION "
        "SELECT infant.* FROM up JOIN infant ON infant.id = up.merged_into) SELECT * FROM up WHERE merged_into IS NULL",
        (key.strip().casefold(),),
    )
    if not rows:
        raise NotFoundError(f'infant "{key.strip()[:40]}": the record holds no infant of this name.')
    return _baby(rows[0])


def babies(reader: Reader) -> dict[str, Baby]:
    """All infants by id."""
    return {row["id"]: _baby(row) for row in reader.rows("SELECT * FROM infant WHERE merged_into IS NULL")}


def seen(reader: Reader, infant: str | None = None, kinds: tuple[str, ...] = ()) -> list[Seen]:
    """The visits of an infant (None: of all), oldest first, with the lines of these kinds (none given: of all)."""
    mine, given = ("visit.infant = ?", (infant,)) if infant else ("1", ())
    lines: dict[str, list[Told]] = {}
    for line in _lines(reader, mine, given, kinds):
        lines.setdefault(line.visit, []).append(line)
    rows = reader.rows(
        "SELECT id, infant, day, age, EXISTS (SELECT 1 FROM run WHERE run.visit = visit.id) AS drafted, "
        "EXISTS (SELECT 1 FROM event WHERE event.visit = visit.id AND event.type = 'signed') AS signed "
        f"FROM visit WHERE {mine} ORDER BY day, id",
        given,
    )
    return [
        Seen(
            id=row["id"],
            infant=row["infant"],
            day=date.fromisoformat(row["day"]),
            age_days=(age := json.loads(row["age"] or "{}")).get("days"),
            corrected_days=age.get("corrected_days"),
            drafted=bool(row["drafted"]),
            signed=bool(row["signed"]),
            lines=tuple(lines.get(row["id"], ())),
        )
        for row in rows
    ]


def points(reader: Reader, infant: str) -> list[Point]:
    """The points raised about the visits of an infant, oldest visit first."""
    rows = reader.rows(
        "SELECT remark.* FROM remark JOIN visit ON visit.id = remark.visit WHERE infant = ? ORDER BY day, visit.id, 2",
        (infant,),
    )
    return [_point(row) for row in rows]


def consents(reader: Reader, infant: str) -> list[tuple[date, str, str]]:
    """Day, scope and state of every consent noted beside the recordings of an infant, oldest first."""
    rows = reader.rows(
        "SELECT visit.day, payload FROM event JOIN visit ON visit.id = event.visit "
        "WHERE type = 'consent' AND visit.infant = ? ORDER BY day, seq",
        (infant,),
    )
    noted = [(row["day"], json.loads(row["payload"])) for row in rows]
    return [(date.fromisoformat(day), consent["scope"], consent["state"]) for day, consent in noted]


def said_since(reader: Reader, visit: Seen, sites: Iterable[str], sides: Iterable[str]) -> bool:
    """Whether a later visit of the infant found or treated anything at these structures, on these sides."""
    rows = reader.rows(
        "SELECT 1 FROM item INDEXED BY ix_item_infant_day WHERE infant = ? AND (day > ? OR (day = ? AND visit > ?)) "
        "AND kind IN ('finding', 'treatment') AND site IN (SELECT value FROM json_each(?)) "
        "AND side IN (SELECT value FROM json_each(?)) LIMIT 1",
        (visit.infant, visit.day.isoformat(), visit.day.isoformat(), visit.id, json.dumps(list(sites)),
         json.dumps(list(sides))),
    )  # fmt: skip
    return bool(rows)


def between(reader: Reader, infant: str | None = None) -> list[Between]:
    """The contacts of an infant (None: of all), oldest first."""
    mine, given = ("infant = ?", (infant,)) if infant else ("1", ())
    return [
        Between(row["infant"], date.fromisoformat(row["day"]), row["what"], row["text"], row["visit"])
        for row in reader.rows(f"SELECT * FROM contact WHERE {mine} ORDER BY day, id", given)
    ]


def _lines(reader: Reader, mine: str, given: tuple[Any, ...], kinds: tuple[str, ...]) -> Iterator[Told]:
    wanted = f" AND item.kind IN ({','.join('?' * len(kinds))})" if kinds else ""
    rows = reader.rows(
        f"SELECT item.*, {LINE_TEXT} AS text, {QUOTE} AS quote FROM visit CROSS JOIN item ON item.visit = visit.id "
        f"WHERE {mine}{wanted} ORDER BY visit.day, visit.id, item.position",
        (*given, *kinds),
    )
    same = (
        "id", "visit", "kind", "concept", "site", "side", "level", "result", "value", "unit", "start_ms", "end_ms",
    )  # fmt: skip
    for row in rows:
        data = json.loads(row["data"])
        quote = row["quote"] or ""
        yield Told(
            **{name: row[name] for name in same},
            degree=data.get("degree"),
            change=data.get("change"),
            text=row["text"] or quote,
            quote=quote,
        )


def _point(row: Any) -> Point:
    data = json.loads(row["data"])
    return Point(
        row["id"], row["visit"], row["urgency"], data["title"], not data.get("answer"), bool(data.get("safeguarding"))
    )


def _baby(row: Any) -> Baby:
    born = date.fromisoformat(row["born"]) if row["born"] else None
    return Baby(row["id"], row["code_name"], born, row["sex"], row["gestation_weeks"])
