"""Numbers, units and vertebral levels in a stream of tokens.

Spoken numbers ("ninety-nine point one", "one thirty-eight", "thirty-nine and a half", "nine pounds eleven") and
written ones; units and their conversion come from vocab/cues/units.yaml, number words from vocab/cues/numbers.yaml.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.extract.tokens import Token
from pipeline.vocabulary import Vocabulary

_DIGITS = re.compile(r"\d{1,6}(?:\.\d{1,3})?")
_LEVEL = re.compile(r"([ctls])(\d{1,2})(?:[-–]?([ctls])?(\d{1,2}))?")
_MOST = {"C": 7, "T": 12, "L": 5, "S": 5}
SIDES = ("way", "side", "direction")  # "seventy-five | one way"
REGION = {"C": "cervical_spine", "T": "thoracic_spine", "L": "lumbar_spine", "S": "sacrum"}
_BY_SITE = {site: letter for letter, site in REGION.items()}


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number in tokens ``a <= k < b``. ``unit`` is UCUM, "" where none was said; ``value`` is in that unit."""

    a: int
    b: int
    value: float
    unit: str = ""
    ordinal: bool = False


@dataclass(frozen=True, slots=True)
class Level:
    """Vertebrae in tokens ``a <= k < b``: ``("T4", "T6")`` are first and last of a run."""

    a: int
    b: int
    first: str
    last: str

    @property
    def text(self) -> str:
        return self.first if self.first == self.last else f"{self.first}-{self.last}"

    @property
    def site(self) -> str:
        return REGION[self.first[0]]


