"""Phrases compiled once: which vocabulary forms stand where in a stream of tokens.

Two layers. *Terms* (concepts, results, sites) are looked for in the content stream, from which fillers, degree words
and determiners are taken out ("opens out really well" meets "opens out well"). *Cues* (acts, sides, negations ...)
are looked for in the full stream without fillers. Longest match wins inside a layer.

In a phrase ``~`` stands for a determiner or nothing, ``~~`` for up to three words, ``^`` at its start for the
beginning of a clause, ``$`` at its end for the end of one.
"""

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import astuple, dataclass, field
from typing import Any, Generic, TypeVar

from pipeline.extract.splitting import rules_state
from pipeline.extract.tokens import Token, Tokeniser
from pipeline.kept import kept, program_files, state_of
from pipeline.vocabulary import Vocabulary

GAP = "~~"
GAP_WORDS = 3
WORD_FOR_WORD = ("acts", "answers", "clauses", "negation", "repair", "tags")  # "going to" announces, "goes to" does not
ALONE = ("answers", "clauses", "negation")  # looked for by themselves, fillers included; the others in two passes
_MADE_BY = ("extract/lexicon.py", "extract/tokens.py", "extract/splitting.py")
P = TypeVar("P")
Phrase = tuple[tuple[str, ...], P, bool, bool]  # its steps after the first, what it stands for, at a start, at an end


@dataclass(frozen=True, slots=True)
class Hit(Generic[P]):
    """A phrase found: token positions ``a <= k < b``, the positions of its fixed words, and what it stands for."""

    a: int
    b: int
    fixed: tuple[int, ...]
    payloads: tuple[P, ...]


class _Node(Generic[P]):
    """A step of phrases that begin alike: what may follow, what may follow a gap, and the phrases that end here."""

    __slots__ = ("ends", "gap", "next")

    def __init__(self) -> None:
        self.next: dict[str, _Node[P]] = {}
        self.gap: _Node[P] | None = None
        self.ends: list[tuple[P, bool, bool]] = []


