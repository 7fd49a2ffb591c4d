"""What stands where in an utterance: terms, sides, levels, numbers, degrees and cues, each with its words."""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from operator import attrgetter
from typing import Literal, TypeVar

from pipeline.extract.lexicon import CueReading, Hit, Lexicon, Reading
from pipeline.extract.tokens import Token
from pipeline.extract.values import Level, NumberReader, Quantity
from pipeline.model import Degree

PRONOUN_ONE = frozenset({"the", "left", "right", "that", "this", "other", "each", "no", "which", "second", "first"})
FAR_BACK = 60  # words of a sentence looked back over
WORKING = ("hand", "finger", "thumb")  # what the speaker works with
VIEWER = {"viewer_left": "left", "viewer_right": "right"}  # "over your left arm": the parent's own side
Kind = Literal["site", "concept", "result", "side", "level", "number", "ellipsis"]


@dataclass(frozen=True, slots=True)
class Mark:
    """One mention in tokens ``a <= k < b``. Only the slots of its kind are filled."""

    kind: Kind
    a: int
    b: int
    readings: tuple[Reading, ...] = ()
    side: str = ""
    level: Level | None = None
    number: Quantity | None = None
    plural: bool = False
    word: str = ""  # the single word of a term, as spoken
    fixed: tuple[int, ...] = ()  # the tokens that the term's own words stand at; between them lie its gaps

    def says(self) -> list[str]:
        """Concepts this mention names."""
        return [r.concept for r in self.readings if r.role == "say"]

    def gives(self) -> list[Reading]:
        """Results this mention may give."""
        return [r for r in self.readings if r.role in ("result", "means")]


P = TypeVar("P", Mark, Hit[CueReading], Hit[str])
_START = attrgetter("a")


def _within(placed: Sequence[P], a: int, b: int) -> Sequence[P]:
    """Those that begin in ``a <= k < b``, of things in the order of their places; time grows with those alone."""
    first = bisect_left(placed, a, key=_START)
    return placed[first : bisect_left(placed, b, lo=first, key=_START)]


@dataclass(frozen=True)
class Marked:
    """An utterance with everything found in it."""

    tokens: tuple[Token, ...]
    marks: tuple[Mark, ...]
    cues: dict[str, tuple[Hit[CueReading], ...]]
    degrees: tuple[Hit[str], ...]
    terms: tuple[str, ...] = field(default=())

    def acts(self, a: int, b: int) -> set[str]:
        """The acts cued in tokens ``a <= k < b``."""
        return {p.gives for hit in _within(self.cues.get("acts", ()), a, b) for p in hit.payloads}

    def cued(self, category: str, a: int, b: int) -> list[tuple[str, Hit[CueReading]]]:
        """Values and places of the cues of one category in tokens ``a <= k < b``."""
        return [(hit.payloads[0].gives, hit) for hit in _within(self.cues.get(category, ()), a, b)]

    def hits(self, category: str, a: int, b: int) -> Sequence[Hit[CueReading]]:
        """The cues of one category that begin in tokens ``a <= k < b``."""
        return _within(self.cues.get(category, ()), a, b)

    def within(self, a: int, b: int) -> Sequence[Mark]:
        """The marks that begin in tokens ``a <= k < b``."""
        return _within(self.marks, a, b)

    def words(self, a: int, b: int) -> set[str]:
        """The words of tokens ``a <= k < b``."""
        return {t.text for t in self.tokens[a:b]}

    def ends(self, k: int) -> bool:
        """A sentence ends before token ``k``."""
        return k > len(self.tokens) or self.tokens[k - 1].stop in (".", "?")

    def comma(self, k: int) -> bool:
        """A stop of any kind stands after token ``k``."""
        return k < len(self.tokens) and bool(self.tokens[k].stop)

    def border(self, a: int, b: int, first: int) -> bool:
        """A stop, "and" or "or" stands between two mentions, of which one ends at ``a``; not before ``first``."""
        return any(self.tokens[k].stop for k in range(max(a - 1, first), b)) or any(
            self.tokens[k].text in ("and", "or") for k in range(a, b)
        )

    def chunk(self, a: int, b: int) -> set[str]:
        """The words from comma to comma around tokens ``a <= k < b``."""
        while a > 0 and not self.tokens[a - 1].stop:
            a -= 1
        while b < len(self.tokens) and not self.tokens[b - 1].stop:
            b += 1
        return self.words(a, b)

    def sentence(self, k: int) -> set[str]:
        """The words of the sentence up to token ``k`` and on to its next comma."""
        a, b = k, k + 1
        while a > max(0, k - FAR_BACK) and self.tokens[a - 1].stop not in (".", "?"):
            a -= 1
        while b < len(self.tokens) and not self.tokens[b - 1].stop:
            b += 1
        return self.words(a, b)

    def degree(self, a: int, b: int) -> Degree | None:
        """The last degree word in tokens ``a <= k < b``."""
        hits = _within(self.degrees, a, b)
        return hits[-1].payloads[0] if hits else None  # type: ignore[return-value]


