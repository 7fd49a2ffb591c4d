"""Phrases compiled once: which vocabulary forms stand where in a stream of tokens.

Two layers. *Terms* (concepts, results, sites) are looked for in the content stream, from which fillers, degree words
and determiners are taken out ("opens out really well" meets "opens out well"). *Cues* (acts, sides, negations ...)
are looked for in the full stream without fillers. Longest match wins inside a layer.

In a phrase ``~`` stands for a determiner or nothing, ``~~`` for up to three words, ``^`` at its start for the
beginning of a clause, ``$`` at its end for the end of one.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from pipeline.extract.tokens import Token, Tokeniser
from pipeline.vocabulary import Vocabulary

GAP = "~~"
GAP_WORDS = 3
WORD_FOR_WORD = ("acts", "answers", "clauses", "repair", "tags")  # "going to" announces, "goes to" does not
P = TypeVar("P")


@dataclass(frozen=True, slots=True)
class Hit(Generic[P]):
    """A phrase found: token positions ``a <= k < b``, the positions of its fixed words, and what it stands for."""

    a: int
    b: int
    fixed: tuple[int, ...]
    payloads: tuple[P, ...]


@dataclass(frozen=True, slots=True)
class _Phrase(Generic[P]):
    steps: tuple[str, ...]
    payload: P
    at_start: bool
    at_end: bool


class PhraseIndex(Generic[P]):
    """Find many phrases in one pass over a stream of stems (of whole words with ``exact``).

    ``over_commas``: a phrase may reach over a comma ("no, wait"); terms do not.
    """

    def __init__(self, *, exact: bool = False, over_commas: bool = False) -> None:
        self._by_first: dict[str, list[_Phrase[P]]] = defaultdict(list)
        self._exact = exact
        self._over_commas = over_commas

    def add(self, steps: Sequence[str], payload: P, *, at_start: bool = False, at_end: bool = False) -> None:
        """Add a phrase of stems and gaps; it neither begins nor ends with a gap."""
        if steps and GAP not in (steps[0], steps[-1]):
            self._by_first[steps[0]].append(_Phrase(tuple(steps), payload, at_start, at_end))

    def find(
        self,
        stream: Sequence[int],
        tokens: Sequence[Token],
        *,
        starts: frozenset[int] = frozenset(),
        ends: frozenset[int] = frozenset(),
    ) -> list[Hit[P]]:
        """All longest hits in the tokens at positions ``stream``, in order. ``starts``/``ends``: clause borders."""
        stems = [tokens[k].text if self._exact else tokens[k].stem for k in stream]
        found: list[tuple[int, tuple[int, ...], P]] = []
        for at, stem in enumerate(stems):
            for phrase in self._by_first.get(stem, ()):
                if phrase.at_start and stream[at] not in starts:
                    continue
                fixed = _walk(phrase.steps, stems, at, stream, tokens, any_stop=not self._over_commas)
                if fixed and not (phrase.at_end and stream[fixed[-1]] not in ends):
                    found.append((len(fixed), tuple(stream[f] for f in fixed), phrase.payload))
        return _longest(found)


def _walk(
    steps: tuple[str, ...],
    stems: list[str],
    at: int,
    stream: Sequence[int],
    tokens: Sequence[Token],
    *,
    any_stop: bool = False,
) -> list[int] | None:
    """Positions (in the stream) of the fixed words of a phrase that begins at ``at``; gaps take as little as possible.

    A phrase does not reach over a full stop, nor a gap over a comma.
    """
    fixed, k, gap = [at], at, False
    for step in steps[1:]:
        if step == GAP:
            gap = True
            continue
        reach = GAP_WORDS + 1 if gap else 1
        for ahead in range(k + 1, min(k + 1 + reach, len(stems))):
            stop = tokens[stream[ahead - 1]].stop
            if stop in (".", "?") or ((gap or any_stop) and stop):
                return None
            if stems[ahead] == step:
                k = ahead
                break
        else:
            return None
        fixed.append(k)
        gap = False
    return fixed


def _longest(found: list[tuple[int, tuple[int, ...], P]]) -> list[Hit[P]]:
    """Keep the longest of overlapping hits (the earlier of equals); equal positions share one hit."""
    together: dict[tuple[int, ...], list[P]] = defaultdict(list)
    for _, fixed, payload in found:
        together[fixed].append(payload)
    taken: set[int] = set()
    hits = []
    for fixed in sorted(together, key=lambda f: (-len(f), f)):
        if taken.isdisjoint(fixed):
            taken.update(fixed)
            hits.append(Hit(fixed[0], fixed[-1] + 1, fixed, tuple(together[fixed])))
    return sorted(hits, key=lambda h: (h.a, h.b))


@dataclass(frozen=True, slots=True)
class Reading:
    """What a term may stand for. ``role``: say (names a concept), result (of a named concept), means (both), site."""

    role: str
    concept: str = ""
    result: str = ""
    site: str = ""
    level: str = ""
    plural: bool = False
    singular: str = ""


@dataclass(frozen=True, slots=True)
class CueReading:
    """A cue's category (the file it stands in), the value it gives, and where its scope lies."""

    category: str
    gives: str
    dir: str


