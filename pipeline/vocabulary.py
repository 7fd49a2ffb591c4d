"""vocab/ as one checked object: what may be said, and what it stands for.

The only reader of vocabulary YAML. All faults are reported at once, each with file and line. A personal layer (a
folder of the same form) may add spoken forms to an entry, add entries, or switch an entry off; it never renames.
"""

import hashlib
from collections.abc import Iterator, Sequence
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from pipeline.errors import VocabularyError
from pipeline.kept import kept, program_files, state_of, word_files
from pipeline.model import Kind
from pipeline.phonemes import PHONEMES
from pipeline.resources import data_path

if TYPE_CHECKING:
    import yaml


class Entry(BaseModel):
    """Base of all vocabulary rows: unknown keys are faults."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class ResultForm(Entry):
    """One result of a concept.

    ``say``: words that give this result once the concept is named or in hand ("negative", "gone").
    ``means``: words that give concept *and* result by themselves ("opens like a book", "spits up").
    """

    label: str
    say: tuple[str, ...] = ()
    means: tuple[str, ...] = ()


class Measure(Entry):
    """A concept that takes a number: its UCUM unit, and the range inside which a bare number is believed."""

    unit: str
    low: float
    high: float


class Named(Entry):
    """What concepts and sites share: an id that never changes, what is printed, what is said and misheard for it."""

    id: str
    label: str
    say: tuple[str, ...] = ()
    misheard: dict[str, str] = Field(default_factory=dict)
    sound: tuple[str, ...] = ()
    off: bool = False
    source: str

    @field_validator("sound")
    @classmethod
    def _arpabet(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        for sound in value:
            unknown = [p for p in sound.split() if p.rstrip("012") not in PHONEMES]
            if unknown:
                raise ValueError(f"unknown ARPAbet phoneme {unknown[0]!r}")
        return value


class Concept(Named):
    """What can be looked at, told, done, advised or planned (ids fixed by the findings contract).

    ``beyond``: an entry of our own that the findings contract does not list.
    """

    kind: Kind
    site: str | None = None
    sided: bool = False
    on: tuple[str, ...] = ()
    not_on: tuple[str, ...] = ()
    stated: str | None = None
    negated: str | None = None
    results: dict[str, ResultForm]
    measure: Measure | None = None
    measured: str | None = None
    beyond: bool = False


class Site(Named):
    """A body structure. ``levels``: forms that name a vertebra too (the atlas is C1)."""

    paired: bool = False
    parent: str | None = None
    plural: tuple[str, ...] = ()
    levels: dict[str, str] = Field(default_factory=dict)


class Cue(Entry):
    """Words that say how other words are meant. ``gives`` is the slot's value; ``dir`` where its scope lies."""

    say: tuple[str, ...]
    gives: str = ""
    dir: Literal["forward", "backward", "both", "none"] = "none"
    source: str = "common practice, no source"


class Vocabulary(Entry):
    """Everything loaded; ``hash`` (SHA-256 over the canonical JSON) names exactly this state."""

    concepts: dict[str, Concept]
    sites: dict[str, Site]
    cues: dict[str, tuple[Cue, ...]]
    words: dict[str, tuple[str, ...]] = Field(default_factory=dict)

    @cached_property
    def hash(self) -> str:
        """SHA-256 of the canonical JSON of all entries."""
        return hashlib.sha256(self.model_dump_json().encode()).hexdigest()

    @cached_property
    def awaiting(self) -> dict[str, str]:
        """The concepts after which a bare number belongs to a measure, each with that measure."""
        return {concept.id: concept.measured for concept in self.concepts.values() if concept.measured is not None}

    @cached_property
    def _word_sets(self) -> dict[str, frozenset[str]]:
        return {name: frozenset(words) for name, words in self.words.items()}

    def listed(self, name: str) -> frozenset[str]:
        """The words of a plain list; none where there is no such list."""
        return self._word_sets.get(name, frozenset())

    def site_line(self, site: str | None) -> Iterator[str]:
        """The site and its parents, nearest first."""
        while site is not None:
            yield site
            site = self.sites[site].parent

    def terms(self) -> Iterator[tuple[str, str]]:
        """Every trade term a person may say, with the id it names: for hotwords, repair and "did you mean"."""
        for concept in self.concepts.values():
            yield from ((say, concept.id) for say in concept.say)
        for site in self.sites.values():
            yield from ((say, site.id) for say in (*site.say, *site.plural, *site.levels))


@lru_cache(maxsize=2)
def english_words(base: Path) -> tuple[frozenset[str], frozenset[str], frozenset[str]]:
    """The common, the less common and the rare words of ``base``/english.txt. Raises OSError, UnicodeDecodeError."""
    common, _, rest = (base / "english.txt").read_text(encoding="utf-8").partition("\n# less common\n")
    less_common, _, rare = rest.partition("\n# rare\n")
    return _listed(common), _listed(less_common), _listed(rare)