class PhraseIndex(Generic[P]):
    """Find many phrases in one pass over a stream of stems (of whole words with ``exact``).

    ``over_commas``: a phrase may reach over a comma ("no, wait"); terms do not. No phrase reaches over a full stop, and
    no gap over any stop.
    """

    def __init__(self, *, exact: bool = False, over_commas: bool = False) -> None:
        self.phrases: dict[str, list[Phrase[P]]] = {}
        self._nodes: dict[str, _Node[P]] = {}  # of the first words met so far
        self.exact = exact
        self.over_commas = over_commas

    def add(self, steps: Sequence[str], payload: P, *, at_start: bool = False, at_end: bool = False) -> None:
        """Add a phrase of stems and gaps; one that is empty, or begins or ends with a gap, is left out."""
        if not steps or GAP in (steps[0], steps[-1]):
            return
        self.phrases.setdefault(steps[0], []).append((tuple(steps[1:]), payload, at_start, at_end))
        self._nodes.pop(steps[0], None)

    def _node(self, first: str) -> _Node[P]:
        """The step of the phrases that begin with a word."""
        begin: _Node[P] = _Node()
        for steps, payload, at_start, at_end in self.phrases[first]:
            node = begin
            for step in steps:
                if step == GAP:
                    node.gap = node.gap or _Node()
                    node = node.gap
                else:
                    node = node.next.setdefault(step, _Node())
            node.ends.append((payload, at_start, at_end))
        self._nodes[first] = begin
        return begin

    def find(
        self,
        stream: Sequence[int],
        tokens: Sequence[Token],
        *,
        starts: frozenset[int] = frozenset(),
        ends: frozenset[int] = frozenset(),
    ) -> list[Hit[P]]:
        """All longest hits in the tokens at positions ``stream``, in order. ``starts``/``ends``: clause borders."""
        return longest(self.matches(stream, tokens, starts=starts, ends=ends))

    def matches(
        self,
        stream: Sequence[int],
        tokens: Sequence[Token],
        *,
        starts: frozenset[int] = frozenset(),
        ends: frozenset[int] = frozenset(),
    ) -> dict[tuple[int, ...], list[P]]:
        """All hits, overlapping ones too: what stands at the positions of their fixed words."""
        phrases, nodes = self.phrases, self._nodes
        keys = [tokens[k].text for k in stream] if self.exact else [tokens[k].stem for k in stream]
        if phrases.keys().isdisjoint(keys):
            return {}
        found: dict[tuple[int, ...], list[P]] = {}
        for at, key in enumerate(keys):
            if key not in phrases:
                continue
            first = nodes.get(key) or self._node(key)
            if not first.ends and first.gap is None and (at + 1 == len(keys) or keys[at + 1] not in first.next):
                continue  # most beginnings go no further
            paths: list[tuple[_Node[P], tuple[int, ...]]] = [(first, (at,))]
            while paths:
                node, fixed = paths.pop()
                for payload, at_start, at_end in node.ends:
                    if at_start and stream[at] not in starts:
                        continue
                    if at_end and stream[fixed[-1]] not in ends:
                        continue
                    found.setdefault(tuple(stream[f] for f in fixed), []).append(payload)
                paths += self._onward(node, fixed, keys, stream, tokens)
        return found

    def _onward(
        self,
        node: _Node[P],
        fixed: tuple[int, ...],
        keys: Sequence[str],
        stream: Sequence[int],
        tokens: Sequence[Token],
    ) -> list[tuple[_Node[P], tuple[int, ...]]]:
        """The next fixed words after the last of ``fixed``: directly, or the nearest of each kind within a gap."""
        last = fixed[-1]
        stop = tokens[stream[last]].stop
        if last + 1 >= len(keys) or stop in (".", "?") or (stop and not self.over_commas):
            return []
        onward = []
        following = node.next.get(keys[last + 1])
        if following is not None:
            onward.append((following, (*fixed, last + 1)))
        if node.gap is not None and not stop:
            seen: set[str] = set()
            for ahead in range(last + 1, min(last + 2 + GAP_WORDS, len(keys))):
                following = node.gap.next.get(keys[ahead])
                if following is not None and keys[ahead] not in seen:
                    seen.add(keys[ahead])
                    onward.append((following, (*fixed, ahead)))
                if tokens[stream[ahead]].stop:
                    break
        return onward


def longest(together: dict[tuple[int, ...], list[P]]) -> list[Hit[P]]:
    """Keep the longest of overlapping hits (the earlier of equals); equal positions share one hit."""
    if len(together) == 1:
        ((fixed, payloads),) = together.items()
        return [Hit(fixed[0], fixed[-1] + 1, fixed, tuple(payloads))]
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


