"""Codes of open systems for concepts and results (vocab/coding/), and the ICD-10-CM codes that may be suggested."""

from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from pipeline.errors import VocabularyError
from pipeline.model import Item, Mark
from pipeline.resources import data_path
from pipeline.vocabulary import Entry, Vocabulary, read_rows

ICD_10_CM = "http://hl7.org/fhir/sid/icd-10-cm"
_INTERPRETATION = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"


class Coding(BaseModel):
    """One code of a code system."""

    model_config = ConfigDict(frozen=True)

    system: str
    code: str
    display: str


class Term(Entry):
    """A code for an id, in the place ``slot`` of a resource."""

    id: str
    slot: str
    system: str
    code: str
    display: str
    source: str
    mark: Mark


class Interpretation(Entry):
    """Results of concepts (``test.*``: a family) that a code interprets."""

    id: str
    concepts: tuple[str, ...]
    not_for: tuple[str, ...] = ()
    results: tuple[str, ...]
    code: str
    display: str
    source: str
    mark: Mark


class Suggestion(Entry):
    """When which ICD-10-CM codes may be suggested. Ages in completed days: ``from_days <= age < under_days``."""

    id: str
    concepts: tuple[str, ...]
    results: tuple[str, ...]
    sites: tuple[str, ...] = ()
    sides: tuple[str, ...] = ()
    from_days: int | None = None
    under_days: int | None = None
    codes: tuple[str, ...]
    source: str
    mark: Mark


class Codes(BaseModel):
    """All rows of vocab/coding/."""

    model_config = ConfigDict(frozen=True)

    terms: dict[tuple[str, str], Term]
    interpretations: tuple[Interpretation, ...]
    suggestions: tuple[Suggestion, ...]

    def term(self, slot: str, key: str | None) -> Coding | None:
        """The code of an id in a slot, where there is one."""
        row = self.terms.get((slot, key)) if key else None
        return Coding(system=row.system, code=row.code, display=row.display) if row else None

    def interpretation(self, concept: str, result: str | None) -> Coding | None:
        """How a result is interpreted, where the word alone tells; the first row that fits counts."""
        for row in self.interpretations:
            if result in row.results and _named(concept, row.concepts) and concept not in row.not_for:
                return Coding(system=_INTERPRETATION, code=row.code, display=row.display)
        return None

    def suggested(self, item: Item, age_days: int | None, vocab: Vocabulary) -> tuple[str, ...]:
        """The ICD-10-CM codes that may go with an item, each once, in the order of the rows."""
        sites = set(vocab.site_line(item.site if item.site in vocab.sites else None))
        found = (row for row in self.suggestions if _fits(row, item, age_days, sites))
        return tuple(dict.fromkeys(code for row in found for code in row.codes))


def load_codes(base: Path | None = None) -> Codes:
    """Load vocab/coding (or ``base``/coding). Raises VocabularyError holding every fault with file and line."""
    return _load((base or data_path("vocab")) / "coding")


@lru_cache(maxsize=2)
def _load(folder: Path) -> Codes:
    faults: list[str] = []
    terms = [row for _, row in read_rows(folder / "terms.yaml", Term, faults)]
    interpretations = [row for _, row in read_rows(folder / "interpretation.yaml", Interpretation, faults)]
    suggestions = [row for _, row in read_rows(folder / "suggestions.yaml", Suggestion, faults)]
    if faults:
        raise VocabularyError("The codes have faults:\n  " + "\n  ".join(faults))
    return Codes(
        terms={(row.slot, row.id): row for row in terms},
        interpretations=tuple(interpretations),
        suggestions=tuple(suggestions),
    )


def leaves(codes: tuple[str, ...]) -> Iterator[Coding]:
    """Codes with the words of the ICD-10-CM tables; what is no leaf there (it cannot stand in a record) is left out."""
    import simple_icd_10_cm as tables  # reads 2.7 s of tables: only where suggestions are asked for

    for code in codes:
        if tables.is_valid_item(code) and tables.is_leaf(code):
            yield Coding(system=ICD_10_CM, code=code, display=tables.get_description(code))


def _named(concept: str, rows: tuple[str, ...]) -> bool:
    return concept in rows or f"{concept.partition('.')[0]}.*" in rows


def _fits(row: Suggestion, item: Item, age_days: int | None, sites: set[str]) -> bool:
    if item.result not in row.results or not _named(item.concept, row.concepts):
        return False
    if (row.sites and not sites & set(row.sites)) or (row.sides and item.side not in row.sides):
        return False
    if row.from_days is None and row.under_days is None:
        return True
    return age_days is not None and (row.from_days or 0) <= age_days < (row.under_days or age_days + 1)