class NumberReader:
    """Number words and units of the vocabulary, ready to read."""

    def __init__(self, vocab: Vocabulary) -> None:
        rows = [(say, cue.gives) for cue in vocab.cues.get("numbers", ()) for say in cue.say]
        self._small = {say: int(gives[1:]) for say, gives in rows if gives[0] == "n"}
        self._ordinal = {say: int(gives[1:]) for say, gives in rows if gives[0] == "o"}
        self._fraction = {say: float(gives[1:]) for say, gives in rows if gives[0] == "f"}
        self._join = {say for say, gives in rows if gives == "range"}
        self._units: dict[tuple[str, ...], tuple[str, float, float]] = {}
        for cue in vocab.cues.get("units", ()):
            unit, factor, offset = (
                (*cue.gives.split(), "0")[:3] if len(cue.gives.split()) > 1 else (cue.gives, "1", "0")
            )
            for say in cue.say:
                self._units[tuple(say.split())] = (unit, float(factor), float(offset))
        self._regions = {
            say: _BY_SITE[site.id] for site in vocab.sites.values() if site.id in _BY_SITE for say in site.say
        }

    # ------------------------------------------------------------ numbers

    def number(self, tokens: Sequence[Token], k: int) -> tuple[float, int] | None:
        """The number that begins at ``k`` and the position after it."""
        token = tokens[k]
        if _DIGITS.fullmatch(token.text):
            return self._fractional(tokens, float(token.text), k + 1)
        value = self._small.get(token.text)
        if value is None:
            return None
        at = k + 1
        oh = self._word(tokens, k + 2)
        if tokens[k + 1 : k + 2] and tokens[k + 1].text in ("oh", "o") and oh is not None and value < 10 > oh > 0:
            return float(value * 100 + oh), k + 3  # "one oh five"
        while at < len(tokens) and not tokens[at - 1].stop:
            following = self._small.get(tokens[at].text)
            if following is None:
                if (
                    tokens[at].text == "and"
                    and value >= 100
                    and not value % 100
                    and self._word(tokens, at + 1) is not None
                ):
                    at += 1
                    continue
                break
            joined = _join(value, following)
            if joined is None:
                break
            value, at = joined, at + 1
        tenth = self._word(tokens, at) if at < len(tokens) and not tokens[at - 1].stop else None
        if (
            tenth is not None
            and tenth < 10
            and 34 <= value <= 107
            and value % 10
            and self._unit(tokens, at + 1) is None
            and not (tenth == 1 and at + 1 < len(tokens) and tokens[at + 1].text in SIDES)
        ):
            return value + tenth / 10, at + 1  # "ninety-eight four", "thirty-eight five"
        return self._fractional(tokens, float(value), at)

    def _word(self, tokens: Sequence[Token], k: int) -> int | None:
        return self._small.get(tokens[k].text) if k < len(tokens) else None

    def _fractional(self, tokens: Sequence[Token], value: float, at: int) -> tuple[float, int]:
        if at >= len(tokens) or tokens[at - 1].stop:
            return value, at
        if tokens[at].text == "point" and at + 1 < len(tokens):
            digits, k = "", at + 1
            while k < len(tokens) and len(digits) < 3:
                digit = self._word(tokens, k)
                piece = str(digit) if digit is not None and digit < 10 else ""
                if not piece and tokens[k].text.isdigit():
                    piece = tokens[k].text
                if not piece and digit is not None and 10 <= digit < 100 and not digits:
                    piece = str(digit)
                if not piece:
                    break
                digits, k = digits + piece, k + 1
                if tokens[k - 1].stop:
                    break
            if digits:
                return float(f"{int(value)}.{digits}"), k
        if tokens[at].text == "and" and at + 1 < len(tokens):
            part = 2 if tokens[at + 1].text in ("a", "one", "three") else 1
            if at + part < len(tokens):
                fraction = self._fraction.get(" ".join(t.text for t in tokens[at + 1 : at + 1 + part]))
                if fraction is not None:
                    return value + fraction, at + 1 + part
        return value, at

    def _unit(self, tokens: Sequence[Token], k: int) -> tuple[str, float, float, int] | None:
        for length in (3, 2, 1):
            if k + length <= len(tokens):
                found = self._units.get(tuple(t.text for t in tokens[k : k + length]))
                if found:
                    return (*found, k + length)
        return None

    def quantities(self, tokens: Sequence[Token]) -> list[Quantity]:
        """All numbers, with their units where said; "nine pounds eleven" is one quantity."""
        found: list[Quantity] = []
        k = 0
        while k < len(tokens):
            quantity = self._quantity(tokens, k)
            if quantity is None:
                k += 1
                continue
            found.append(quantity)
            k = quantity.b
        return found

    def _quantity(self, tokens: Sequence[Token], k: int) -> Quantity | None:
        token = tokens[k]
        if token.text in ("a", "an", "half", "another") and not token.stop:
            return self._article(tokens, k)
        if token.text in self._ordinal:
            return Quantity(k, k + 1, float(self._ordinal[token.text]), ordinal=True)
        read = self.number(tokens, k)
        if read is None:
            return self._fortnight(tokens, k)
        value, at = read
        unit = None if tokens[at - 1].stop else self._unit(tokens, at)
        if unit is None:
            return Quantity(k, at, value)
        name, factor, offset, at = unit
        value, at = self._fractional(tokens, value * factor + offset if not offset else (value + offset) * factor, at)
        quantity = Quantity(k, at, value, name)
        return self._smaller(tokens, quantity, factor)

    def _article(self, tokens: Sequence[Token], k: int) -> Quantity | None:
        """ "a week", "half an hour", "half a kilo"."""
        half = tokens[k].text == "half"
        at = k + 1
        if half and at < len(tokens) and tokens[at].text in ("a", "an"):
            at += 1
        unit = self._unit(tokens, at)
        if unit is None:
            return None
        name, factor, offset, end = unit
        return None if offset else Quantity(k, end, (0.5 if half else 1) * factor, name)

    def _fortnight(self, tokens: Sequence[Token], k: int) -> Quantity | None:
        if tokens[k].text == "fortnight":
            unit = self._unit(tokens, k)
            return Quantity(k, k + 1, unit[1], unit[0]) if unit else None
        return None

    def _smaller(self, tokens: Sequence[Token], quantity: Quantity, factor: float) -> Quantity:
        """Add the smaller unit that follows: ounces after pounds, grams after kilos, days after weeks."""
        at = quantity.b
        if quantity.unit != "kg" or at >= len(tokens) or tokens[at - 1].stop in (".", "?"):
            return quantity
        start = at + 1 if tokens[at].text == "and" else at
        read = self.number(tokens, start) if start < len(tokens) else None
        if read is None:
            return quantity
        number, end = read
        unit = None if tokens[end - 1].stop else self._unit(tokens, end)
        pounds = abs(factor - 0.45359237) < 1e-9
        if unit is not None and unit[0] == "kg" and unit[1] < factor:
            return replace(quantity, b=unit[3], value=quantity.value + number * unit[1])
        if unit is None and not tokens[at - 1].stop and start == at:
            if pounds and number < 16:
                return replace(quantity, b=end, value=quantity.value + number * 0.028349523125)
            if factor == 1 and 100 <= number < 1000:
                return replace(quantity, b=end, value=quantity.value + number / 1000)
        return quantity

    # ------------------------------------------------------------ levels

    def levels(self, tokens: Sequence[Token], region: str | None = None) -> list[Level]:
        """All vertebral levels; neighbours joined by "to", "through" or standing side by side are one run.

        ``region``: the site under the hands; with it "around the sixth one" is a level too.
        """
        letter = _BY_SITE.get(region or "", "T" if region == "spine" else "")
        single: list[Level] = []
        k = 0
        while k < len(tokens):
            level = self._level(tokens, k, letter)
            k = level.b if level else k + 1
            if level:
                letter = level.last[0]
                single.append(level)
        return self._runs(tokens, single)

    def _level(self, tokens: Sequence[Token], k: int, region: str) -> Level | None:
        text = tokens[k].text
        match = _LEVEL.fullmatch(text)
        if match:
            first = _vertebra(match[1], int(match[2]))
            last = _vertebra(match[3] or match[1], int(match[4])) if match[4] else first
            return Level(k, k + 1, first, last) if first and last else None
        if text in ("c", "t", "l", "s") and not tokens[k].stop and k + 1 < len(tokens):
            read = self.number(tokens[: k + 2], k + 1)
            first = _vertebra(text, int(read[0])) if read else ""
            return Level(k, k + 2, first, first) if first else None
        if text == "from" and region and not tokens[k].stop:
            return self._bare_run(tokens, k + 1, region)
        number = self._ordinal.get(text)
        if number is not None and not tokens[k].stop and k + 1 < len(tokens):
            letter, end = self._region(tokens, k + 1, region)
            first = _vertebra(letter, number) if letter else ""
            return Level(k, end, first, first) if first else None
        return None

    def _bare_run(self, tokens: Sequence[Token], k: int, region: str) -> Level | None:
        """ "From six until twelve it is good", of the region spoken of; "from six to nine months" is none."""
        first = self.number(tokens[: k + 1], k) if k < len(tokens) else None
        if first is None or k + 2 >= len(tokens) or tokens[k + 1].text not in self._join:
            return None
        last = self.number(tokens[: k + 3], k + 2)
        if last is None or (not tokens[k + 2].stop and self._unit(tokens, k + 3) is not None):
            return None
        low, high = _vertebra(region, int(first[0])), _vertebra(region, int(last[0]))
        return Level(k, k + 3, low, high) if low and high and first[0] < last[0] else None

    def _region(self, tokens: Sequence[Token], k: int, region: str) -> tuple[str, int]:
        """The letter of the region named after an ordinal, and where it ends; "the fourth and the fifth thoracic"."""
        two = " ".join(t.text for t in tokens[k : k + 2]) if not tokens[k].stop else ""
        if two in self._regions:
            return self._regions[two], k + 2
        if tokens[k].text in self._regions:
            return self._regions[tokens[k].text], k + 1
        if tokens[k].text in ("one", "vertebra", "segment"):
            return region, k + 1
        following = k + 2 if [t.text for t in tokens[k : k + 2]] == ["and", "the"] else k + 1
        if tokens[k].text == "and" and following + 1 < len(tokens) and tokens[following].text in self._ordinal:
            return self._region(tokens, following + 1, region)[0], k
        return "", k

    def _runs(self, tokens: Sequence[Token], single: list[Level]) -> list[Level]:
        runs: list[Level] = []
        for level in single:
            before = runs[-1] if runs else None
            between = [t.text for t in tokens[before.b : level.a]] if before else ["."]
            joined = before is not None and tokens[before.b - 1].stop not in (".", "?") and _run(before, level)
            if (
                before
                and joined
                and ((between and " ".join(between) in self._join) or (not between and _next(before, level)))
            ) or (before and joined and between in (["and"], ["and", "the"]) and _next(before, level)):
                runs[-1] = Level(before.a, level.b, before.first, level.last)
            else:
                runs.append(self._open_run(tokens, level))
        return runs

    def _open_run(self, tokens: Sequence[Token], level: Level) -> Level:
        """ "T four to six": the second number borrows the letter."""
        for length in (2, 1):
            joint = " ".join(t.text for t in tokens[level.b : level.b + length])
            at = level.b + length
            if joint in self._join and at < len(tokens) and not tokens[level.b - 1].stop:
                read = self.number(tokens[: at + 1], at)
                last = _vertebra(level.first[0], int(read[0])) if read else ""
                if last and int(last[1:]) > int(level.first[1:]):
                    return Level(level.a, at + 1, level.first, last)
        return level


def _join(value: int, following: int) -> int | None:
    """How spoken number words build up: twenty + one, two + hundred, one + thirty-eight."""
    if following == 100 and value < 100:
        return value * 100
    if following == 1000 and value < 100:
        return value * 1000
    if value >= 1000 and following == 100 and 0 < value % 1000 < 10:
        return value + value % 1000 * 99  # three thousand four + hundred
    if value >= 1000 and value % 1000 == 0 and following < 100:
        return value + following
    if value >= 100 and value % 100 == 0 and following < 100:
        return value + following
    if value % 10 == 0 and value % 100 >= 20 and following < 10:
        return value + following
    if 0 < value < 10 and 10 <= following < 100:
        return value * 100 + following
    return None


def _vertebra(letter: str, number: int) -> str:
    letter = letter.upper()
    return f"{letter}{number}" if 1 <= number <= _MOST.get(letter, 0) else ""


def _run(first: Level, second: Level) -> bool:
    order = "CTLS"
    a, b = first.last, second.first
    return (order.index(a[0]), int(a[1:])) < (order.index(b[0]), int(b[1:]))


def _next(first: Level, second: Level) -> bool:
    return first.last[0] == second.first[0] and int(second.first[1:]) == int(first.last[1:]) + 1
