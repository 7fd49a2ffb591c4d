"""A visit as it stood at an earlier time; the clock stands still where a test sets it."""

from collections.abc import Callable
from datetime import UTC, datetime, tzinfo
from functools import cache
from pathlib import Path
from typing import Self

import pytest
from conftest import Ended, _spoken
from reviewing import NARRATION, file_narration, stages

from pipeline import redaction
from pipeline.config import Config, Settings
from pipeline.earlier import Stood, parse_moment, stood
from pipeline.errors import InputError, NotFoundError
from pipeline.redaction import Where
from pipeline.review import Addition, Sheets, Signature, add, before_signing, sign
from pipeline.review.requests import Choose, PutWords
from pipeline.store import store as store_module

NOW = datetime(2026, 11, 30, 12, 0, tzinfo=UTC)


class Clock(datetime):
    """The clock of the record, set by hand."""

    shows = "2026-11-20T09:00:00+00:00"

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> Self:
        return cls.fromisoformat(cls.shows).astimezone(tz)


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[Config, str]:
    """Drafted on the 20th, put right on the 21st, signed on the 22nd, added to on the 23rd, redacted on the 24th."""
    folder = tmp_path_factory.mktemp("earlier")
    config = Config(home=folder / "home", settings=Settings())
    config.home.mkdir()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSPOKEN_CACHE", str(folder / "cache"))
        patch.setattr(store_module, "datetime", Clock)
        visit = file_narration(config.home, _spoken(NARRATION))
        sheets = Sheets(config, stages(), Clock.now)
        Clock.shows = "2026-11-21T10:00:00+00:00"
        sheet = sheets.sheet(visit)
        side = next(p for p in sheet.points() if p.code == "side_missing")
        sheets.put_right(visit, sheet.version, Choose(point=side.id, say="left"))
        fever = next(p for p in sheet.points() if p.danger)
        sheet = sheets.sheet(visit)
        choice = next(c.say for c in fever.choices if not c.opens)
        sheets.put_right(visit, sheet.version, Choose(point=fever.id, say=choice, text="rang the hospital"))
        Clock.shows = "2026-11-22T10:00:00+00:00"
        waits = before_signing(sheets, visit)
        reasons = {point.id: "asked at the next visit" for point in waits.blocking}
        sign(sheets, visit, waits.sheet.version, Signature(name="A. Nyone", role="chiropractor", reasons=reasons))
        Clock.shows = "2026-11-23T10:00:00+00:00"
        late = Addition(kind="late_entry", text="The cot was looked at.", reason="left out", name="A. Nyone", role="x")
        add(sheets, visit, sheets.version(visit), late)
        Clock.shows = "2026-11-24T10:00:00+00:00"
        redaction.redact(visit, Where(line="Moro"), "off-the-record", "A. Nyone", config, stages(), now=Clock.now())
    return config, visit


@cache
def _at(told: tuple[Config, str], when: str) -> Stood:
    return stood(told[1], when, told[0], stages(), now=NOW)


def test_each_day_shows_what_stood_then(told: tuple[Config, str]) -> None:
    first, second, third, fourth = (_at(told, f"2026-11-{day}") for day in (20, 21, 22, 25))

    assert [one.state for one in (first, second, third, fourth)] == ["draft", "draft", "signed", "signed"]
    assert "Sternocleidomastoid muscle: tight" in first.note
    assert "Sternocleidomastoid muscle, left: tight" in second.note
    assert [len(one.added) for one in (third, fourth)] == [0, 1]
    assert third.signed.startswith("A. Nyone")
    assert fourth.added[0].kind == "late_entry"
    assert [int(one.head.partition(":")[0]) for one in (first, second)] == [4, 6]
    assert fourth.destroyed_since == ()


def test_what_was_asked_and_what_was_answered_by_then(told: tuple[Config, str]) -> None:
    first, second = _at(told, "2026-11-20"), _at(told, "2026-11-21")

    assert {point.answer for point in first.asked} == {""}
    pressing = [point for point in first.asked if point.pressing]
    assert any("ever under three months" in point.text for point in pressing)
    (answered,) = (point for point in second.asked if point.answer)
    assert "rang the hospital" in answered.answer
    assert answered.at == datetime(2026, 11, 21, 10, tzinfo=UTC)


def test_what_was_destroyed_since_is_not_shown_for_any_day(told: tuple[Config, str]) -> None:
    for when in ("2026-11-20", "2026-11-22"):
        found = _at(told, when)
        assert "Moro: present" not in found.note
        assert len(found.destroyed_since) == 1


def test_a_clock_set_back_does_not_part_an_event_from_what_it_rests_on(told: tuple[Config, str]) -> None:
    config, _ = told
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(store_module, "datetime", Clock)
        Clock.shows = "2026-11-26T10:00:00+00:00"
        other = file_narration(config.home, _spoken(f"{NARRATION} Again."), "Robin")
        Clock.shows = "2026-11-25T10:00:00+00:00"
        sheets = Sheets(config, stages(), Clock.now)
        sheet = sheets.sheet(other)
        words = PutWords(start_ms=0, end_ms=500, heard="She", meant="He")
        sheets.put_right(other, sheet.version, words)

    with pytest.raises(NotFoundError, match="nothing of it was on record at 2026-11-25 23:59"):
        stood(other, "2026-11-25", config, stages(), now=NOW)
    assert stood(other, "2026-11-26", config, stages(), now=NOW).state == "draft"


def test_before_there_was_anything_it_says_so(told: tuple[Config, str]) -> None:
    with pytest.raises(NotFoundError, match="nothing of it was on record"):
        _at(told, "2026-11-19")
    assert parse_moment("2026-11-20 9:05", NOW) == datetime(2026, 11, 20, 9, 5, 59, 999999, tzinfo=UTC)


@pytest.mark.parametrize("when", ["", "today", "2026-13-01", "2026-11-20 25:00", "2026-12-24", "20261120"])
def test_a_time_that_is_none_is_told(when: str) -> None:
    with pytest.raises(InputError):
        parse_moment(when, NOW)


def test_the_command_stamps_what_it_shows(
    told: tuple[Config, str], handspoken: Callable[..., Ended], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HANDSPOKEN_HOME", str(told[0].home))

    ended = handspoken("visit", "then", told[1][-6:], "2026-11-22")

    assert (ended.code, ended.err) == (0, "")
    assert ended.out.startswith("AS IT STOOD on 2026-11-22 23:59: visit ")
    assert "Destroyed since, and not shown" in ended.out
    assert "answered: " in ended.out
    assert Path(told[0].home).exists()