def _listed(text: str) -> frozenset[str]:
    return frozenset(line for line in text.split("\n") if line and line[0] != "#")


@lru_cache(maxsize=1)
def _loader() -> "type[yaml.SafeLoader]":
    """Safe YAML whose mappings know their line and refuse a key given twice; loaded only where YAML is read."""
    import yaml

    base: type[yaml.SafeLoader] = getattr(yaml, "CSafeLoader", yaml.SafeLoader)  # libyaml where it is built in

    class Loader(base):  # type: ignore[valid-type,misc]
        def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Any, Any]:
            seen: set[Any] = set()
            for key_node, _ in node.value:
                key = self.construct_object(key_node, deep=True)
                if key in seen:
                    raise yaml.MarkedYAMLError(problem=f"key {key!r} stands twice", problem_mark=key_node.start_mark)
                seen.add(key)
            mapping: dict[Any, Any] = super().construct_mapping(node, deep=deep)
            mapping["_line"] = node.start_mark.line + 1
            return mapping

    return Loader


_MOST = 1_000_000  # values of a file; the longest that is shipped has some ten thousand


def _values(data: Any, known: dict[int, int]) -> int:
    """How many values there are once every alias is written out, at least ``_MOST`` where one holds itself."""
    if not isinstance(data, dict | list):
        return 1
    if id(data) not in known:
        known[id(data)] = _MOST  # until it is counted
        known[id(data)] = 1 + sum(_values(one, known) for one in (data.values() if isinstance(data, dict) else data))
    return known[id(data)]


def _strip_lines(data: Any) -> Any:
    if isinstance(data, dict):
        return {k: _strip_lines(v) for k, v in data.items() if k != "_line"}
    if isinstance(data, list):
        return [_strip_lines(v) for v in data]
    return data


def _line_of(data: Any, path: tuple[int | str, ...]) -> int:
    line = 1
    for step in ((), *path):
        if step != ():
            try:
                data = data[step]
            except (KeyError, IndexError, TypeError):
                break
        if isinstance(data, dict):
            line = data.get("_line", line)
    return line


_E = TypeVar("_E", bound=BaseModel)


def read_rows(path: Path, row: type[_E], faults: list[str]) -> list[tuple[int, _E]]:
    """Read a YAML list of rows; each fault becomes ``file:line: what``. Returns the good rows with their lines."""
    import yaml

    name = "/".join(path.parts[-2:])
    try:
        raw = yaml.load(path.read_text(encoding="utf-8"), Loader=_loader())
        if _values(raw, {}) >= _MOST:
            raise ValueError("it holds itself, or far too much")
    except (yaml.YAMLError, ValueError, TypeError, RecursionError, OSError) as error:  # no date; no key; too deep
        mark = getattr(error, "problem_mark", None)
        where = f"{name}:{mark.line + 1}" if mark else name
        faults.append(f"{where}: not readable as YAML: {getattr(error, 'problem', None) or error}")
        return []
    if not isinstance(raw, list):
        faults.append(f"{name}:1: a list of entries is expected (each begins with '- ')")
        return []
    good = []
    for entry in raw:
        try:
            good.append((_line_of(entry, ()), row.model_validate(_strip_lines(entry))))
        except ValidationError as error:
            for fault in error.errors():
                where = ".".join(str(step) for step in fault["loc"])
                hint = ""
                if fault["type"] == "string_type" and isinstance(fault["input"], bool | int | float):
                    hint = f" (YAML reads {fault['input']!r}: put it in quotes)"
                faults.append(f"{name}:{_line_of(entry, fault['loc'])}: {where}: {fault['msg']}{hint}")
    return good


def _collect(folder: Path, row: type[_E], faults: list[str]) -> dict[str, tuple[str, _E]]:
    """All rows of a YAML file or of a folder's files by id; an id given twice is a fault naming both places."""
    found: dict[str, tuple[str, _E]] = {}
    for path in sorted(folder.glob("*.yaml")) if folder.is_dir() else [folder] * folder.is_file():
        for line, entry in read_rows(path, row, faults):
            where, key = f"{path.name}:{line}", str(getattr(entry, "id", ""))
            if key in found:
                faults.append(f"{where}: id {key!r} already stands at {found[key][0]}. Delete one of the two.")
            else:
                found[key] = (where, entry)
    return found


def _check_links(
    concepts: dict[str, tuple[str, Concept]], sites: dict[str, tuple[str, Site]], faults: list[str]
) -> None:
    for where, site in sites.values():
        if site.parent is not None and site.parent not in sites:
            faults.append(f"{where}: parent {site.parent!r} of site {site.id!r} is not a site")
    for where, concept in concepts.values():
        for name in (concept.site, *concept.on, *concept.not_on):
            if name is not None and name not in sites:
                faults.append(f"{where}: {concept.id!r} names the unknown site {name!r}")
        if concept.measured is not None:
            _, measure = concepts.get(concept.measured, ("", concept))
            if measure.measure is None:
                faults.append(f"{where}: measured: {concept.measured!r} is no concept with a measure")
        for slot, result in (("stated", concept.stated), ("negated", concept.negated)):
            if result is not None and result not in concept.results:
                faults.append(f"{where}: {slot}: {result!r} is not a result of {concept.id!r}")


