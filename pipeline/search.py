"""A question as a colleague would ask it -> the stored lines that answer it.

The vocabulary is asked first: "tight left SCM" names a result, a side and a structure. What it does not know is
searched as words in what was said. How the question was understood is always part of the answer.

Negation-true: what is asked as found is never answered by what was found absent, nor the reverse. A finding's own
results decide where the vocabulary knows it; for bare words, the denials (vocab/cues/negation.yaml) before them.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from pipeline.config import Config
from pipeline.errors import NotFoundError, VocabularyError
from pipeline.model import Frozen
from pipeline.resources import data_path
from pipeline.store import Store
from pipeline.store.find import MARK_OFF, MARK_ON, Hit, Wanted, find_items, find_words
from pipeline.vocabulary import Concept, Vocabulary, WordList, load_vocabulary, read_rows

__all__ = ["Found", "Hit", "Search", "ask"]

LIMIT = 200
MAX_QUESTION = 500
_TOKEN = re.compile(r"[^\W_]+(?:'[^\W_]+)*")
_LEVEL = re.compile(r"[clst]1?[0-9]$")
_ASIDE = re.compile(r"\([^)]*\)")
_ENDS = re.compile(r"[.;?!]")

Role = Literal[
    "concept", "result", "label", "means", "site", "level", "side", "deny", "deny_before", "stop", "mask", "first"
]


class Found(Frozen):
    """The answer: how the question was understood, the hits (newest first), and how many there are in all."""

    question: str
    understood: tuple[str, ...]
    hits: tuple[Hit, ...]
    total: int


def ask(question: str, config: Config) -> Found:
    """Answer one question from the person's record. Raises NotFoundError where there is none yet, StoreError."""
    if not Store.exists(config.home):
        raise NotFoundError(f"no visit is on record yet in {config.home}; draft one first.")
    with Store(config.home) as store:
        return Search(load_vocabulary(personal=config.own_words)).ask(store, question)


@dataclass(frozen=True)
class _Reading:
    """What a form of the vocabulary may stand for in a question.

    ``means`` and ``label`` give a concept's result by themselves, ``result`` only once the concept is named.
    """

    role: Role
    id: str = ""
    result: str = ""


@dataclass
class _Term:
    """A form found in a question; ``pairs``: the (concept, result) it gives there."""

    text: str
    readings: tuple[_Reading, ...]
    pairs: tuple[tuple[str, str], ...] = ()
    denied: bool = False

    def of(self, *roles: Role) -> list[_Reading]:
        return [reading for reading in self.readings if reading.role in roles]

    def names(self, concept: str) -> bool:
        return any(reading.id == concept for reading in self.of("concept"))


@dataclass
class _Parsed:
    terms: list[_Term] = field(default_factory=list)
    rest: list[str] = field(default_factory=list)  # words that the vocabulary does not know


