"""Norms: everything under vocab/ that says what is seen at which age, loaded and checked as one object.

A row without a source, an unknown key, an unknown site, an id given twice, or a danger sign that is missing is a
fault; all faults are reported at once, each with file and line.
"""

import hashlib
from collections.abc import Iterator
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TypeVar

from pipeline.check import rows
from pipeline.errors import VocabularyError
from pipeline.resources import data_path
from pipeline.vocabulary import Entry, Site, read_rows

RED_FLAGS = tuple(f"RF{n:02}" for n in range(1, 49))  # none of these may be missing, whatever the data say

_R = TypeVar("_R", bound=rows.Sourced)


class Norms(Entry):
    """All rows. ``hash`` (SHA-256 over the canonical JSON) names exactly this state."""

    rules: tuple[rows.Rule, ...]
    red_flags: tuple[rows.RedFlag, ...]
    grades: tuple[rows.Grade, ...]
    scales: tuple[rows.Scale, ...]
    plausible: tuple[rows.Plausible, ...]
    opposites: tuple[rows.Opposite, ...]
    safety_net: tuple[rows.NetPart, ...]
    part: tuple[rows.PartRow, ...]
    codes: tuple[rows.Code, ...]
    claims: tuple[rows.Claim, ...]
    tolerances: tuple[rows.Tolerance, ...]
    sex_words: tuple[rows.SexWord, ...]
    cautions: tuple[rows.Caution, ...]
    laws: tuple[rows.Law, ...]
    coverage: tuple[rows.CoverageRow, ...]
    parents: dict[str, str | None]
    paired: tuple[str, ...]
    places: dict[str, str]

    @cached_property
    def hash(self) -> str:
        """SHA-256 of the canonical JSON of all rows."""
        return hashlib.sha256(self.model_dump_json().encode()).hexdigest()

    @cached_property
    def coverage_by_concept(self) -> dict[str, tuple[rows.CoverageRow, ...]]:
        """The coverage rows that a concept counts for."""
        names = {concept for row in self.coverage for concept in row.concepts}
        return {name: tuple(row for row in self.coverage if name in row.concepts) for name in names}

    def tolerance(self, key: str) -> float:
        """A limit of vocab/norms/tables/identity.yaml or growth limits by its id."""
        return next(row.value for row in self.tolerances if row.id == key)

    def place(self, site: str | None) -> str:
        """How a structure reads in a sentence; "" where none was said."""
        return self.places.get(site, site.replace("_", " ")) if site else ""

    def sourced(self) -> Iterator[rows.Sourced]:
        """Every row of every kind."""
        for name in type(self).model_fields:
            if name not in ("parents", "paired", "places"):
                yield from getattr(self, name)

    @property
    def concepts(self) -> frozenset[str]:
        """Every concept that a rule, a caution or a coverage row looks at."""
        rules: tuple[rows.Rule, ...] = (*self.rules, *self.red_flags)
        conditions = [row.when for row in rules] + [row.when for row in self.part]
        conditions += [worse.when for row in rules for worse in row.worse]
        conditions += [row.when for row in self.cautions if row.when is not None]
        conditions += [row.when for row in self.laws if row.when is not None]
        return frozenset[str]().union(*(when.concepts for when in conditions), *(row.concepts for row in self.coverage))


def load_norms(base: Path | None = None) -> Norms:
    """Load vocab/ (or ``base``). Raises VocabularyError holding every fault with file and line."""
    return _load(base or data_path("vocab"))


@lru_cache(maxsize=2)
def _load(base: Path) -> Norms:
    faults: list[str] = []
    ids: dict[str, str] = {}

    def read(path: Path, row: type[_R]) -> tuple[_R, ...]:
        found = []
        for line, entry in read_rows(path, row, faults):
            where = f"{path.parent.name}/{path.name}:{line}"
            if entry.id in ids:
                faults.append(f"{where}: id {entry.id!r} already stands at {ids[entry.id]}. Delete one of the two.")
            ids.setdefault(entry.id, where)
            found.append(entry)
        return tuple(found)

    tables = base / "norms" / "tables"
    sites = [site for _, site in read_rows(base / "sites.yaml", Site, faults)]
    norms = Norms(
        rules=tuple(rule for path in sorted((base / "norms").glob("*.yaml")) for rule in read(path, rows.Rule)),
        red_flags=read(base / "red_flags.yaml", rows.RedFlag),
        grades=read(tables / "torticollis.yaml", rows.Grade),
        scales=read(tables / "scales.yaml", rows.Scale),
        plausible=read(tables / "plausible.yaml", rows.Plausible),
        opposites=read(tables / "opposites.yaml", rows.Opposite),
        safety_net=read(tables / "safety_net.yaml", rows.NetPart),
        part=read(tables / "part.yaml", rows.PartRow),
        codes=read(tables / "codes.yaml", rows.Code),
        claims=read(tables / "claims.yaml", rows.Claim),
        tolerances=read(tables / "limits.yaml", rows.Tolerance),
        sex_words=read(tables / "sex_words.yaml", rows.SexWord),
        cautions=read(base / "cautions.yaml", rows.Caution),
        laws=read(base / "jurisdiction.yaml", rows.Law),
        coverage=read(base / "coverage.yaml", rows.CoverageRow),
        parents={site.id: site.parent for site in sites},
        paired=tuple(sorted(site.id for site in sites if site.paired)),
        places={site.id: site.label for site in sites},
    )
    faults += _unknown_sites(norms, ids)
    missing = sorted(set(RED_FLAGS) - {row.flag for row in norms.red_flags})
    if missing:
        lacking = ", ".join(missing)
        faults.append(f"{base.name}/red_flags.yaml: {lacking} missing. A danger sign cannot be switched off.")
    if faults:
        raise VocabularyError("The norms have faults:\n  " + "\n  ".join(faults))
    return norms


def _sites_in(when: rows.When) -> Iterator[str]:
    yield from (*when.site, *when.site_is, *when.not_site)
    for part in (*when.any, *when.all, *when.none):
        yield from _sites_in(part)


def _unknown_sites(norms: Norms, ids: dict[str, str]) -> Iterator[str]:
    for rule in (*norms.rules, *norms.red_flags):
        named = [*_sites_in(rule.when), *(site for worse in rule.worse for site in _sites_in(worse.when))]
        named += rule.withhold.sites if rule.withhold else ()
        yield from (f"{ids[rule.id]}: unknown site {site!r}" for site in named if site not in norms.parents)
    for row in norms.coverage:
        yield from (f"{ids[row.id]}: unknown site {site!r}" for site in row.sites if site not in norms.parents)
