"""Tokens of a text, and the words of numbers, units, comparisons and dates."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

TIME_DAYS = {"d": 1.0, "wk": 7.0, "mo": 30.4375, "a": 365.25}
TIME_NAMES = {"d": "days", "wk": "weeks", "mo": "months", "a": "years"}
_TOKEN = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}(?!\w)|[0-9]+(?:\.[0-9]+)?|[^\W0-9_][^\W_]*(?:'[^\W_]+)*"
    r"|[<>]=?|[=≤≥≈%]|(?<=\w)[-–](?=[0-9])"
)


class Token(NamedTuple):
    """A word, a number or a sign of a text, in lower case, with its place (``start <= i < end``)."""

    text: str
    start: int
    end: int


def tokens_of(text: str) -> list[Token]:
    """The words, numbers and comparing signs of a text."""
    folded = text.replace("’", "'")
    return [Token(m.group().lower(), m.start(), m.end()) for m in _TOKEN.finditer(folded)]


@dataclass(frozen=True)
class AmountWords:
    """The words of numbers, units, comparisons and dates, each form a text of tokens joined by blanks.

    units: form -> (UCUM unit, factor into it, offset added before). lists: name -> forms, as in vocab/search.yaml.
    """

    units: Mapping[str, tuple[str, float, float]]
    numbers: Mapping[str, float]
    lists: Mapping[str, Sequence[str]]
    _roles: dict[str, str] = field(default_factory=dict, init=False)

    def __post_init__(self) -> None:
        for name, forms in self.lists.items():
            if name.startswith(("amount.", "date.", "month.", "weekday.")):
                self._roles.update({form: name for form in forms})

    def role(self, tokens: Sequence[Token], at: int, *wanted: str) -> tuple[str, int] | None:
        """The longest form of the lists that begins at a token and has a wanted role (or its first part)."""
        for end in range(min(len(tokens), at + 5), at, -1):
            role = self._roles.get(" ".join(t.text for t in tokens[at:end]))
            if role and role.startswith(wanted):
                return role, end
        return None

    def unit(self, tokens: Sequence[Token], at: int) -> tuple[tuple[str, float, float], int] | None:
        for end in range(min(len(tokens), at + 3), at, -1):
            if unit := self.units.get(" ".join(t.text for t in tokens[at:end])):
                return unit, end
        return None
