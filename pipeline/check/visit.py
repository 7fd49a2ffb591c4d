"""What the check needs beside the items and the earlier visits: how the practice has set the program."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from pipeline.config import Jurisdiction
from pipeline.model import Span, Word


@dataclass(frozen=True, slots=True)
class Options:
    """Settings. ``confirmed``: ids of value questions answered "is right". None of them can silence a danger sign.

    words: the words of the visit, for names said aloud; known_names: names of the practice's infants -> infant id.
    turns: where the words go over to another infant and no one has cut the recording yet.
    """

    jurisdiction: Jurisdiction = "unknown"
    confirmed: frozenset[str] = frozenset()
    words: tuple[Word, ...] = ()
    known_names: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    turns: tuple[Span, ...] = ()
