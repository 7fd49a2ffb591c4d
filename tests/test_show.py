"""Results as lines."""

from datetime import date
from pathlib import Path

import pytest

from pipeline.config import Config, Settings
from pipeline.search import Found, Hit
from pipeline.show import found_json, found_lines, plays
from pipeline.times import clock, media_link

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
    found = Found(question="no clunk", understood=("clunk: absent",), hits=(_hit(500, 1500),), total=9)

    lines = list(found_lines(found, CONFIG))

    assert "Understood: clunk: absent" == lines[0]
    assert "robin  2026-11-25  0:00  Hip: no clunk" == lines[1]
    assert "The newest 1 of 9 are shown." == lines[-1]
    assert [plays(CONFIG, _hit(500, 1500))] == [hit["plays"] for hit in found_json(found, CONFIG)["hits"]]
    nothing = list(found_lines(Found(question="x", understood=("x",), hits=(), total=0), CONFIG))
    assert "Nothing on record answers that." == nothing[-1]
