"""The vocabulary compiled for questions: every form with what it may stand for, and what is needed of each entry.

Compiling takes longer than a search may: the result is kept in the cache folder.
"""

import json
import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Literal, NamedTuple

from pipeline.amounts import AmountWords, Calendar, Numbers, tokens_of
from pipeline.config import Config
from pipeline.errors import VocabularyError
from pipeline.kept import kept, program_files, state_of, word_files
from pipeline.resources import data_path

if TYPE_CHECKING:
    from pipeline.vocabulary import Vocabulary

NOT = "n't"  # ends a verb that is denied
_MADE_BY = ("search/lexicon.py", "vocabulary.py", *(f"amounts/{name}.py" for name in ("days", "numbers", "words")))
LISTS = "search.yaml"
_NEEDED = ("question_words", "first_visit", "last_visit", "in_own_words", "wanted_present", "by.infant", "by.visit")
_ASIDE = re.compile(r"\([^)]*\)")

Role = Literal[
    "concept", "result", "label", "means", "site", "level", "side", "deny", "deny_before", "stop", "mask", "degree",
    "first", "last", "kind", "sex", "by",
]  # fmt: skip


class Reading(NamedTuple):
    """What a form may stand for: ``means`` and ``label`` give a concept's result by themselves, ``result`` only once
    the concept is named; else ``id`` is the site, the level, the side and so on."""

    role: Role
    id: str = ""
    result: str = ""


@dataclass(frozen=True)
class ConceptFacts:
    """What a question needs of a concept. ``results``: label by id; ``unit``: UCUM, where it takes a number."""

    label: str
    kind: str
    site: str | None
    stated: str | None
    negated: str | None
    results: dict[str, str]
    unit: str | None


@dataclass(frozen=True)
class SiteFacts:
    """What a question needs of a structure. ``line``: itself and all that it belongs to, nearest first."""

    label: str
    line: tuple[str, ...]


@dataclass(frozen=True)
class Lexicon:
    """All of it. ``forms``: the tokens' keys joined by blanks -> readings, packed (``readings`` gives them): most of
    them are never asked for. ``longest``: tokens of the longest form. ``denials``: forms that deny what follows."""

    forms: dict[str, str]
    longest: int
    denials: frozenset[str]
    concepts: dict[str, ConceptFacts]
    sites: dict[str, SiteFacts]
    good: frozenset[str]
    bad: frozenset[str]
    dull: frozenset[str]  # words without a meaning of their own in a question
    own_words: frozenset[str]  # concepts whose line is in the speaker's words
    wanted_present: frozenset[str]  # concepts whose presence is in order: most reflexes
    terms: dict[str, str]  # spoken form as written -> the concept or structure it names
    units: dict[str, tuple[str, float, float]]
    numbers: dict[str, float]
    lists: dict[str, list[str]]

    @cached_property
    def _amount_words(self) -> AmountWords:
        return AmountWords(units=self.units, numbers=self.numbers, lists=self.lists)

    @cached_property
    def amounts(self) -> Numbers:
        """Reads numbers in these words."""
        return Numbers(self._amount_words)

    @cached_property
    def calendar(self) -> Calendar:
        """Reads dates in these words."""
        return Calendar(self._amount_words)

    def readings(self, form: str) -> tuple[Reading, ...]:
        """What a form may stand for; () where it is none."""
        packed = self.forms.get(form)
        return _unpacked(packed) if packed else ()

    @cached_property
    def denying(self) -> frozenset[str]:
        """The tokens that a denial begins with: a text without one denies nothing."""
        return frozenset(form.partition(" ")[0] for form in self.denials)

    def below(self, sites: set[str]) -> Iterator[str]:
        """The structures, and all that belong to them."""
        for site, facts in self.sites.items():
            if not sites.isdisjoint(facts.line):
                yield site


@lru_cache(maxsize=4096)
def _unpacked(packed: str) -> tuple[Reading, ...]:
    return tuple(Reading(*reading.split("|")) for reading in packed.split("\n"))  # type: ignore[arg-type]


def key_of(token: str) -> str:
    """A token without its plural s: "hips" meets "hip"."""
    return token[:-1] if len(token) > 3 and token.endswith("s") and not token.endswith(("ss", "us", "is")) else token


def words_of(text: str) -> list[str]:
    """The tokens of a text as words."""
    return [token.text for token in tokens_of(text)]


def form_of(text: str) -> str:
    """A text as the key of ``Lexicon.forms``."""
    return " ".join(map(key_of, words_of(text)))


def load_lexicon(config: Config) -> Lexicon:
    """The lexicon of the shipped words and the person's own. Raises VocabularyError where they have faults."""

    def made() -> Lexicon:
        from pipeline.vocabulary import load_vocabulary

        return compile_lexicon(load_vocabulary(personal=config.own_words))

    state = state_of(*word_files([data_path("vocab"), *config.own_words]), *program_files(*_MADE_BY))
    return kept("questions", state, made, _pack, _unpack)


def _pack(lexicon: Lexicon) -> bytes:
    return json.dumps(asdict(lexicon), ensure_ascii=False, default=sorted).encode()


