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


def unique(drafts: Sequence[Draft]) -> list[Draft]:
    """One draft a concept, site, side and level; the first said stands."""
    seen: dict[tuple[str, str | None, str, str | None], Draft] = {}
    for draft in drafts:
        seen.setdefault((draft.concept, draft.site, draft.side, draft.level), draft)
    return list(seen.values())
