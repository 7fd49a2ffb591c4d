"""Results as lines."""

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from pipeline.config import Config, Settings
from pipeline.search import Answer, Count, Hit
from pipeline.search.tell import shortened
from pipeline.show.answers import answer_json, answer_lines, plays
from pipeline.times import age, clock, media_link

CONFIG = Config(home=Path("/home/invented"), settings=Settings())


def _hit(start_ms: int, end_ms: int) -> Hit:
    return Hit(visit="V", infant="robin", day=date(2026, 11, 25), age_days=None, line="Hip: no clunk", quote="no clunk",
               start_ms=start_ms, end_ms=end_ms)  # fmt: skip


@pytest.mark.parametrize(("start", "end"), [(0, 500), (500, 1500), (10_000, 20_000), (1_234_567, 3_600_010), (7, 7)])
def test_a_hit_plays_by_the_link_that_its_note_has(start: int, end: int) -> None:
    page, _, fragment = plays(CONFIG, _hit(start, end)).partition("#")

    assert "/home/invented/notes/V/note.html" == page
    assert f"#{fragment}" == media_link("", start, end)


@pytest.mark.parametrize(("ms", "shown"), [(0, "0:00"), (61_999, "1:01"), (3_600_000, "1:00:00")])
def test_times_read_like_a_clock(ms: int, shown: str) -> None:
    assert shown == clock(ms)


def test_an_answer_shows_how_it_was_understood_and_what_is_left_out() -> None:
    hit = replace(_hit(500, 1500), around="Both hips moved, no clunk there.", others=2, age_days=63)
    some = Answer("no clunk", ("clunk: absent",), "visit", (hit,), Count(1000, None, None, all=False), ("“clunk”",))

    lines = list(answer_lines(some, CONFIG))

    assert [
        "Understood: clunk: absent",
        "Did you mean “clunk”?",
        "More than 1,000 lines.",
        "robin  2026-11-25  9 wk  0:00  Hip: no clunk",
        "    “Both hips moved, no clunk there.”",
        "    and 2 more lines of this visit",
        f"    {plays(CONFIG, hit)}",
        "Shown: the first 1 visit; --limit shows more.",
    ] == lines
    assert [plays(CONFIG, hit)] == [hit["plays"] for hit in answer_json(some, CONFIG)["hits"]]
    nothing = Answer("x", ("x",), "visit", (), Count(0, 0, 0, all=True))
    assert "Nothing on record answers that." == list(answer_lines(nothing, CONFIG))[-1]
    assert json.dumps(answer_json(some, CONFIG))


@pytest.mark.parametrize(("days", "told"), [(3, "3 d"), (63, "9 wk"), (122, "4 mo")])
def test_ages_are_told_as_at_the_couch(days: int, told: str) -> None:
    assert told == age(days)


def test_what_was_said_around_is_cut_about_the_quote() -> None:
    text = f"{'before ' * 60}the very words {'after ' * 60}"

    cut = shortened(text, "the very words")

    assert "the very words" in cut
    assert cut.startswith("…")
    assert cut.endswith("…")
    assert len(cut) <= 162