class Search:
    """The vocabulary compiled for questions. Build once, ask often."""

    def __init__(self, vocab: Vocabulary) -> None:
        """Raises VocabularyError where vocab/search.yaml has faults."""
        self._vocab = vocab
        own = _own_lists()
        self._forms: dict[tuple[str, ...], list[_Reading]] = defaultdict(list)
        self._good = vocab.listed("good_results")
        self._bad = vocab.listed("bad_results")
        shared = ("determiners", "fillers", "prepositions", "connectives")
        dull = (own["question_words"], *(vocab.words.get(name, ()) for name in shared))
        self._dull = {_key(token) for says in dull for say in says for token in _tokens(say)}
        self._open = frozenset(own["in_own_words"])
        self._fill_forms()
        for say in own["first_visit"]:
            self._add(say, _Reading("first"))
        self._denials = {form for form, readings in self._forms.items() if any(r.role == "deny" for r in readings)}
        self._longest = max(map(len, self._forms), default=1)

    def ask(self, store: Store, question: str, limit: int = LIMIT) -> Found:
        """Answer a question from the record. Raises StoreError where the record cannot be read."""
        question = " ".join(question[:MAX_QUESTION].split())
        wanted, how = self.understand(question)
        with store.reading() as connection:
            hits: list[Hit] = []
            total = 0
            if wanted is not None:
                hits, total = find_items(connection, wanted, limit)
                if not hits and wanted.words != (own := self._own_words(self._parse(question))):
                    hits, total = find_items(connection, replace(wanted, words=own), limit)
                    if hits:
                        how = (*how[:-1], f"no line has the words {wanted.words!r} too: shown without them")
            if not hits:
                words, denied = self._words(question)
                passages = find_words(connection, words, limit)
                hits = [passage.hit for passage in passages if self._denied_in(passage.marked) == denied]
                total = len(hits)
                if wanted is not None and hits:
                    how = (*how, f"no line of a note answers that: shown where the words {words!r} were said")
        return Found(question=question, understood=how, hits=tuple(hits), total=total)

    def understand(self, question: str) -> tuple[Wanted | None, tuple[str, ...]]:
        """What the store is asked for (None: the words alone), and the same in words for the person."""
        parsed = self._parse(question)
        results, how = self._results(parsed)
        sites = {r.id for term in parsed.terms for r in term.of("site")}
        levels = {r.id for term in parsed.terms for r in term.of("level")}
        sides = {r.id for term in parsed.terms for r in term.of("side")}
        named = bool(results) or bool(how)
        if not named and not sites and not levels:
            words, denied = self._words(question)
            return None, (f"the words {words!r}" + (", where they are denied" if denied else ""),)
        if not named:
            how.append("whatever was found")
        if sites:
            labels = ", ".join(self._vocab.sites[site].label for site in sorted(sites))
            how.append(f"where: {labels} and what belongs to it")
        if levels:
            how.append(f"level: {', '.join(sorted(levels))}")
        if sides:
            how.append(f"side: {', '.join(sorted(sides))}" + ("" if "both" in sides else " (or both)"))
        others = (word for word in parsed.rest if _key(word) not in self._dull)
        words = " ".join([self._own_words(parsed), *others]).strip()
        first = any(term.of("first") for term in parsed.terms)
        if first:
            how.append("at an infant's first visit")
        if words:
            how.append(f"with the words {words!r}")
        wanted = Wanted(
            results=results,
            any_concept=not named,
            sites=frozenset(self._below(sites)),
            sides=frozenset(sides | {"both"}) if sides else frozenset(),
            levels=frozenset(levels),
            words=words,
            first_visit=first,
        )
        return wanted, tuple(how)

    # ------------------------------------------------------------ compiled once

    def _fill_forms(self) -> None:
        for concept in self._vocab.concepts.values():
            for say in (*concept.say, *concept.misheard, _ASIDE.sub("", concept.label)):
                self._add(say, _Reading("concept", concept.id))
            for result, form in concept.results.items():
                if result != "value":
                    for say in form.say:
                        self._add(say, _Reading("result", concept.id, result))
                    for say in (form.label, result.replace("_", " ")):
                        self._add(say, _Reading("label", concept.id, result))
                for say in form.means:
                    self._add(say, _Reading("means", concept.id, result))
        for site in self._vocab.sites.values():
            for say in (*site.say, *site.plural, *site.misheard, _ASIDE.sub("", site.label)):
                self._add(say, _Reading("site", site.id))
            for say, level in site.levels.items():
                self._add(say, _Reading("level", level.upper()))
        for cue in self._vocab.cues.get("sides", ()):
            side = cue.gives in ("left", "right", "both")
            for say in cue.say:
                self._add(say, _Reading("side", cue.gives) if side else _Reading("mask"))
        for cue in self._vocab.cues.get("negation", ()):
            role: Role = "mask" if cue.gives == "pseudo" else "stop"
            if cue.gives == "not":
                role = "deny_before" if cue.dir == "backward" else "deny"
            for say in cue.say:
                self._add(say, _Reading(role))

    def _add(self, form: str, reading: _Reading) -> None:
        key = tuple(_key(token) for token in _tokens(form))
        if key and reading not in self._forms[key]:
            self._forms[key].append(reading)

    # ------------------------------------------------------------ one question

    def _parse(self, text: str) -> _Parsed:
        """Longest forms first, from left to right; denials reach forward to the next stop, or back over what was."""
        parsed = _Parsed()
        tokens = _tokens(text)
        named = self._named(tokens)
        cut = list(self._cut(tokens, named))
        if still := frozenset(r.id for _, term in cut if term for r in term.of("concept")) ^ named:
            named -= still
            cut = list(self._cut(tokens, named))
        near = self._near({reading.id for _, term in cut if term for reading in term.of("site")})
        denied = False
        for part, term in cut:
            if term is not None:
                term.pairs = tuple(self._pairs(term, named, near))
            if term is None or not (term.pairs or any(r.role != "result" for r in term.readings)):
                parsed.rest.append(part)
                continue
            if term.of("stop"):
                denied = False
            elif term.of("deny_before") and not term.pairs:
                for before in parsed.terms:
                    before.denied = True
            elif term.of("deny") and not term.pairs:
                denied = True
            term.denied = denied
            parsed.terms.append(term)
        return parsed

    def _own_words(self, parsed: _Parsed) -> str:
        """The words that must have been said: of concepts whose line is in the speaker's words, those asked with."""
        return " ".join(term.text for term in parsed.terms if any(r.id in self._open for r in term.of("concept")))

    def _words(self, question: str) -> tuple[str, bool]:
        """What to look for in what was said, and whether it is to stand under a denial there."""
        kept: list[str] = []
        denied = False
        for token in _tokens(question):
            if any(reading.role == "deny" for reading in self._forms.get((_key(token),), ())):
                denied = True
            elif _key(token) not in self._dull:
                kept.append(token)
        return " ".join(kept) or question, denied

    def _pairs(self, term: _Term, named: frozenset[str], near: set[str]) -> Iterator[tuple[str, str]]:
        """A result word gives the result of the concepts named, where it can; else what it means by itself."""
        naming = {reading.id for reading in term.of("concept")}
        readings = [r for r in term.of("result", "label", "means") if r.id not in naming or r.role == "means"]
        own = [(r.id, r.result) for r in readings if r.id in named]
        if not own and not naming:
            results = {r.result for r in readings}
            own = [(name, r) for name in named for r in results if r in self._vocab.concepts[name].results]
        alone = [(r.id, r.result) for r in readings if r.role != "result" and self._fits(r.id, near)]
        yield from dict.fromkeys(own or alone)

    def _named(self, tokens: Sequence[str]) -> frozenset[str]:
        """Every concept that some words of a question may name."""
        keys = tuple(map(_key, tokens))
        parts = (keys[a:b] for a in range(len(keys)) for b in range(a + 1, min(a + self._longest, len(keys)) + 1))
        return frozenset(r.id for part in parts for r in self._forms.get(part, ()) if r.role == "concept")

    def _cut(self, tokens: Sequence[str], named: frozenset[str]) -> Iterator[tuple[str, _Term | None]]:
        """The longest forms that overlap none longer, in order, with the words between them singly.

        A form that is nothing but a result in hand counts where a concept is named that can have it. Of equally long
        ones that overlap the one that does not begin with a denial is taken, then the earlier.
        """
        possible = {result for name in named for result in self._vocab.concepts[name].results}
        keys = tuple(map(_key, tokens))
        found: list[tuple[int, bool, int, tuple[_Reading, ...]]] = []
        for at in range(len(tokens)):
            for size in range(1, min(self._longest, len(tokens) - at) + 1):
                readings = tuple(self._forms.get(keys[at : at + size], ()))
                if not readings and size == 1 and _LEVEL.match(tokens[at]):
                    readings = (_Reading("level", tokens[at].upper()),)
                if any(r.role != "result" or r.result in possible for r in readings):
                    found.append((-size, keys[at : at + 1] in self._denials, at, readings))
        taken: dict[int, tuple[int, tuple[_Reading, ...]]] = {}
        free = set(range(len(tokens)))
        for size, _, at, readings in sorted(found, key=lambda f: f[:3]):
            if free.issuperset(range(at, at - size)):
                free.difference_update(range(at, at - size))
                taken[at] = (at - size, readings)
        for at in range(len(tokens)):
            if at in taken:
                end, readings = taken[at]
                text = " ".join(tokens[at:end])
                yield text, _Term(text, readings)
            elif at in free:
                yield tokens[at], None

    def _results(self, parsed: _Parsed) -> tuple[dict[str, frozenset[str] | None], list[str]]:
        """By concept the results asked for, and the same in words."""
        asked: dict[str, set[str] | None] = {}
        named: dict[str, bool] = {}
        for term in parsed.terms:
            for reading in term.of("concept"):
                named[reading.id] = named.get(reading.id, False) or term.denied
        # What names a concept may mean a result of it too; a result said beside the name goes first.
        for by_name in (False, True):
            given = [(name, result, term) for term in parsed.terms for name, result in term.pairs]
            given = [g for g in given if g[2].names(g[0]) is by_name and not (by_name and g[0] in asked)]
            for name, result, term in given:
                concept = self._vocab.concepts[name]
                denied = term.denied or named.get(name, False)
                _widen(asked, concept, self._turned(concept, result) if denied else {result})
        for name, denied in named.items():
            if name not in asked:
                _widen(asked, self._vocab.concepts[name], self._bare(self._vocab.concepts[name], denied))
        return {name: None if r is None else frozenset(r) for name, r in asked.items()}, list(self._told(asked))

    def _near(self, sites: set[str]) -> set[str]:
        """The structures named, what belongs to them, and what they belong to."""
        return {*self._below(sites), *(above for site in sites for above in self._vocab.site_line(site))}

    def _bare(self, concept: Concept, denied: bool) -> set[str] | None:
        """A concept named without a result: as found, as denied, or whichever where naming it says neither."""
        if denied:
            return {concept.negated} if concept.negated else self._of(concept, self._good)
        return {concept.stated} if concept.stated else None

    def _turned(self, concept: Concept, result: str) -> set[str]:
        """The results that deny this one."""
        if result == concept.stated and concept.negated:
            return {concept.negated}
        if result == concept.negated and concept.stated:
            return {concept.stated}
        others = self._of(concept, self._good if result in self._bad else self._bad if result in self._good else ())
        return others or ({concept.negated} - {None, result} if concept.negated else set())

    def _fits(self, concept: str, near: set[str]) -> bool:
        home = self._vocab.concepts[concept].site
        return not near or home is None or home in near

    @staticmethod
    def _of(concept: Concept, results: Iterable[str]) -> set[str]:
        return {result for result in results if result in concept.results}

    def _told(self, asked: dict[str, set[str] | None]) -> Iterator[str]:
        groups: dict[str, list[str]] = defaultdict(list)
        for name, results in asked.items():
            concept = self._vocab.concepts[name]
            labels = {concept.results[r].label if r in concept.results else r for r in results or ()}
            as_words = "any result" if results is None else " or ".join(sorted(labels)) or "a result it cannot have"
            groups[as_words].append(concept.label)
        for as_words, names in groups.items():
            yield f"{', '.join(names) if len(names) <= 3 else f'anything ({len(names)} kinds)'}: {as_words}"

    def _below(self, sites: set[str]) -> Iterator[str]:
        for site in self._vocab.sites:
            if not sites.isdisjoint(self._vocab.site_line(site)):
                yield site

    def _denied_in(self, marked: str) -> bool:
        """Whether the found words of a passage stand under a denial in their own sentence."""
        for sentence in _ENDS.split(marked):
            denied = False
            for part in re.split(f"({MARK_ON}[^{MARK_OFF}]*{MARK_OFF})", sentence):
                if part.startswith(MARK_ON):
                    if denied:
                        return True
                    continue
                for _, term in self._cut(_tokens(part), frozenset()):
                    if term is not None and term.of("stop"):
                        denied = False
                    elif term is not None and term.of("deny"):
                        denied = True
        return False


def _own_lists() -> dict[str, tuple[str, ...]]:
    faults: list[str] = []
    lists = {row.id: row.say for _, row in read_rows(data_path("vocab/search.yaml"), WordList, faults)}
    missing = {"question_words", "first_visit", "in_own_words"} - lists.keys()
    faults += [f"search.yaml: the list {name!r} is missing" for name in sorted(missing)]
    if faults:
        raise VocabularyError("The word lists of the search have faults:\n  " + "\n  ".join(faults))
    return lists


def _widen(asked: dict[str, set[str] | None], concept: Concept, results: set[str] | None) -> None:
    before = asked.get(concept.id, set())
    asked[concept.id] = None if before is None or results is None else before | results


def _tokens(text: str) -> list[str]:
    return _TOKEN.findall(text.lower().replace("’", "'"))


def _key(token: str) -> str:
    """A token without its plural s: "hips" meets "hip"."""
    return token[:-1] if len(token) > 3 and token.endswith("s") and not token.endswith(("ss", "us", "is")) else token
