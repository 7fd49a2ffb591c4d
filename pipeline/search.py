"""A question as a colleague would ask it -> the stored lines that answer it.

The vocabulary is asked first: "tight left SCM" names a result, a side and a structure. What it does not know is
searched as words in what was said. How the question was understood is always part of the answer.

Negation-true: what is asked as found is never answered by what was found absent, nor the reverse. A finding's own
results decide where the vocabulary knows it; for bare words, the denials (vocab/cues/negation.yaml) before them.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Literal

from pipeline.model import Frozen
from pipeline.store import Store
from pipeline.store.find import MARK_OFF, MARK_ON, Hit, Wanted, find_items, find_words
from pipeline.vocabulary import Concept, Vocabulary

LIMIT = 200
MAX_QUESTION = 500
_TOKEN = re.compile(r"[^\W_]+(?:'[^\W_]+)*")
_LEVEL = re.compile(r"[clst]1?[0-9]$")
_ASIDE = re.compile(r"\([^)]*\)")
_ENDS = re.compile(r"[.;?!]")

Role = Literal["concept", "result", "means", "site", "level", "side", "deny", "deny_before", "stop", "mask"]


class Found(Frozen):
    """The answer: how the question was understood, the hits (newest first), and how many there are in all."""

    question: str
    understood: tuple[str, ...]
    hits: tuple[Hit, ...]
    total: int


@dataclass(frozen=True)
class _Reading:
    """What a form of the vocabulary may stand for in a question."""

    role: Role
    id: str = ""
    result: str = ""


@dataclass
class _Term:
    readings: list[_Reading]
    text: str
    denied: bool = False

    def of(self, role: Role) -> list[_Reading]:
        return [reading for reading in self.readings if reading.role == role]


@dataclass
class _Parsed:
    terms: list[_Term] = field(default_factory=list)
    rest: list[str] = field(default_factory=list)  # words that the vocabulary does not know
    rest_denied: bool = False


class Search:
    """The vocabulary compiled for questions. Build once, ask often."""

    def __init__(self, vocab: Vocabulary) -> None:
        self._vocab = vocab
        self._forms: dict[tuple[str, ...], list[_Reading]] = defaultdict(list)
        self._good = frozenset(vocab.words.get("good_results", ()))
        self._bad = frozenset(vocab.words.get("bad_results", ()))
        lists = ("determiners", "fillers", "prepositions", "connectives", "question_words")
        self._dull = {_key(token) for name in lists for say in vocab.words.get(name, ()) for token in _tokens(say)}
        self._fill_forms()
        self._longest = max(map(len, self._forms), default=1)

    def ask(self, store: Store, question: str, limit: int = LIMIT) -> Found:
        """Answer a question from the record. Raises StoreError where the record cannot be read."""
        question = " ".join(question[:MAX_QUESTION].split())
        parsed = self._parse(question)
        wanted, how = self.understand(question)
        with store.reading() as connection:
            if wanted is None:
                passages = find_words(connection, " ".join(parsed.rest) or question, limit)
                hits = [p.hit for p in passages if self._denied_in(p.marked) == parsed.rest_denied]
                return Found(question=question, understood=how, hits=tuple(hits), total=len(hits))
            hits, total = find_items(connection, wanted, limit)
            if not hits and wanted.words:
                hits, total = find_items(connection, _without_words(wanted), limit)
                if hits:
                    how = (*how[:-1], f"no line has the words {wanted.words!r} too: shown without them")
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
            words = " ".join(parsed.rest) or question
            return None, (f"the words {words!r}" + (", where they are denied" if parsed.rest_denied else ""),)
        if not named:
            how.append("whatever was found")
        if sites:
            labels = ", ".join(self._vocab.sites[site].label for site in sorted(sites))
            how.append(f"where: {labels} and what belongs to it")
        if levels:
            how.append(f"level: {', '.join(sorted(levels))}")
        if sides:
            how.append(f"side: {', '.join(sorted(sides))}" + ("" if "both" in sides else " (or both)"))
        words = " ".join(word for word in parsed.rest if _key(word) not in self._dull)
        if words:
            how.append(f"with the words {words!r}")
        wanted = Wanted(
            results=results,
            any_concept=not named,
            sites=frozenset(self._below(sites)),
            sides=frozenset(sides | {"both"}) if sides else frozenset(),
            levels=frozenset(levels),
            words=words,
        )
        return wanted, tuple(how)

    # ------------------------------------------------------------ compiled once

    def _fill_forms(self) -> None:
        for concept in self._vocab.concepts.values():
            for say in (*concept.say, *concept.misheard, _ASIDE.sub("", concept.label)):
                self._add(say, _Reading("concept", concept.id))
            for result, form in concept.results.items():
                if result != "value":
                    for say in (*form.say, form.label, result.replace("_", " ")):
                        self._add(say, _Reading("result", concept.id, result))
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
        cut = list(self._cut(_tokens(text)))
        concepts = [r.id for _, term in cut if term for r in (*term.of("concept"), *term.of("means"))]
        possible = {result for concept in concepts for result in self._vocab.concepts[concept].results}
        denied = False
        for part, term in cut:
            if term is None:
                parsed.rest.append(part)
                parsed.rest_denied |= denied
                continue
            if term.of("stop"):
                denied = False
            elif term.of("deny_before"):
                parsed.rest_denied = True
                for before in parsed.terms:
                    before.denied = True
            elif term.of("deny"):
                if concepts and possible.isdisjoint(reading.result for reading in term.of("result")):
                    term.readings = []  # "absent", where it is no result of what is named, denies like "no"
                denied |= not term.of("result")
            term.denied = denied
            parsed.terms.append(term)
        return parsed

    def _cut(self, tokens: Sequence[str]) -> Iterator[tuple[str, _Term | None]]:
        at = 0
        while at < len(tokens):
            for size in range(min(self._longest, len(tokens) - at), 0, -1):
                part = tokens[at : at + size]
                key = tuple(map(_key, part))
                readings = self._forms.get(key, [])
                if not readings and size == 1 and _LEVEL.match(part[0]):
                    readings = [_Reading("level", part[0].upper())]
                if readings:
                    yield " ".join(part), _Term(list(readings), " ".join(part))
                    at += size
                    break
            else:
                yield tokens[at], None
                at += 1

    def _results(self, parsed: _Parsed) -> tuple[dict[str, frozenset[str] | None], list[str]]:
        """By concept the results asked for, and the same in words."""
        asked: dict[str, set[str] | None] = {}
        named: dict[str, bool] = {}
        for term in parsed.terms:
            for reading in (*term.of("concept"), *term.of("means")):
                named[reading.id] = named.get(reading.id, False) or term.denied
        for concept, result, denied in self._spoken_results(parsed, named):
            _widen(asked, concept, self._turned(concept, result) if denied else {result})
        for term in parsed.terms:
            for reading in term.of("means"):
                concept = self._vocab.concepts[reading.id]
                result = reading.result
                _widen(asked, concept, self._turned(concept, result) if term.denied else {result})
        for name, denied in named.items():
            if name not in asked:
                _widen(asked, self._vocab.concepts[name], self._bare(self._vocab.concepts[name], denied))
        return {name: None if r is None else frozenset(r) for name, r in asked.items()}, list(self._told(asked))

    def _spoken_results(self, parsed: _Parsed, named: dict[str, bool]) -> Iterator[tuple[Concept, str, bool]]:
        """Result words, each with the named concepts it can belong to, else with all that the vocabulary gives it."""
        for term in parsed.terms:
            readings = term.of("result")
            results = {reading.result for reading in readings}
            own = [(r.id, r.result) for r in readings if r.id in named]
            own = own or [(name, r) for name in named for r in results if r in self._vocab.concepts[name].results]
            for name, result in own or [(r.id, r.result) for r in readings]:
                yield self._vocab.concepts[name], result, term.denied or named.get(name, False)

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
                for _, term in self._cut(_tokens(part)):
                    if term is not None and term.of("stop"):
                        denied = False
                    elif term is not None and term.of("deny"):
                        denied = True
        return False


def _widen(asked: dict[str, set[str] | None], concept: Concept, results: set[str] | None) -> None:
    before = asked.get(concept.id, set())
    asked[concept.id] = None if before is None or results is None else before | results


def _without_words(wanted: Wanted) -> Wanted:
    return Wanted(wanted.results, wanted.any_concept, wanted.sites, wanted.sides, wanted.levels)


def _tokens(text: str) -> list[str]:
    return _TOKEN.findall(text.lower().replace("’", "'"))


def _key(token: str) -> str:
    """A token without its plural s: "hips" meets "hip"."""
    return token[:-1] if len(token) > 3 and token.endswith("s") and not token.endswith(("ss", "us", "is")) else token