Layers = tuple[PhraseIndex[Reading], PhraseIndex[Reading], PhraseIndex[Reading], dict[str, PhraseIndex[CueReading]]]


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
        self._bare_words = frozenset(self.tokeniser.stem(w) for w in words.get("bare_words", ()))
        self._little = frozenset(self.tokeniser.stem(w) for w in words.get("little_words", ()))
        adverbs = words.get("adverbs", ())
        self.adverbs = _phrases(adverbs, self.tokeniser)
        dropped = (
            *words.get("fillers", ()),
            *adverbs,
            *(say for cue in self.vocab.cues.get("degree", ()) for say in cue.say),
        )
        self._droppable = {"'s", *self.determiners, *(w for say in dropped for w in self.tokeniser.phrase(say)[:1])}
        self.fillers = _phrases(words.get("fillers", ()), self.tokeniser)
        self.degrees = _phrases(
            [(say, cue.gives) for cue in self.vocab.cues.get("degree", ()) for say in cue.say], self.tokeniser
        )
        state = state_of(self.vocab.hash, rules_state(), *program_files(*_MADE_BY))
        self.terms, self.results, self.sites, self.cues = kept("lexicon", state, self._compiled, _pack, _unpack)

    def _compiled(self) -> "Layers":
        """All phrases, from the words of the vocabulary."""
        for say in self.vocab.words.get("no_term", ()):
            self.terms.add(self._steps(say, drop=False), Reading("mask"))
        self._told: dict[tuple[str, ...], list[Reading]] = {}
        for concept in self.vocab.concepts.values():
            for say in concept.say:
                self._term(say, Reading("say", concept.id))
            for result, form in concept.results.items():
                for say in form.say:
                    self._term(say, Reading("result", concept.id, result))
                for means in form.means:
                    self._term(means, Reading("means", concept.id, result))
        self._copulas()
        for site in self.vocab.sites.values():
            for say in site.say:
                self._site(say, Reading("site", site=site.id, singular=self.tokeniser.phrase(say)[-1]))
            for say in site.plural:
                self._site(say, Reading("site", site=site.id, plural=True))
            for say, level in site.levels.items():
                self._site(say, Reading("site", site=site.id, level=level, singular=say))
        for category, cues in self.vocab.cues.items():
            if category in ("commands", "degree", "forms", "numbers", "units"):
                continue
            exact = category in WORD_FOR_WORD
            group = category if category in ALONE else "exact" if exact else "stems"
            index = self.cues.setdefault(group, PhraseIndex(exact=exact, over_commas=True))
            for cue in cues:
                for say in cue.say:
                    text = say.strip("^$ ")
                    index.add(
                        self._words(text) if exact else self._steps(text, drop=False),
                        CueReading(category, cue.gives, cue.dir),
                        at_start=say.startswith("^"),
                        at_end=say.endswith("$"),
                    )
        return self.terms, self.results, self.sites, self.cues

    def _term(self, say: str, reading: Reading) -> None:
        """Add a form of a concept, unless too little is left of it in the stream of terms.

        "just right" without "just" is a side word, "eyes still" without "still" a structure.
        """
        steps = self._steps(say, drop=True)
        shrunk = len(steps) == 1 and len([w for w in self.tokeniser.phrase(say) if w not in self.determiners]) > 1
        little = self._bare_words if reading.role == "result" else self._little  # "down" is a plantar response
        if not shrunk and not set(steps) - {GAP} <= little:
            self._layer(reading).add(steps, reading)
            if reading.role in ("result", "means"):
                self._told.setdefault(tuple(steps), []).append(reading)

    def _layer(self, reading: Reading) -> PhraseIndex[Reading]:
        return self.results if reading.role == "result" else self.terms

    def _copulas(self) -> None:
        """ "feels soft" is listed for a muscle, "soft" for a fontanelle too: the longer form means all of both."""
        verbs = {self.tokeniser.stem(word) for word in self.vocab.listed("copulas")}
        for steps, own in self._told.items():
            if steps[0] in verbs:
                for reading in self._told.get(steps[1:], ()):
                    if reading not in own:
                        self._layer(reading).add(steps, reading)

    def _site(self, say: str, reading: Reading) -> None:
        steps = self._steps(say, drop=True)
        self.terms.add(steps, reading)
        self.sites.add(steps, reading)

    def _steps(self, text: str, *, drop: bool) -> list[str]:
        """Stems and gaps of a phrase; with ``drop``, without what the content stream leaves out."""
        steps: list[str] = []
        for k, part in enumerate(f" {text} ".split(f" {GAP} ")):
            words = self.tokeniser.phrase(part)
            if k:
                steps.append(GAP)
            if drop and not self._droppable.isdisjoint(words):
                tokens = self.tokeniser.of_text(part.replace(" ~ ", " "))
                spoken = self.spoken(tokens)
                content = self.content(tokens, spoken, self.degrees.find(spoken, tokens))
                steps += [tokens[at].stem for at in content]
            else:
                steps += [self.tokeniser.stem(word) for word in words]
        return steps

    def _words(self, text: str) -> list[str]:
        """Whole words and gaps of a phrase."""
        parts = f" {text} ".split(f" {GAP} ")
        return [w for k, part in enumerate(parts) for w in [GAP] * (k > 0) + self.tokeniser.phrase(part)]

    def find_cues(
        self, tokens: Sequence[Token], spoken: Sequence[int], starts: frozenset[int], ends: frozenset[int]
    ) -> dict[str, tuple[Hit[CueReading], ...]]:
        """The longest cues of each category. Fillers count in answers and denials: "mm-hmm" is one, "not just" none."""
        everything = range(len(tokens))
        found: dict[str, tuple[Hit[CueReading], ...]] = {}
        for group, index in self.cues.items():
            if group == "clauses":
                continue
            stream = everything if group in ALONE else spoken
            apart: dict[str, dict[tuple[int, ...], list[CueReading]]] = {}
            for fixed, payloads in index.matches(stream, tokens, starts=starts, ends=ends).items():
                for payload in payloads:
                    apart.setdefault(payload.category, {}).setdefault(fixed, []).append(payload)
            found.update({category: tuple(longest(hits)) for category, hits in apart.items()})
        return found

    def spoken(self, tokens: Sequence[Token]) -> list[int]:
        """Positions without fillers: the stream in which cues are looked for."""
        every = range(len(tokens))
        out = {at for hit in self.fillers.find(every, tokens) for at in hit.fixed}
        out -= {
            at
            for at in out
            if at and tokens[at].text == "er" and tokens[at - 1].text in ("the", "an") and not tokens[at - 1].stop
        }
        return [at for at in every if at not in out]

    def content(self, tokens: Sequence[Token], spoken: Sequence[int], degrees: Sequence[Hit[str]]) -> list[int]:
        """Of the ``spoken``, without adverbs of time, degree words, determiners and clitics: the stream of terms."""
        out = {at for hit in (*degrees, *self.adverbs.find(spoken, tokens)) for at in hit.fixed}
        return [
            at for at in spoken if at not in out and tokens[at].text not in self.determiners and tokens[at].text != "'s"
        ]