@dataclass
class Lexicon:
    """The whole vocabulary compiled for matching."""

    vocab: Vocabulary
    tokeniser: Tokeniser
    terms: PhraseIndex[Reading] = field(default_factory=PhraseIndex)
    results: PhraseIndex[Reading] = field(default_factory=PhraseIndex)
    sites: PhraseIndex[Reading] = field(default_factory=PhraseIndex)
    cues: dict[str, PhraseIndex[CueReading]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        words = self.vocab.words
        self.determiners = frozenset(words.get("determiners", ()))
        self._little = frozenset(self.tokeniser.stem(w) for w in words.get("little_words", ()))
        self.fillers = _phrases(words.get("fillers", ()), self.tokeniser)
        self.degrees = _phrases(
            [(say, cue.gives) for cue in self.vocab.cues.get("degree", ()) for say in cue.say], self.tokeniser
        )
        for say in words.get("no_term", ()):
            self.terms.add(self._steps(say, drop=False), Reading("mask"))
        for concept in self.vocab.concepts.values():
            for say in concept.say:
                self._term(say, Reading("say", concept.id))
            for result, form in concept.results.items():
                for say in form.say:
                    self._term(say, Reading("result", concept.id, result))
                for means in form.means:
                    self._term(means, Reading("means", concept.id, result))
        for site in self.vocab.sites.values():
            for say in site.say:
                self._site(say, Reading("site", site=site.id, singular=self.tokeniser.phrase(say)[-1]))
            for say in site.plural:
                self._site(say, Reading("site", site=site.id, plural=True))
            for say, level in site.levels.items():
                self._site(say, Reading("site", site=site.id, level=level, singular=say))
        for category, cues in self.vocab.cues.items():
            exact = category in WORD_FOR_WORD
            index: PhraseIndex[CueReading] = PhraseIndex(exact=exact, over_commas=True)
            for cue in cues:
                for say in cue.say:
                    text = say.strip("^$ ")
                    index.add(
                        self._words(text) if exact else self._steps(text, drop=False),
                        CueReading(category, cue.gives, cue.dir),
                        at_start=say.startswith("^"),
                        at_end=say.endswith("$"),
                    )
            self.cues[category] = index

    def _term(self, say: str, reading: Reading) -> None:
        """Add a form of a concept, unless too little is left of it in the stream of terms.

        "just right" without "just" is a side word, "eyes still" without "still" a structure.
        """
        steps = self._steps(say, drop=True)
        bare = [
            w for w in self.tokeniser.of_text(say.replace(GAP, " ").replace("~", " ")) if w.text not in self.determiners
        ]
        shrunk = len(steps) == 1 and len(bare) > 1
        if not shrunk and not set(steps) - {GAP} <= self._little:
            (self.results if reading.role == "result" else self.terms).add(steps, reading)

    def _site(self, say: str, reading: Reading) -> None:
        steps = self._steps(say, drop=True)
        self.terms.add(steps, reading)
        self.sites.add(steps, reading)

    def _steps(self, text: str, *, drop: bool) -> list[str]:
        """Stems and gaps of a phrase; with ``drop``, without what the content stream leaves out."""
        steps: list[str] = []
        for k, part in enumerate(f" {text} ".split(f" {GAP} ")):
            tokens = self.tokeniser.of_text(part.replace(" ~ ", " "))
            keep = self.content(tokens) if drop else range(len(tokens))
            steps += [GAP] * (k > 0) + [tokens[at].stem for at in keep]
        return steps

    def _words(self, text: str) -> list[str]:
        """Whole words and gaps of a phrase."""
        parts = f" {text} ".split(f" {GAP} ")
        return [w for k, part in enumerate(parts) for w in [GAP] * (k > 0) + self.tokeniser.phrase(part)]

    def spoken(self, tokens: Sequence[Token]) -> list[int]:
        """Positions without fillers: the stream in which cues are looked for."""
        every = range(len(tokens))
        out = {at for hit in self.fillers.find(every, tokens) for at in hit.fixed}
        return [at for at in every if at not in out]

    def content(self, tokens: Sequence[Token], degrees: Sequence[Hit[str]] | None = None) -> list[int]:
        """Positions without fillers, degree words, determiners and clitics: the stream of terms."""
        stream = self.spoken(tokens)
        found = self.degrees.find(stream, tokens) if degrees is None else degrees
        out = {at for hit in found for at in hit.fixed}
        return [
            at for at in stream if at not in out and tokens[at].text not in self.determiners and tokens[at].text != "'s"
        ]


def _phrases(entries: Iterable[str | tuple[str, str]], tokeniser: Tokeniser) -> PhraseIndex[str]:
    index: PhraseIndex[str] = PhraseIndex(exact=True)  # "like" is a filler, "likes" is not
    for entry in entries:
        say, gives = entry if isinstance(entry, tuple) else (entry, "")
        index.add(tokeniser.phrase(say), gives)
    return index
