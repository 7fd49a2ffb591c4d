"""Days as a person names them: "since September", "last 3 weeks", "in a fortnight"."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from pipeline.amounts.numbers import Numbers
from pipeline.amounts.words import TIME_DAYS, AmountWords, Token

_ISO = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}$")
_YEAR = re.compile(r"(?:19|20)[0-9][0-9]$")


@dataclass(frozen=True, slots=True)
class Days:
    """Days from ``first`` to ``last``, both included; None: no end. ``tokens``: where it was said."""

    first: date | None
    last: date | None
    tokens: tuple[int, int] = (0, 0)


class Calendar:
    """Finds days in the tokens of a text."""

    def __init__(self, words: AmountWords) -> None:
        self._words, self._numbers = words, Numbers(words)

    def days(self, tokens: Sequence[Token], today: date, *, ahead: bool = False) -> list[Days]:
        """Every stretch of days named, seen from ``today``: dates, months, "since", "last 3 weeks".

        ``ahead``: it is planned: "in two weeks" counts, and a day or a month without its year is the next one.
        """
        found = []
        at = 0
        while at < len(tokens):
            days = self._ranged(tokens, at, today, ahead)
            if days is not None:
                found.append(days)
                at = days.tokens[1]
            else:
                at += 1
        return found

    def _ranged(self, tokens: Sequence[Token], start: int, today: date, ahead: bool) -> Days | None:
        before = self._words.role(tokens, start, "date.since", "date.after", "date.before", "date.until", "date.in",
                                  "amount.between")  # fmt: skip
        role, at = before or ("", start)
        found = self._date(tokens, at, today, ahead=ahead, named=bool(role))
        if found is None and ahead and (number := self._numbers.number(tokens, at)) and number[1] in TIME_DAYS:
            day = later(today, number[0], number[1] or "d")
            return Days(day, day, (start, number[3]))
        if found is None:
            return None
        first, last, end = found
        joint = self._words.role(tokens, end, "amount.to", "amount.and", "date.until") if role else None
        if joint and (other := self._date(tokens, joint[1], today, ahead=ahead, named=True)):
            return Days(first, other[1], (start, other[2]))
        if role == "date.since":
            return Days(first, None, (start, end))
        if role == "date.after":
            return Days(last + timedelta(days=1), None, (start, end))
        if role == "date.before":
            return Days(None, first - timedelta(days=1), (start, end))
        return Days(None if role == "date.until" else first, last, (start, end))

    def _date(
        self, tokens: Sequence[Token], at: int, today: date, *, ahead: bool, named: bool
    ) -> tuple[date, date, int] | None:
        """One day, week, month or year, and where it ends. ``named``: a word before it says that a date follows."""
        if at >= len(tokens):
            return None
        if _ISO.match(tokens[at].text):
            try:
                day = date.fromisoformat(tokens[at].text)
            except ValueError:
                return None
            return day, day, at + 1
        return (
            self._relative(tokens, at, today)
            or self._ago(tokens, at, today)
            or self._month(tokens, at, today, ahead=ahead, named=named)
            or self._weekday(tokens, at, today, ahead=ahead)
            or self._year(tokens, at, named=named)
        )

    def _relative(self, tokens: Sequence[Token], at: int, today: date) -> tuple[date, date, int] | None:
        monday = today - timedelta(days=today.weekday())
        month = today.replace(day=1)
        spans = {
            "date.today": (today, today),
            "date.yesterday": (today - timedelta(days=1), today - timedelta(days=1)),
            "date.tomorrow": (today + timedelta(days=1), today + timedelta(days=1)),
            "date.this_week": (monday, monday + timedelta(days=6)),
            "date.last_week": (monday - timedelta(days=7), monday - timedelta(days=1)),
            "date.next_week": (monday + timedelta(days=7), monday + timedelta(days=13)),
            "date.this_month": (month, later(month, 1, "mo") - timedelta(days=1)),
            "date.last_month": (later(month, -1, "mo"), month - timedelta(days=1)),
            "date.next_month": (later(month, 1, "mo"), later(month, 2, "mo") - timedelta(days=1)),
            "date.this_year": (date(today.year, 1, 1), date(today.year, 12, 31)),
            "date.last_year": (date(today.year - 1, 1, 1), date(today.year - 1, 12, 31)),
        }
        found = self._words.role(tokens, at, *spans)
        return (*spans[found[0]], found[1]) if found and found[0] in spans else None

    def _ago(self, tokens: Sequence[Token], at: int, today: date) -> tuple[date, date, int] | None:
        """ "The last 3 weeks", "two months ago"."""
        past = self._words.role(tokens, at, "date.past")
        number = self._numbers.number(tokens, past[1] if past else at)
        if number is None or number[1] not in TIME_DAYS:
            return None
        value, unit, _, end, _ = number
        first = later(today, -value, unit or "d")
        if past:
            return first, today, end
        ago = self._words.role(tokens, end, "date.ago")
        return (first, first, ago[1]) if ago else None

    def _month(
        self, tokens: Sequence[Token], at: int, today: date, *, ahead: bool, named: bool
    ) -> tuple[date, date, int] | None:
        day, end = self._day_number(tokens, self._past(tokens, at))
        found = self._words.role(tokens, self._past(tokens, end), "month.")
        if not found:
            return None
        month, end = int(found[0].removeprefix("month.")), found[1]
        if day is None:
            day, end = self._day_number(tokens, end)
        year = int(tokens[end].text) if end < len(tokens) and _YEAR.match(tokens[end].text) else None
        if year is not None:
            end += 1
        elif not named and day is None:
            return None  # "may", "march" alone are words
        try:
            first = date(year or today.year, month, day or 1)
            if year is None and first > today and not ahead:
                first = first.replace(year=today.year - 1)
            elif year is None and ahead and first < today:
                first = first.replace(year=today.year + 1)
        except ValueError:
            return None
        return first, first if day else later(first, 1, "mo") - timedelta(days=1), end

    def _past(self, tokens: Sequence[Token], at: int) -> int:
        """Past a word that stands between the parts of a date ("the 3rd of December")."""
        between = self._words.role(tokens, at, "date.between")
        return between[1] if between else at

    def _day_number(self, tokens: Sequence[Token], at: int) -> tuple[int | None, int]:
        if at < len(tokens) and re.match(r"(?:3[01]|[12]?[0-9])$", tokens[at].text) and tokens[at].text != "0":
            ending = self._words.role(tokens, at + 1, "date.ordinal")
            return int(tokens[at].text), ending[1] if ending else at + 1
        return None, at

    def _weekday(self, tokens: Sequence[Token], at: int, today: date, *, ahead: bool) -> tuple[date, date, int] | None:
        """The next day of that name after ``today``, or the last one before it."""
        found = self._words.role(tokens, at, "weekday.")
        if not found:
            return None
        away = int(found[0].removeprefix("weekday.")) - today.weekday()
        day = today + timedelta(days=(away + 6) % 7 + 1 if ahead else (away - 1) % 7 - 6)
        return day, day, found[1]

    def _year(self, tokens: Sequence[Token], at: int, *, named: bool) -> tuple[date, date, int] | None:
        if named and _YEAR.match(tokens[at].text):
            year = int(tokens[at].text)
            return date(year, 1, 1), date(year, 12, 31), at + 1
        return None


def later(day: date, number: float, unit: str) -> date:
    """The day ``number`` units after ``day`` (before, if negative); months of the calendar, to their last day at most.

    Stays within the calendar's years.
    """
    whole = max(min(number, 1e5), -1e5)
    if unit in ("mo", "a") and whole == int(whole):
        months = day.year * 12 + day.month - 1 + int(whole) * (12 if unit == "a" else 1)
        months = max(12, min(months, 9999 * 12 + 10))
        after = date(months // 12 + (months % 12 == 11), (months + 1) % 12 + 1, 1) - timedelta(days=1)
        return after.replace(day=min(day.day, after.day))
    try:
        return day + timedelta(days=round(whole * TIME_DAYS[unit]))
    except OverflowError:
        return date.max if whole > 0 else date.min
