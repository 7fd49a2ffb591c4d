"""vocab/hearing.yaml: the words that hearing must know of, checked and ready."""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from pipeline.errors import VocabularyError
from pipeline.resources import data_path
from pipeline.vocabulary import Entry, read_rows


class Row(Entry):
    """One row of the file: words divided by blanks, or whole phrases."""

    id: str
    words: str = ""
    phrases: tuple[str, ...] = ()
    source: str


@dataclass(frozen=True, slots=True)
class Lists:
    """``kept``: never touched by the second pass. ``mistaken``: what a side is taken for. ``stock``: invented lines."""

    kept: frozenset[str]
    mistaken: dict[str, tuple[str, ...]]
    stock: frozenset[str]


@lru_cache(maxsize=2)
def load_lists(base: Path | None = None) -> Lists:
    """Read hearing.yaml of vocab/ (or of ``base``). Raises VocabularyError holding every fault."""
    faults: list[str] = []
    rows = {row.id: row for _, row in read_rows((base or data_path("vocab")) / "hearing.yaml", Row, faults)}
    faults += [f"hearing.yaml:1: the row {name!r} is missing" for name in _NEEDED if not faults and name not in rows]
    if faults:
        raise VocabularyError("The vocabulary has faults:\n  " + "\n  ".join(faults))
    return Lists(
        kept=frozenset(rows["never_replaced"].words.split()),
        mistaken={side: tuple(rows[side].words.split()) for side in ("left", "right")},
        stock=frozenset(rows["stock"].phrases),
    )


_NEEDED = ("never_replaced", "left", "right", "stock")