class Marker:
    """Finds all marks of an utterance; compiled once."""

    def __init__(self, lexicon: Lexicon, numbers: NumberReader) -> None:
        self._lexicon = lexicon
        self._numbers = numbers
        self._no_vertebra = lexicon.vocab.listed("no_vertebra")

    def __call__(
        self, tokens: Sequence[Token], starts: frozenset[int], ends: frozenset[int], region: str | None
    ) -> Marked:
        """``starts``/``ends``: first and last token of each clause. ``region``: the site now under the hands."""
        lexicon = self._lexicon
        spoken = lexicon.spoken(tokens)
        degrees = lexicon.degrees.find(spoken, tokens)
        content = lexicon.content(tokens, spoken, degrees)
        cues = lexicon.find_cues(tokens, spoken, starts, ends)
        firm = lexicon.terms.find(content, tokens)
        terms = _together(firm, lexicon.results.find(content, tokens))
        levels = self._numbers.levels(tokens, region)
        marks = [*self._terms(terms, tokens, content), *self._sides(cues.get("sides", ()))]
        marks += [Mark("level", level.a, level.b, level=level) for level in levels]
        inside = {k for level in levels for k in range(level.a, level.b)}
        fixed = {k for hit in firm for k in hit.fixed}
        marks += [
            Mark("number", q.a, q.b, number=q)
            for q in self._numbers.quantities(tokens)
            if not q.ordinal and inside.isdisjoint(range(q.a, q.b)) and not set(range(q.a, q.b)) <= fixed
            if not (q.a and q.b - q.a == 1 and tokens[q.a].text == "one" and tokens[q.a - 1].text in PRONOUN_ONE)
        ]
        sided = {
            k
            for hit in cues.get("sides", ())
            for k in hit.fixed
            if hit.b - hit.a == 1 or hit.payloads[0].gives != "none"
        }
        marks = [m for m in marks if m.kind not in ("result", "site") or not set(range(m.a, m.b)) <= sided]
        marks.sort(key=lambda m: (m.a, m.b))
        named = tuple(" ".join(tokens[k].text for k in hit.fixed) for hit in terms if _trade(hit))
        return Marked(tuple(tokens), tuple(marks), cues, tuple(degrees), named)

    def _terms(self, hits: Sequence[Hit[Reading]], tokens: Sequence[Token], content: Sequence[int]) -> list[Mark]:
        marks = []
        for hit in hits:
            if all(r.role == "mask" for r in hit.payloads):
                continue
            sites = tuple(r for r in hit.payloads if r.role == "site")
            others = tuple(r for r in hit.payloads if r.role not in ("site", "mask"))
            last = tokens[hit.b - 1].text
            sites = () if self._line(hit, tokens) else sites
            if sites:
                plural = sites[0].plural or (
                    bool(sites[0].singular) and last != sites[0].singular and last.endswith("s")
                )
                marks.append(Mark("site", hit.a, hit.b, sites, plural=plural))
            if others:
                says = any(r.role == "say" for r in others)
                word = last if len(hit.fixed) == 1 else ""
                kind: Kind = "concept" if says else "result"
                told = Mark(kind, hit.a, hit.b, others, plural=last.endswith("s"), word=word, fixed=hit.fixed)
                concepts = [self._lexicon.vocab.concepts[r.concept] for r in others]
                nests = all(c.site is None and (says or bool(c.on) or c.kind in ("advice", "plan")) for c in concepts)
                if not sites and nests and hit.b - hit.a > 1:
                    inner = self._lexicon.sites.find([k for k in content if hit.a <= k < hit.b], tokens)
                    near = {s for c in concepts for s in c.on}
                    if all(
                        c.kind == "treatment" for c in concepts
                    ):  # "hands off", "hand front and back": not the infant's
                        inner = [i for i in inner if i.payloads[0].site not in WORKING]
                    inner = [i for i in inner if not self._line(i, tokens)]
                    line = self._lexicon.vocab.site_line
                    barred = {s for c in concepts for s in c.not_on if c.id.startswith("motion.")}
                    within = [i for i in inner if not near or near & set(line(i.payloads[0].site))]
                    within = [i for i in within if i.payloads[0].site not in barred]
                    if inner and not within and all(c.id.startswith("motion.") for c in concepts):
                        seat = Reading("site", site=concepts[0].on[0])  # "ear to shoulder" moves the neck
                        marks.append(Mark("site", hit.a, hit.b, (seat,)))
                    marks += [
                        Mark("site", i.a, i.b, i.payloads, plural=tokens[i.b - 1].text != i.payloads[0].singular)
                        for i in within
                    ]
                marks.append(told)
        return marks

    def _line(self, hit: Hit[Reading], tokens: Sequence[Token]) -> bool:
        """ "A long axis pull on the leg": the axis is the line of the pull and not the second vertebra."""
        return bool(hit.payloads[0].level and hit.a) and tokens[hit.a - 1].text in self._no_vertebra

    def _sides(self, hits: Sequence[Hit[CueReading]]) -> list[Mark]:
        """Side words; a longer phrase that is no side ("all right") has masked the word in it."""
        return [
            Mark("side", hit.a, hit.b, side=hit.payloads[0].gives) for hit in hits if hit.payloads[0].gives != "none"
        ]