def _unpack(body: bytes) -> Lexicon:
    """Raises TypeError, KeyError or ValueError where the kept form is not whole."""
    data = json.loads(body)
    return Lexicon(
        forms=data["forms"],
        longest=data["longest"],
        denials=frozenset(data["denials"]),
        concepts={key: ConceptFacts(**facts) for key, facts in data["concepts"].items()},
        sites={key: SiteFacts(facts["label"], tuple(facts["line"])) for key, facts in data["sites"].items()},
        good=frozenset(data["good"]),
        bad=frozenset(data["bad"]),
        dull=frozenset(data["dull"]),
        own_words=frozenset(data["own_words"]),
        wanted_present=frozenset(data["wanted_present"]),
        terms=data["terms"],
        units={form: (unit, factor, offset) for form, (unit, factor, offset) in data["units"].items()},
        numbers=data["numbers"],
        lists=data["lists"],
    )


# ---------------------------------------------------------------- compiling


def compile_lexicon(vocab: "Vocabulary") -> Lexicon:
    """Every form of the vocabulary and of vocab/search.yaml. Raises VocabularyError where the latter has faults."""
    lists = _own_lists()
    forms: dict[str, list[Reading]] = defaultdict(list)
    for say, reading in _forms(vocab, lists):
        form = form_of(say)
        if form and reading not in forms[form]:
            forms[form].append(reading)
    shared = ("determiners", "fillers", "prepositions", "connectives")
    dull = [*lists["question_words"], *(say for name in shared for say in vocab.words.get(name, ()))]
    return Lexicon(
        forms={form: "\n".join("|".join(reading) for reading in readings) for form, readings in forms.items()},
        longest=max((form.count(" ") + 1 for form in forms), default=1),
        denials=frozenset(form for form, readings in forms.items() if any(r.role == "deny" for r in readings)),
        concepts={
            concept.id: ConceptFacts(
                label=concept.label,
                kind=concept.kind,
                site=concept.site,
                stated=concept.stated,
                negated=concept.negated,
                results={result: form.label for result, form in concept.results.items()},
                unit=concept.measure.unit if concept.measure else "d" if "value" in concept.results else None,
            )
            for concept in vocab.concepts.values()
        },
        sites={site.id: SiteFacts(site.label, tuple(vocab.site_line(site.id))) for site in vocab.sites.values()},
        good=frozenset(vocab.words.get("good_results", ())),
        bad=frozenset(vocab.words.get("bad_results", ())),
        dull=frozenset(key_of(word) for say in dull for word in words_of(say)),
        own_words=frozenset(lists["in_own_words"]),
        wanted_present=frozenset(lists["wanted_present"]),
        terms={term.replace("~", "").strip(): named for term, named in vocab.terms() if "~~" not in term},
        units=_units(vocab),
        numbers=_numbers(vocab),
        lists={name: [" ".join(words_of(say)) or say for say in says] for name, says in lists.items()},
    )


def _forms(vocab: "Vocabulary", lists: Mapping[str, tuple[str, ...]]) -> Iterator[tuple[str, Reading]]:
    for concept in vocab.concepts.values():
        for say in (*concept.say, *concept.misheard, _ASIDE.sub("", concept.label)):
            yield say, Reading("concept", concept.id)
        for result, form in concept.results.items():
            if result != "value":
                yield from ((say, Reading("result", concept.id, result)) for say in form.say)
                for say in (form.label, result.replace("_", " ")):
                    yield say, Reading("label", concept.id, result)
            yield from ((say, Reading("means", concept.id, result)) for say in form.means)
    for site in vocab.sites.values():
        for say in (*site.say, *site.plural, *site.misheard, _ASIDE.sub("", site.label)):
            yield say, Reading("site", site.id)
        yield from ((say, Reading("level", level.upper())) for say, level in site.levels.items())
    for cue in vocab.cues.get("sides", ()):
        side = cue.gives in ("left", "right", "both")
        yield from ((say, Reading("side", cue.gives) if side else Reading("mask")) for say in cue.say)
    for cue in vocab.cues.get("negation", ()):
        role: Role = "mask" if cue.gives == "pseudo" else "stop"
        if cue.gives == "not":
            role = "deny_before" if cue.dir == "backward" else "deny"
        yield from ((say, Reading(role)) for say in cue.say)
    for cue in vocab.cues.get("degree", ()):
        yield from ((say, Reading("degree", cue.gives)) for say in cue.say)
    for name, says in lists.items():
        group, _, what = name.partition(".")
        if group in ("kind", "sex", "by"):
            yield from ((say, Reading(group, what)) for say in says)  # type: ignore[arg-type]
    yield from ((say, Reading("first")) for say in lists["first_visit"])
    yield from ((say, Reading("last")) for say in lists["last_visit"])


def _units(vocab: "Vocabulary") -> dict[str, tuple[str, float, float]]:
    found = {}
    for cue in vocab.cues.get("units", ()):
        unit, factor, *offset = cue.gives.split()
        for say in cue.say:
            found[" ".join(words_of(say))] = (unit, float(factor), float(offset[0]) if offset else 0.0)
    return found | {"%": ("%", 1.0, 0.0)}


def _numbers(vocab: "Vocabulary") -> dict[str, float]:
    counted = (cue for cue in vocab.cues.get("numbers", ()) if cue.gives[:1] == "n")
    return {say: float(cue.gives[1:]) for cue in counted for say in cue.say}


def _own_lists() -> dict[str, tuple[str, ...]]:
    from pipeline.vocabulary import WordList, read_rows

    faults: list[str] = []
    lists = {row.id: row.say for _, row in read_rows(data_path("vocab") / LISTS, WordList, faults)}
    faults += [f"{LISTS}: the list {name!r} is missing" for name in _NEEDED if name not in lists]
    if faults:
        raise VocabularyError("The word lists of the search have faults:\n  " + "\n  ".join(faults))
    return lists
