"""Numbers with units as a person types or says them: "over 40 cm", "under 3 months corrected"."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.amounts.words import TIME_DAYS, AmountWords, Token

_NUMBER = re.compile(r"[0-9]+(?:\.[0-9]+)?$")
_COMPARED = tuple(
    f"amount.{name}"
    for name in ("more_than", "at_least", "less_than", "at_most", "about", "between", "older", "younger")
)


@dataclass(frozen=True, slots=True)
class Amount:
    """A range of numbers said: ``low`` to ``high`` in ``unit`` (None: none was said), over tokens ``i0 <= i < i1``.

    ``open_low``, ``open_high``: the end itself does not belong to it. ``about``: one number, its last digit rounded.
    ``age``: said as an age ("old", "aged").
    """

    low: float | None
    high: float | None
    unit: str | None
    tokens: tuple[int, int]
    open_low: bool = False
    open_high: bool = False
    about: bool = False
    age: bool = False
    corrected: bool = False

    @property
    def of_time(self) -> bool:
        return self.unit in TIME_DAYS

    def as_age(self) -> "Amount":
        """An amount of time as an age in days; "3 months old" is from three months to the day before four."""
        factor = TIME_DAYS[self.unit or "d"]
        low, high = (None if end is None else end * factor for end in (self.low, self.high))
        if self.about and low is not None and high is not None:
            low, high = (low + high) / 2, (low + high) / 2 + high - low
        return replace(self, low=low, high=high, unit="d", open_high=self.open_high or self.about, age=True)


class Numbers:
    """Finds amounts in the tokens of a text."""

    def __init__(self, words: AmountWords) -> None:
        self._words = words

    def amounts(self, tokens: Sequence[Token], taken: frozenset[int] = frozenset()) -> list[Amount]:
        """Every amount said with a unit, a comparison or as an age; tokens in ``taken`` are left alone."""
        found = []
        at = 0
        while at < len(tokens):
            amount = None if at in taken else self._amount(tokens, at)
            if amount is not None and taken.isdisjoint(range(*amount.tokens)):
                found.append(amount)
                at = amount.tokens[1]
            else:
                at += 1
        return found

    def _amount(self, tokens: Sequence[Token], start: int) -> Amount | None:
        at, corrected, age = start, False, False
        compared = self._words.role(tokens, at, *_COMPARED)
        if not compared:
            at, corrected, age = self._age_words(tokens, start)
            compared = self._words.role(tokens, at, *_COMPARED)
        name = compared[0].removeprefix("amount.") if compared else ""
        if compared:
            older = self._words.role(tokens, at, "amount.older", "amount.younger")
            age = age or older is not None
            name = {"older": "more_than", "younger": "less_than"}.get(name, name)
            at = compared[1]
            if not age:
                at, corrected, age = self._age_words(tokens, at)
        first = self.number(tokens, at)
        if first is None:
            return None
        value, unit, spread, at, _ = first
        second = None
        joint = self._words.role(tokens, at, "amount.to", *(["amount.and"] if name == "between" else []))
        if joint and name in ("", "between"):
            second = self.number(tokens, joint[1])
        if second is not None:
            high, high_unit, _, at, (factor, offset) = second
            if unit is None:  # "14 to 16 inches": the unit belongs to both
                value, unit = (value + offset) * factor, high_unit
            unit, value, high = _joined(value, unit, high, high_unit)
        elif name == "between":
            return None
        end, after_corrected, after_age = self._age_words(tokens, at)
        suffix = self._words.role(tokens, end, "amount.or_more", "amount.or_less")
        if suffix and not name:
            name = "at_least" if suffix[0] == "amount.or_more" else "at_most"
            end, late_corrected, late_age = self._age_words(tokens, suffix[1])
            after_corrected, after_age = after_corrected or late_corrected, after_age or late_age
        age, corrected = age or after_age, corrected or after_corrected
        if unit not in TIME_DAYS:
            age = corrected = False
        if not name and second is None and unit is None:
            return None  # a bare number is no amount
        low, high_end = (value, high) if second else _ends(name, value, spread)
        return Amount(
            low, high_end, unit, (start, end), open_low=name == "more_than", open_high=name == "less_than",
            about=name in ("", "about") and second is None, age=age or corrected, corrected=corrected,
        )  # fmt: skip

    def _age_words(self, tokens: Sequence[Token], at: int) -> tuple[int, bool, bool]:
        corrected = age = False
        while found := self._words.role(tokens, at, "amount.corrected", "amount.age"):
            corrected = corrected or found[0] == "amount.corrected"
            age, at = True, found[1]
        return at, corrected, age

    def number(
        self, tokens: Sequence[Token], at: int
    ) -> tuple[float, str | None, float, int, tuple[float, float]] | None:
        """A number in its unit, parts of one amount added ("7 weeks 3 days"); half its last digit; where it ends; and
        the factor and offset of the first unit said."""
        total: float | None = None
        first = (1.0, 0.0)
        unit, spread = None, 0.0
        while (read := self._bare(tokens, at)) is not None:
            number, half, after = read
            said = self._words.unit(tokens, after)
            if total is None:
                if said is None:
                    return number, None, half, after, first
                (unit, factor, offset), at = said
                total, spread, first = (number + offset) * factor, half * factor, (factor, offset)
                continue
            if said is None:
                break
            (other, factor, offset), after = said
            if other in TIME_DAYS and unit in TIME_DAYS:
                factor *= TIME_DAYS[other] / TIME_DAYS[unit]
            elif other != unit:
                break
            total, spread, at = total + (number + offset) * factor, half * factor, after
        return None if total is None else (total, unit, spread, at, first)

    def _bare(self, tokens: Sequence[Token], at: int) -> tuple[float, float, int] | None:
        """A number in digits or words, half a step of its last digit, and where it ends."""
        if at >= len(tokens):
            return None
        text = tokens[at].text
        if _NUMBER.match(text):
            decimals = len(text.partition(".")[2])
            return float(text[:15]), 0.5 * 10**-decimals, at + 1
        total, end = 0.0, at
        while end < len(tokens) and (number := self._words.numbers.get(tokens[end].text)) is not None:
            if end > at and not (total >= 20 and total % 10 == 0 and number < 10):
                break
            total, end = total + number, end + 1
        if end > at:
            return total, 0.5, end
        one = self._words.role(tokens, at, "amount.one")
        return (1.0, 0.5, one[1]) if one and self._words.unit(tokens, one[1]) else None


def _ends(name: str, value: float, spread: float) -> tuple[float | None, float | None]:
    if name in ("more_than", "at_least"):
        return value, None
    if name in ("less_than", "at_most"):
        return None, value
    return value - spread, value + spread


def _joined(low: float, low_unit: str | None, high: float, high_unit: str | None) -> tuple[str | None, float, float]:
    """Both ends of a range in one unit: "6 weeks to 3 months"."""
    unit = low_unit or high_unit
    if low_unit and high_unit and low_unit != high_unit and {low_unit, high_unit} <= TIME_DAYS.keys():
        high *= TIME_DAYS[high_unit] / TIME_DAYS[low_unit]
    return unit, min(low, high), max(low, high)
