"""The note's wording as one checked object (vocab/wording/), a row a concept, a part, a word.

How a pattern is filled is told in ``pipeline/patterns.py``.
"""

from functools import lru_cache
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from pipeline.errors import VocabularyError
from pipeline.model import Kind
from pipeline.resources import data_path
from pipeline.vocabulary import WordList, read_rows


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")
    id: str


class Phrase(_Row):
    """How the lines of a concept, or of a family (``reflex.*``), are worded."""

    head: str = ""
    names: bool = False
    results: dict[str, str] = Field(default_factory=dict)
    whole: dict[str, str] = Field(default_factory=dict)
    quiet: tuple[str, ...] = ()


class Part(_Row):
    """A section or subsection of the note and what goes into it."""

    title: str
    parent: str | None = None
    concepts: tuple[str, ...] = ()
    kind: Kind | None = None
    sites: tuple[str, ...] = ()
    order: Literal["spoken", "concept", "site"] = "spoken"


class Words(_Row):
    """A group of small words by code."""

    words: dict[str, str]


class Place(_Row):
    """A place of the infant's outline and the sites that mark it."""

    label: str
    sided: bool = False
    sites: tuple[str, ...]


class SiteName(_Row):
    """How a site reads inside a line."""

    read: str = Field(alias="as")


class Wording(BaseModel):
    """All wording of the note."""

    model_config = ConfigDict(frozen=True)
    phrases: dict[str, Phrase]
    parts: tuple[Part, ...]
    words: dict[str, dict[str, str]]
    places: tuple[Place, ...]
    sites: dict[str, str]
    presence: dict[str, tuple[str, ...]]

    def phrase(self, concept: str) -> Phrase:
        """The concept's row, else its family's, else one that names the concept by its label."""
        family = concept.partition(".")[0] + ".*"
        plain = Phrase(id=concept, head="{label}[, {site}][, {level}][, {side}]")
        return self.phrases.get(concept) or self.phrases.get(family) or plain

    def word(self, group: str, code: str | None) -> str:
        """A small word; empty where there is no code, the code in plain letters where it has no word."""
        return self.words[group].get(code, code.replace("_", " ")) if code else ""


def load_wording(base: Path | None = None) -> Wording:
    """Load the wording from vocab/ (or ``base``). Raises VocabularyError holding every fault with file and line."""
    return _load(base or data_path("vocab"))


@lru_cache(maxsize=4)
def _load(base: Path) -> Wording:
    faults: list[str] = []
    folder = base / "wording"
    phrases = [row for _, row in read_rows(folder / "phrases.yaml", Phrase, faults)]
    parts = [row for _, row in read_rows(folder / "sections.yaml", Part, faults)]
    words = [row for _, row in read_rows(folder / "words.yaml", Words, faults)]
    places = [row for _, row in read_rows(folder / "places.yaml", Place, faults)]
    sites = [row for _, row in read_rows(folder / "sites.yaml", SiteName, faults)]
    presence = [row for _, row in read_rows(folder / "presence.yaml", WordList, faults)]
    rows: list[tuple[str, list[str]]] = [
        ("phrases", [row.id for row in phrases]),
        ("sections", [row.id for row in parts]),
        ("words", [row.id for row in words]),
        ("places", [row.id for row in places]),
        ("sites", [row.id for row in sites]),
        ("presence", [row.id for row in presence]),
    ]
    for name, ids in rows:
        faults += [
            f"wording/{name}.yaml: id {i!r} stands twice. Delete one." for i in sorted({*ids}) if ids.count(i) > 1
        ]
    if faults:
        raise VocabularyError("The wording of the note has faults:\n  " + "\n  ".join(faults))
    return Wording(
        phrases={row.id: row for row in phrases},
        parts=tuple(parts),
        words={row.id: row.words for row in words},
        places=tuple(places),
        sites={row.id: row.read for row in sites},
        presence={row.id: row.say for row in presence},
    )
