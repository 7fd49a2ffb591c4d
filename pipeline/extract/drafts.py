"""An item before it has words, times and an id."""

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.model import Degree


@dataclass(frozen=True)
class Draft:
    """An item before it has words, times and an id. Tokens ``a <= k < b`` of the utterance are its evidence."""

    concept: str
    site: str | None
    side: str
    level: str | None
    result: str | None
    a: int
    b: int
    value: float | None = None
    unit: str | None = None
    degree: Degree | None = None
    flags: tuple[str, ...] = ()
    steps: tuple[tuple[str, str, str, int, int], ...] = ()
    inherited: bool = False
    retracted: tuple[tuple[int, int], ...] = ()

    @property
    def rule(self) -> str:
        """The rule that gave its first slot."""
        return self.steps[0][2] if self.steps else ""


def with_flag(flags: tuple[str, ...], flag: str) -> tuple[str, ...]:
    """The flags with one more, which stands once."""
    return flags if flag in flags else (*flags, flag)


def without_flag(flags: tuple[str, ...], flag: str) -> tuple[str, ...]:
    """The flags without one."""
    return tuple(f for f in flags if f != flag)


def unique(drafts: Sequence[Draft]) -> list[Draft]:
    """One draft a concept, site, side and level; the first said stands."""
    seen: dict[tuple[str, str | None, str, str | None], Draft] = {}
    for draft in drafts:
        seen.setdefault((draft.concept, draft.site, draft.side, draft.level), draft)
    return list(seen.values())
