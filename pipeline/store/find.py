"""Finds stored lines by what was found, where, on which side, with which result; and by the words said."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

import sqlalchemy as sa

from pipeline.model import Frozen
from pipeline.store import schema
from pipeline.store.derived import PROMPT_SECTIONS
from pipeline.store.fts import quoted

_i, _v, _p = schema.item.c, schema.visit.c, schema.passage.c
_FTS = sa.table("passage_fts", sa.column("rowid"), sa.column("text"))
MARK_ON, MARK_OFF = "\x02", "\x03"  # around matched words in Passage.marked; no transcript holds them


@dataclass(frozen=True)
class Wanted:
    """A question as the store answers it. Empty parts do not restrict.

    results: by concept the results wanted, None = whichever. sites, sides, levels: any of them. words: all of them,
    in what was said at that time. first_visit: at an infant's first visit alone.
    """

    results: Mapping[str, frozenset[str] | None]
    any_concept: bool = False
    sites: frozenset[str] = frozenset()
    sides: frozenset[str] = frozenset()
    levels: frozenset[str] = frozenset()
    words: str = ""
    first_visit: bool = False


class Hit(Frozen):
    """One line found: whose, when, what the note says, the speaker's words, and the stretch that plays them."""

    visit: str
    infant: str
    day: date
    age_days: int | None
    line: str
    quote: str
    start_ms: int
    end_ms: int
    concept: str | None = None
    site: str | None = None
    side: str | None = None
    result: str | None = None
    value: float | None = None
    unit: str | None = None


class Passage(Frozen):
    """An utterance that holds all words; in ``marked`` the found words stand between MARK_ON and MARK_OFF."""

    hit: Hit
    marked: str


def find_items(connection: sa.Connection, wanted: Wanted, limit: int) -> tuple[list[Hit], int]:
    """The newest hits first, at most ``limit``, and how many there are in all."""
    conditions = list(_conditions(wanted))
    total = connection.execute(sa.select(sa.func.count()).select_from(schema.item).where(*conditions)).scalar_one()
    rows = connection.execute(
        sa.select(schema.item, schema.infant.c.code_name, _line_text(), _quote())
        .join(schema.infant, schema.infant.c.id == _i.infant)
        .where(*conditions)
        .order_by(_i.day.desc(), _i.visit.desc(), _i.position)
        .limit(limit)
    ).all()
    return [_item_hit(row) for row in rows], total


def find_words(connection: sa.Connection, words: str, limit: int) -> list[Passage]:
    """Utterances and typed lines that hold every word, by their stems; the best first."""
    query = quoted(words)
    if not query:
        return []
    rows = connection.execute(
        sa.select(
            schema.passage,
            schema.infant.c.code_name,
            _v.day,
            _v.age,
            sa.func.highlight(sa.literal_column("passage_fts"), 0, MARK_ON, MARK_OFF).label("marked"),
        )
        .select_from(_FTS)
        .join(schema.passage, _p.row == _FTS.c.rowid)
        .join(schema.visit, _v.id == _p.visit)
        .join(schema.infant, schema.infant.c.id == _v.infant)
        .where(sa.literal_column("passage_fts").op("MATCH")(query))
        .order_by(sa.literal_column("bm25(passage_fts)"), _v.day.desc(), _p.row)
        .limit(limit)
    ).all()
    return [
        Passage(
            hit=Hit(
                visit=row.visit,
                infant=row.code_name,
                day=row.day,
                age_days=(row.age or {}).get("days"),
                line=row.text,
                quote=row.text,
                start_ms=row.start_ms,
                end_ms=row.end_ms,
            ),
            marked=row.marked,
        )
        for row in rows
    ]


def _conditions(wanted: Wanted) -> Iterable[sa.ColumnElement[bool]]:
    if not wanted.any_concept:
        yield sa.or_(sa.false(), *_result_groups(wanted.results))
    for column, values in ((_i.site, wanted.sites), (_i.side, wanted.sides)):
        if values:
            yield column.in_(sorted(values))
    if wanted.levels:
        yield sa.or_(*(level_condition(level) for level in sorted(wanted.levels)))
    if wanted.first_visit:
        earlier = schema.visit.alias()
        before = sa.or_(earlier.c.day < _i.day, sa.and_(earlier.c.day == _i.day, earlier.c.id < _i.visit))
        yield ~sa.exists().where(earlier.c.infant == _i.infant, before)
    if query := quoted(wanted.words):
        yield sa.exists().where(
            sa.literal_column("passage_fts").op("MATCH")(query),
            _p.row == _FTS.c.rowid,
            _p.visit == _i.visit,
            _p.start_ms < _i.end_ms,
            _p.end_ms > _i.start_ms,
        )


def _result_groups(results: Mapping[str, frozenset[str] | None]) -> Iterable[sa.ColumnElement[bool]]:
    """Concepts that share their wanted results in one condition: "normal" alone names most of the vocabulary."""
    groups: dict[frozenset[str] | None, list[str]] = {}
    for concept, wanted in results.items():
        groups.setdefault(wanted, []).append(concept)
    for wanted, concepts in groups.items():
        named = _i.concept.in_(sorted(concepts))
        yield named if wanted is None else sa.and_(named, _i.result.in_(sorted(wanted)))


def level_condition(level: str) -> sa.ColumnElement[bool]:
    """Items at this vertebra: by itself, or inside a range (``T5`` is in ``T4-T6``)."""
    region, number = level[0], int(level[1:])
    ranges = [f"{region}{a}-{region}{b}" for a in range(1, number + 1) for b in range(number, 14) if a < b]
    return _i.level.in_([level, *ranges])


def _line_text() -> sa.ScalarSelect[str]:
    """The text of the first line of the note that says the item."""
    link, line = schema.line_item.c, schema.line.c
    return (
        sa.select(line.text)
        .join(schema.line_item, sa.and_(link.visit == line.visit, link.line == line.id))
        .where(link.item == _i.id, line.section.not_in(PROMPT_SECTIONS))
        .order_by(line.position)
        .limit(1)
        .correlate(schema.item)
        .scalar_subquery()
        .label("line_text")  # type: ignore[return-value]
    )


def _quote() -> sa.ScalarSelect[str]:
    """The speaker's words, spans in spoken order."""
    spans = (
        sa.select(schema.evidence.c.quote)
        .where(schema.evidence.c.item == _i.id)
        .order_by(schema.evidence.c.i0)
        .correlate(schema.item)
        .subquery()
    )
    joined = sa.func.aggregate_strings(spans.c.quote, " ")
    return sa.select(joined).scalar_subquery().label("quote")  # type: ignore[return-value]


def _item_hit(row: sa.Row[tuple[object, ...]]) -> Hit:
    found = row._mapping
    same = ("visit", "day", "age_days", "start_ms", "end_ms", "concept", "site", "side", "result", "value", "unit")
    return Hit.model_validate(
        {name: found[name] for name in same}
        | {"infant": found["code_name"], "line": found["line_text"] or found["quote"], "quote": found["quote"]}
    )
