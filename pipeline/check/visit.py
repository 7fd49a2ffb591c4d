"""What the check needs beside the items: earlier visits, and how the practice has set the program."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from pipeline.check.law import Jurisdiction
from pipeline.model import Age, Frozen, Item, Word


class PastVisit(Frozen):
    """An earlier visit of the same infant. ``told``: ids of the remarks and cautions shown then."""

    id: str
    age: Age | None = None
    items: tuple[Item, ...] = ()
    told: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Options:
    """Settings. ``confirmed``: ids of value questions answered "is right". None of them can silence a danger sign.

    words: the words of the visit, for names said aloud; known_names: names of the practice's infants -> infant id.
    """

    jurisdiction: Jurisdiction = "unknown"
    confirmed: frozenset[str] = frozenset()
    words: tuple[Word, ...] = ()
    known_names: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