def _phrases(entries: Iterable[str | tuple[str, str]], tokeniser: Tokeniser) -> PhraseIndex[str]:
    index: PhraseIndex[str] = PhraseIndex(exact=True)  # "like" is a filler, "likes" is not
    for entry in entries:
        say, gives = entry if isinstance(entry, tuple) else (entry, "")
        index.add(tokeniser.phrase(say), gives)
    return index


# ---------------------------------------------------------------- the compiled phrases as JSON


def _pack(layers: Layers) -> bytes:
    *terms, cues = layers
    return json.dumps([*map(_rows, terms), {name: _rows(index) for name, index in cues.items()}]).encode()


def _rows(index: PhraseIndex[Any]) -> list[Any]:
    """An index: how it matches, what its phrases stand for, and by first word each phrase with its place therein."""
    payloads: dict[Any, int] = {}
    phrases = {
        first: [
            [" ".join(steps), payloads.setdefault(payload, len(payloads)), at_start, at_end]
            for steps, payload, at_start, at_end in alike
        ]
        for first, alike in index.phrases.items()
    }
    return [index.exact, index.over_commas, [astuple(payload) for payload in payloads], phrases]


def _unpack(body: bytes) -> Layers:
    terms, results, sites, cues = json.loads(body)
    made = [_index(Reading, rows) for rows in (terms, results, sites)]
    return made[0], made[1], made[2], {name: _index(CueReading, rows) for name, rows in cues.items()}


def _index(reading: Callable[..., P], rows: list[Any]) -> PhraseIndex[P]:
    exact, over_commas, told, phrases = rows
    payloads = [reading(*slots) for slots in told]
    index: PhraseIndex[P] = PhraseIndex(exact=exact, over_commas=over_commas)
    for first, alike in phrases.items():
        index.phrases[first] = [
            (tuple(steps.split()), payloads[n], at_start, at_end) for steps, n, at_start, at_end in alike
        ]
    return index