def _check_forms(entries: dict[str, tuple[str, Any]], what: str, faults: list[str]) -> None:
    owner: dict[str, tuple[str, str]] = {}
    for where, entry in entries.values():
        for form in entry.say:
            key = form.lower().strip()
            if not key:
                faults.append(f"{where}: empty spoken form of {entry.id!r}")
            elif key in owner and owner[key][1] != entry.id:
                faults.append(
                    f"{where}: spoken form {form!r} of {what} {entry.id!r} already belongs to {owner[key][1]!r} "
                    f"({owner[key][0]}). Delete one of the two."
                )
            owner[key] = (where, entry.id)


class WordList(Entry):
    """A plain list of words under a name (fillers, number words, units)."""

    id: str
    say: tuple[str, ...]
    source: str = "common practice, no source"


def load_vocabulary(base: Path | None = None, personal: Sequence[Path] = ()) -> Vocabulary:
    """Load vocab/ (or ``base``), then the personal layers over it. Raises VocabularyError holding every fault.

    Of the shipped vocabulary the checked object is kept in the cache folder until a file changes.
    """
    layers = tuple(layer for layer in personal if layer.is_dir())
    return _load(base, layers) if base is not None else _load_shipped(layers)


@lru_cache(maxsize=2)
def _load_shipped(personal: tuple[Path, ...]) -> Vocabulary:
    base = data_path("vocab")
    return kept(
        "vocabulary",
        state_of(*word_files([base, *personal]), *program_files("vocabulary.py")),
        lambda: _load(base, personal),
        lambda vocab: vocab.model_dump_json().encode(),
        Vocabulary.model_validate_json,
    )


@lru_cache(maxsize=4)
def _load(base: Path, personal: tuple[Path, ...]) -> Vocabulary:
    faults: list[str] = []
    concepts = _collect(base / "concepts", Concept, faults)
    sites = _collect(base / "sites.yaml", Site, faults)
    words = _collect(base / "words.yaml", WordList, faults)
    cues = {
        path.stem: tuple(cue for _, cue in read_rows(path, Cue, faults))
        for path in sorted((base / "cues").glob("*.yaml"))
    }
    for layer in personal:
        own_concepts = _collect(layer / "concepts", Concept, faults)
        own_sites = _collect(layer / "sites.yaml", Site, faults)
        heard = {form for _, entry in (*own_concepts.values(), *own_sites.values()) for form in entry.misheard}
        _unlearn(concepts, heard)
        _unlearn(sites, heard)
        _overlay(concepts, own_concepts)
        _overlay(sites, own_sites)
        if (own := layer / "cues" / "commands.yaml").is_file():
            cues["commands"] = (*cues["commands"], *(cue for _, cue in read_rows(own, Cue, faults)))
    _check_links(concepts, sites, faults)
    _check_forms(concepts, "concept", faults)
    _check_forms(sites, "site", faults)
    if faults:
        raise VocabularyError("The vocabulary has faults:\n  " + "\n  ".join(faults))
    return Vocabulary(
        concepts={key: entry for key, (_, entry) in concepts.items() if not entry.off},
        sites={key: entry for key, (_, entry) in sites.items() if not entry.off},
        cues=cues,
        words={key: entry.say for key, (_, entry) in words.items()},
    )


def _unlearn(base: dict[str, tuple[str, _E]], heard: set[str]) -> None:
    """What a personal layer knows as heard for one term is heard for no other."""
    for key, (where, entry) in base.items():
        misheard: dict[str, str] = entry.misheard  # type: ignore[attr-defined]
        if not heard.isdisjoint(misheard):
            left = {form: note for form, note in misheard.items() if form not in heard}
            base[key] = (where, entry.model_copy(update={"misheard": left}))


def _overlay(base: dict[str, tuple[str, _E]], layer: dict[str, tuple[str, _E]]) -> None:
    """A personal entry adds its spoken forms to the shipped one, or stands as a new one (beyond any contract)."""
    for key, (where, entry) in layer.items():
        if key in base:
            shipped = base[key][1]
            entry = shipped.model_copy(
                update={
                    "say": (*shipped.say, *(s for s in entry.say if s not in shipped.say)),  # type: ignore[attr-defined]
                    "misheard": {**shipped.misheard, **entry.misheard},  # type: ignore[attr-defined]
                    "off": entry.off,  # type: ignore[attr-defined]
                }
            )
        elif isinstance(entry, Concept):
            entry = entry.model_copy(update={"beyond": True})
        base[key] = (where, entry)
