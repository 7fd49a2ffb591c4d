"""What a question asks of the record, and the queries that answer it.

Each query gives its lines in the order of days by an index, so that the newest are found without sorting all that fits.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import product
from typing import Any, NamedTuple

from pipeline.store.reading import Reader

FEW_WORDS = 1500  # utterances up to that number are joined to their lines; beyond, each line is held against them
_STREAMS = 160  # more combinations than that are filtered, not merged one by one
_LETTER = re.compile(r"\w")


@dataclass(frozen=True)
class Range:
    """Numbers from ``low`` to ``high``; None: no end; ``open_*``: without the end itself."""

    low: float | None = None
    high: float | None = None
    open_low: bool = False
    open_high: bool = False


@dataclass(frozen=True)
class Wanted:
    """A question as the store answers it. Empty parts do not restrict.

    results: by concept the results wanted, None = whichever. values: by concept the ranges of its number by unit, any
    of them. sites, sides, levels, kinds, degrees, infants (ids), sexes: any of them. days: first and last, included.
    words: all of them, in what was said at that time. first_visit, last_visit: at these visits of an infant alone.
    """

    results: Mapping[str, frozenset[str] | None] = field(default_factory=dict)
    any_concept: bool = False
    values: Mapping[str, tuple[tuple[str, Range], ...]] = field(default_factory=dict)
    sites: frozenset[str] = frozenset()
    sides: frozenset[str] = frozenset()
    levels: frozenset[str] = frozenset()
    kinds: frozenset[str] = frozenset()
    degrees: frozenset[str] = frozenset()
    infants: frozenset[str] = frozenset()
    sexes: frozenset[str] = frozenset()
    age: Range | None = None  # days
    corrected: Range | None = None  # days
    days: tuple[date | None, date | None] = (None, None)
    words: str = ""
    first_visit: bool = False
    last_visit: bool = False


def quoted(words: str) -> str:
    """A typed text as an FTS5 query: every token quoted, all of them wanted ("" where there is none).

    Unquoted, ``heart-murmur`` and ``can't`` are syntax errors. Source: sqlite.org/fts5.html, section 3.1.
    """
    tokens = words.replace('"', " ").replace("\0", " ").split()
    return " ".join(f'"{token}"' for token in tokens if _LETTER.search(token))


class Stream(NamedTuple):
    """A query of lines by parts; ``day``: its column to order by."""

    source: str
    where: str
    given: list[Any]
    day: str = "item.day"


def streams(reader: Reader, wanted: Wanted) -> list[Stream]:
    """Queries that together give every line that fits, each in the order of days."""
    conditions, given = _item_conditions(wanted)
    if query := quoted(wanted.words):
        overlaps = "passage.visit = item.visit AND passage.start_ms < item.end_ms AND passage.end_ms > item.start_ms"
        if reader.keep_said(query) <= FEW_WORDS:
            source = (
                "FROM said CROSS JOIN passage ON passage.row = said.row "
                f"CROSS JOIN item INDEXED BY ix_item_visit ON {overlaps}"
            )
            return [_filtered(source, conditions, given, wanted)]
        # The utterances of the visit by their index alone, then whether they hold the words, and only then their times.
        conditions.append(
            "EXISTS (SELECT 1 FROM passage near INDEXED BY ix_passage_visit CROSS JOIN said ON said.row = near.row "
            f"CROSS JOIN passage ON passage.row = said.row WHERE near.visit = item.visit AND {overlaps})"
        )
    if wanted.infants:
        return [_filtered("FROM item INDEXED BY ix_item_infant_day", conditions, given, wanted)]
    pairs = list(_pairs(reader, wanted))
    sites: list[str | None] = sorted(wanted.sites) or [None]  # type: ignore[assignment]
    if wanted.any_concept or len(pairs) * len(sites) > _STREAMS:
        return list(_by_place(sites, conditions, given, wanted))
    return [_indexed(*fixed, conditions, given, wanted) for fixed in product(sites, pairs)]


def _pairs(reader: Reader, wanted: Wanted) -> Iterator[tuple[str, str | None]]:
    """Each concept with each result wanted; where whichever is, with those on record (found by leaps in the index)."""
    leaps = (
        "WITH RECURSIVE on_record(result) AS (SELECT min(result) FROM item WHERE concept = ?1 UNION ALL "
        "SELECT (SELECT min(result) FROM item WHERE concept = ?1 AND result > on_record.result) FROM on_record "
        "WHERE result IS NOT NULL) SELECT result FROM on_record WHERE result IS NOT NULL"
    )
    for concept, results in wanted.results.items():
        if results is None:
            yield from ((concept, result) for (result,) in reader.rows(leaps, (concept,)))
            yield concept, None
        else:
            yield from ((concept, result) for result in sorted(results))


def _indexed(
    site: str | None, pair: tuple[str, str | None], conditions: list[str], given: list[Any], wanted: Wanted
) -> Stream:
    """The lines of one concept and result, at one structure where that is asked for."""
    concept, result = pair
    number, numbers = _number(wanted.values.get(concept, ()))
    fixed = ["item.concept = ?", "item.result IS ?"]
    index, at = ("ix_item_concept", []) if site is None else ("ix_item_site_concept", [site])
    where = [*(["item.site = ?"] if at else []), *fixed, *conditions, *([number] if number else [])]
    return Stream(f"FROM item INDEXED BY {index}", _all(where), [*at, concept, result, *given, *numbers])


def _by_place(sites: Sequence[str | None], conditions: list[str], given: list[Any], wanted: Wanted) -> Iterator[Stream]:
    """The lines of each structure, or of all visits, filtered by what was found."""
    for site in sites:
        if site is None:
            source = (
                "FROM visit INDEXED BY ix_visit_day CROSS JOIN item INDEXED BY ix_item_visit ON item.visit = visit.id"
            )
            days, ends = _between("visit.day", wanted.days)
            stream = _filtered(source, [*days, *conditions], [*ends, *given], wanted)
            yield stream._replace(day="visit.day")
        else:
            source = "FROM item INDEXED BY ix_item_site_day"
            yield _filtered(source, ["item.site = ?", *conditions], [site, *given], replace(wanted, sites=frozenset()))


def _filtered(source: str, conditions: list[str], given: list[Any], wanted: Wanted) -> Stream:
    rest = list(given)
    at = [_in("item.site", wanted.sites, rest)] if wanted.sites else []
    return Stream(source, _all([*conditions, *at, *_results(wanted, rest)]), rest)


def _item_conditions(wanted: Wanted) -> tuple[list[str], list[Any]]:
    """What every line must fulfil beside its structure, concept and result."""
    conditions, given = _between("item.day", wanted.days)
    for column in ("side", "kind", "infant"):
        if values := getattr(wanted, f"{column}s"):
            conditions.append(_in(f"item.{column}", values, given))
    for column, limits in (("age_days", wanted.age), ("corrected_days", wanted.corrected)):
        if limits is not None:
            conditions += _limits(f"item.{column}", limits, given)
    if wanted.degrees:
        conditions.append(_in("json_extract(item.data, '$.degree')", wanted.degrees, given))
    if wanted.levels:
        conditions.append(_in("item.level", _levels(wanted.levels), given))
    if wanted.sexes:
        sexes = _in("sex", wanted.sexes, given)
        conditions.append(f"EXISTS (SELECT 1 FROM infant WHERE infant.id = item.infant AND {sexes})")
    conditions += _first_or_last(wanted, "item.infant", "item.day", "item.visit")
    return conditions, given


def visit_conditions(wanted: Wanted) -> tuple[list[str], list[Any]]:
    """What the visit of an utterance must fulfil."""
    conditions, given = _between("visit.day", wanted.days)
    if wanted.infants:
        conditions.append(_in("visit.infant", wanted.infants, given))
    for column, limits in (("days", wanted.age), ("corrected_days", wanted.corrected)):
        if limits is not None:
            conditions += _limits(f"json_extract(visit.age, '$.{column}')", limits, given)
    if wanted.sexes:
        conditions.append(f"visit.infant IN (SELECT id FROM infant WHERE {_in('sex', wanted.sexes, given)})")
    conditions += _first_or_last(wanted, "visit.infant", "visit.day", "visit.id")
    return conditions, given


def _first_or_last(wanted: Wanted, infant: str, day: str, visit: str) -> list[str]:
    told = []
    for asked, beyond in ((wanted.first_visit, "<"), (wanted.last_visit, ">")):
        if asked:
            other = f"(v.day {beyond} {day} OR (v.day = {day} AND v.id {beyond} {visit}))"
            told.append(f"NOT EXISTS (SELECT 1 FROM visit v WHERE v.infant = {infant} AND {other})")
    return told


def _results(wanted: Wanted, given: list[Any]) -> list[str]:
    """Concepts with their results and numbers as one condition; those that share their results together."""
    if wanted.any_concept:
        return []
    groups: dict[tuple[Any, Any], list[str]] = {}
    for concept, results in wanted.results.items():
        groups.setdefault((results, wanted.values.get(concept, ())), []).append(concept)
    told = []
    for (results, values), concepts in groups.items():
        parts = [_in("item.concept", concepts, given)]
        if results is not None:
            parts.append(_in("item.result", results, given))
        number, numbers = _number(values)
        if number:
            parts.append(number)
            given += numbers
        told.append(f"({_all(parts)})")
    return [f"({' OR '.join(told)})" if told else "0"]


def _number(values: Sequence[tuple[str, Range]]) -> tuple[str, list[Any]]:
    given: list[Any] = []
    told = []
    for unit, limits in values:
        given.append(unit)
        told.append(f"(item.unit = ? AND {_all(_limits('item.value', limits, given))})")
    return (f"({' OR '.join(told)})", given) if told else ("", [])


def _limits(column: str, limits: Range, given: list[Any]) -> list[str]:
    told = []
    for end, sign in ((limits.low, ">" if limits.open_low else ">="), (limits.high, "<" if limits.open_high else "<=")):
        if end is not None:
            told.append(f"{column} {sign} ?")
            given.append(end)
    return told


def _between(column: str, days: tuple[date | None, date | None]) -> tuple[list[str], list[Any]]:
    ends = [(f"{column} {sign} ?", day) for day, sign in zip(days, (">=", "<="), strict=True) if day is not None]
    return [condition for condition, _ in ends], [day.isoformat() for _, day in ends if day is not None]


def _in(column: str, values: Iterable[str], given: list[Any]) -> str:
    kept = sorted(values)
    given += kept
    return f"{column} IN ({','.join('?' * len(kept))})"


def _all(conditions: Sequence[str]) -> str:
    return " AND ".join(conditions) or "1"


def _levels(levels: Iterable[str]) -> list[str]:
    """These vertebrae by themselves, or inside a range (``T5`` is in ``T4-T6``)."""
    kept = []
    for level in levels:
        region, number = level[0], int(level[1:])
        kept += [level]
        kept += [f"{region}{a}-{region}{b}" for a in range(1, number + 1) for b in range(number, 14) if a < b]
    return kept
