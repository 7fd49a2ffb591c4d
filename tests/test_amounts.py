"""Numbers with units, and days, as a person types or says them."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.amounts import later, tokens_of
from pipeline.search import compile_lexicon
from pipeline.vocabulary import load_vocabulary

TODAY = date(2026, 11, 25)  # a Wednesday
LEXICON = compile_lexicon(load_vocabulary())
AMOUNTS, CALENDAR = LEXICON.amounts, LEXICON.calendar


@pytest.mark.parametrize(
    ("text", "low", "high", "unit"),
    [
        ("over 40 cm", 40, None, "cm"),
        ("> 40cm", 40, None, "cm"),
        (">= 40.5 cm", 40.5, None, "cm"),
        ("at least 4 kg", 4, None, "kg"),
        ("no more than 4 kg", None, 4, "kg"),
        ("between 4 and 5 kg", 4, 5, "kg"),
        ("14 to 16 inches", 35.56, 40.64, "cm"),
        ("60-90 degrees", 60, 90, "deg"),
        ("40 cm", 39.5, 40.5, "cm"),
        ("38.2 celsius", 38.15, 38.25, "Cel"),
        ("over 100 fahrenheit", 37.777778, None, "Cel"),
        ("about 9 pounds 4 ounces", 4.195729, 4.195729, "kg"),
        ("more than twenty one weeks", 21, None, "wk"),
        ("over 60", 60, None, None),
    ],
)
def test_amounts_are_read_in_their_unit(text: str, low: float | None, high: float | None, unit: str | None) -> None:
    (amount,) = AMOUNTS.amounts(tokens_of(text))

    assert (low, high, unit) == (
        amount.low and pytest.approx(amount.low, abs=0.02),
        amount.high and pytest.approx(amount.high, abs=0.02),
        amount.unit,
    )
    assert (0, len(tokens_of(text))) == amount.tokens


@pytest.mark.parametrize(
    ("text", "low", "high", "corrected"),
    [
        ("under 3 months", None, 91.3125, False),
        ("under 3 months corrected", None, 91.3125, True),
        ("corrected age under 3 months", None, 91.3125, True),
        ("at 6 weeks", 42, 49, False),
        ("six week old", 42, 49, False),
        ("aged 2 to 4 months", 60.875, 121.75, False),
        ("older than 10 days", 10, None, False),
        ("3 months or older", 91.3125, None, False),
        ("7 weeks 3 days old", 52, 53, False),
    ],
)
def test_ages_are_read_in_days(text: str, low: float | None, high: float | None, corrected: bool) -> None:
    (amount,) = AMOUNTS.amounts(tokens_of(text))
    age = amount.as_age()

    assert (low, high, corrected) == (age.low, age.high, age.corrected)


@pytest.mark.parametrize("text", ["", "T4 to T6", "12", "the 2nd", "between the ribs", "over there", "²", "at", "a"])
def test_what_is_no_amount_is_left_alone(text: str) -> None:
    assert [] == AMOUNTS.amounts(tokens_of(text))


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("since 2026-09-01", date(2026, 9, 1), None),
        ("after 2026-09-01", date(2026, 9, 2), None),
        ("before 1 September 2026", None, date(2026, 8, 31)),
        ("until september 3rd", None, date(2026, 9, 3)),
        ("in october", date(2026, 10, 1), date(2026, 10, 31)),
        ("since december", date(2025, 12, 1), None),
        ("in 2025", date(2025, 1, 1), date(2025, 12, 31)),
        ("between 2026-09-01 and 2026-10-01", date(2026, 9, 1), date(2026, 10, 1)),
        ("last week", date(2026, 11, 16), date(2026, 11, 22)),
        ("in the last 3 weeks", date(2026, 11, 4), TODAY),
        ("two months ago", date(2026, 9, 25), date(2026, 9, 25)),
        ("yesterday", date(2026, 11, 24), date(2026, 11, 24)),
        ("on tuesday", date(2026, 11, 24), date(2026, 11, 24)),
        ("on wednesday", TODAY, TODAY),
    ],
)
def test_days_gone_by(text: str, first: date | None, last: date | None) -> None:
    (days,) = CALENDAR.days(tokens_of(text), TODAY)

    assert (first, last) == (days.first, days.last)


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("see you in two weeks", date(2026, 12, 9), date(2026, 12, 9)),
        ("back in a month", date(2026, 12, 25), date(2026, 12, 25)),
        ("in a fortnight", date(2026, 12, 9), date(2026, 12, 9)),
        ("tomorrow", date(2026, 11, 26), date(2026, 11, 26)),
        ("next week", date(2026, 11, 30), date(2026, 12, 6)),
        ("on tuesday", date(2026, 12, 1), date(2026, 12, 1)),
        ("on wednesday", date(2026, 12, 2), date(2026, 12, 2)),
        ("on the 3rd of december", date(2026, 12, 3), date(2026, 12, 3)),
        ("on 5 January", date(2027, 1, 5), date(2027, 1, 5)),
    ],
)
def test_days_ahead(text: str, first: date, last: date) -> None:
    days = CALENDAR.days(tokens_of(text), TODAY, ahead=True)

    assert [(first, last)] == [(one.first, one.last) for one in days]


@pytest.mark.parametrize("text", ["", "2026-13-45", "31 february", "may be tight", "march past", "1", "on the left"])
def test_what_names_no_day_is_left_alone(text: str) -> None:
    assert [] == CALENDAR.days(tokens_of(text), TODAY)


@pytest.mark.parametrize(
    ("start", "number", "unit", "day"),
    [
        (date(2027, 1, 31), 1, "mo", date(2027, 2, 28)),
        (date(2028, 1, 31), 1, "mo", date(2028, 2, 29)),
        (date(2027, 1, 31), -2, "mo", date(2026, 11, 30)),
        (date(2027, 1, 31), 1, "a", date(2028, 1, 31)),
        (date(2027, 1, 31), 2, "wk", date(2027, 2, 14)),
        (date(2027, 1, 31), 1.5, "mo", date(2027, 3, 18)),
    ],
)
def test_months_are_those_of_the_calendar(start: date, number: float, unit: str, day: date) -> None:
    assert day == later(start, number, unit)


@given(text=st.text(alphabet="0123456789 abweekmonthstundr<>=-–.inlastsince'²٣", max_size=40), ahead=st.booleans())
def test_no_text_breaks_the_reading(text: str, ahead: bool) -> None:
    tokens = tokens_of(text)
    for days in CALENDAR.days(tokens, TODAY, ahead=ahead):
        assert days.first or days.last
    for amount in AMOUNTS.amounts(tokens):
        assert amount.low is not None or amount.high is not None


@given(number=st.floats(-1e9, 1e9), unit=st.sampled_from(["d", "wk", "mo", "a"]))
def test_no_number_leaves_the_calendar(number: float, unit: str) -> None:
    assert isinstance(later(TODAY, number, unit), date)