def _together(terms: Sequence[Hit[Reading]], results: Sequence[Hit[Reading]]) -> list[Hit[Reading]]:
    """Terms, and the result words that may belong to a concept named beside them.

    Equal words share one hit. A result word inside a longer term says nothing more; a longer result phrase ("no clunk"
    of an Ortolani) leaves the shorter term in it standing, for its concept may not be in hand.
    """
    found = {hit.fixed: hit for hit in terms}
    holder = {k: frozenset(term.fixed) for term in terms for k in term.fixed}
    for hit in results:
        same = found.get(hit.fixed)
        if same is not None:
            found[hit.fixed] = Hit(hit.a, hit.b, hit.fixed, (*same.payloads, *hit.payloads))
        elif not set(hit.fixed) < holder.get(hit.a, frozenset()):
            found[hit.fixed] = hit
    return sorted(found.values(), key=lambda h: (h.a, h.b))


def _trade(hit: Hit[Reading]) -> bool:
    return any(r.role in ("say", "site") for r in hit.payloads)


def one_and_other(marks: Sequence[Mark], marked: Marked) -> list[Mark]:
    """ "Eighty degrees one way and eighty the other": the same number on both sides is said once of both."""
    ways = {m for m in marks if marked.words(m.a, m.b + 1) in ({"one", "way"}, {"one", "side"}, {"one", "direction"})}
    numbers = [m for m in marks if m.number is not None and m not in ways]
    for first, second in pairwise(numbers):
        other = next((m for m in marks if m.side == "other" and second.b <= m.a <= second.b + 2), None)
        way = any(first.b <= m.a < second.a for m in ways)
        same = first.number and second.number and first.number.value == second.number.value
        if other is not None and same and way:
            kept = [m for m in marks if m is not second and m not in ways]
            return [replace(m, side="both") if m is other else m for m in kept]
    return list(marks)
