"""Ages and dates as typed."""

import contextlib
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.ages import age_from_birth, check_gestation, parse_age, parse_date
from pipeline.errors import InputError
from pipeline.model import Age


@pytest.mark.parametrize(
    ("text", "gestation", "days", "corrected"),
    [
        ("9 weeks", None, 63, None),
        ("9 weeks", 40, 63, 63),
        ("9 weeks", 38, 63, 63),  # from 37 weeks on nothing is taken off
        ("9 weeks", 36, 63, 35),
        ("2 weeks", 30, 14, -56),  # not yet due
        ("5 days", None, 5, None),
        ("0 days", None, 0, None),
        ("1 day old", None, 1, None),
        ("3 months", None, 92, None),
        ("7 weeks and 3 days", None, 52, None),
        ("7 weeks, 3 days old", None, 52, None),
        ("9wk", None, 63, None),
        ("1.5 months", None, 46, None),
        ("3 months corrected", None, 92, 92),
        ("3 months corrected", 32, 148, 92),
        ("corrected age 3 months", 32, 148, 92),
        ("  9   WEEKS ", None, 63, None),
        ("3 years", None, 1096, 1096),  # past two years nothing is taken off
    ],
)
def test_an_age_is_read_in_days(text: str, gestation: int | None, days: int, corrected: int | None) -> None:
    age = parse_age(text, gestation)

    assert (days, corrected) == (age.days, age.corrected_days)
    assert " ".join(text.split()) == age.as_said


@pytest.mark.parametrize(
    "text",
    ["", "weeks", "9", "nine", "9 parsecs", "9 weeks 2 weeks", "about 9 weeks", "-3 days", "18 years", "9 weeks ago",
     "9999 weeks", "9 weeks corrected corrected", "9 weeks; drop table", "9 weeks 12"],
)  # fmt: skip
def test_what_is_no_age_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(InputError) as refusal:
        parse_age(text)

    assert "\n" not in str(refusal.value)


@given(st.text(max_size=80))
def test_any_text_gives_an_age_or_a_refusal(text: str) -> None:
    with contextlib.suppress(InputError):
        assert isinstance(parse_age(text), Age)


def test_the_age_follows_from_the_birth_date() -> None:
    age = age_from_birth(date(2026, 9, 20), date(2026, 11, 25), 34)

    assert (age.days, age.corrected_days) == (66, 66 - 42)


@pytest.mark.parametrize("born", [date(2026, 11, 26), date(2019, 1, 1)])
def test_a_birth_after_the_visit_or_long_ago_is_refused(born: date) -> None:
    with pytest.raises(InputError, match="birth date"):
        age_from_birth(born, date(2026, 11, 25))


@pytest.mark.parametrize("text", ["20.9.2026", "2026-13-01", "yesterday", ""])
def test_a_date_is_year_month_day(text: str) -> None:
    with pytest.raises(InputError, match="birth date"):
        parse_date(text, "birth date")
    assert date(2026, 9, 20) == parse_date(" 2026-09-20 ", "birth date")


@pytest.mark.parametrize("weeks", [21, 45, -1, 0])
def test_an_impossible_gestation_is_refused(weeks: int) -> None:
    with pytest.raises(InputError, match="gestation"):
        check_gestation(weeks)
