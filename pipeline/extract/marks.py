"""What stands where in an utterance: terms, sides, levels, numbers, degrees, negations and cues, each with its words."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from pipeline.extract.lexicon import CueReading, Hit, Lexicon, Reading
from pipeline.extract.tokens import Token
from pipeline.extract.values import Level, NumberReader, Quantity
from pipeline.model import Degree

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

    def says(self) -> list[str]:
        """Concepts this mention names."""
        return [r.concept for r in self.readings if r.role == "say"]

    def gives(self) -> list[Reading]:
        """Results this mention may give."""
        return [r for r in self.readings if r.role in ("result", "means")]


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
        return {p.gives for hit in self.cues.get("acts", ()) if a <= hit.a < b for p in hit.payloads}

    def cued(self, category: str, a: int, b: int) -> list[tuple[str, Hit[CueReading]]]:
        """Values and places of the cues of one category in tokens ``a <= k < b``."""
        return [(hit.payloads[0].gives, hit) for hit in self.cues.get(category, ()) if a <= hit.a < b]

    def degree(self, a: int, b: int) -> Degree | None:
        """The last degree word in tokens ``a <= k < b``."""
        last: Degree | None = None
        for hit in self.degrees:
            if a <= hit.a < b:
                last = hit.payloads[0]  # type: ignore[assignment]
        return last


class Marker:
    """Finds all marks of an utterance; compiled once."""

    def __init__(self, lexicon: Lexicon, numbers: NumberReader) -> None:
        self._lexicon = lexicon
        self._numbers = numbers

    def __call__(
        self, tokens: Sequence[Token], starts: frozenset[int], ends: frozenset[int], region: str | None
    ) -> Marked:
        """``starts``/``ends``: first and last token of each clause. ``region``: the site now under the hands."""
        lexicon = self._lexicon
        spoken = lexicon.spoken(tokens)
        degrees = lexicon.degrees.find(spoken, tokens)
        content = lexicon.content(tokens, degrees)
        cues = {
            category: tuple(index.find(spoken, tokens, starts=starts, ends=ends))
            for category, index in lexicon.cues.items()
            if category not in ("units", "numbers", "forms", "degree")
        }
        terms = lexicon.terms.find(content, tokens)
        levels = self._numbers.levels(tokens, region)
        marks = [*self._terms(terms, tokens, content), *self._sides(cues.get("sides", ()))]
        marks += [Mark("level", level.a, level.b, level=level) for level in levels]
        inside = {k for level in levels for k in range(level.a, level.b)}
        fixed = {k for hit in terms for k in hit.fixed}
        marks += [
            Mark("number", q.a, q.b, number=q)
            for q in self._numbers.quantities(tokens)
            if not q.ordinal and inside.isdisjoint(range(q.a, q.b)) and not set(range(q.a, q.b)) <= fixed
        ]
        sided = {k for hit in cues.get("sides", ()) for k in hit.fixed}
        marks = [m for m in marks if m.kind != "result" or not set(range(m.a, m.b)) <= sided]
        marks.sort(key=lambda m: (m.a, m.b))
        named = tuple(" ".join(tokens[k].text for k in hit.fixed) for hit in terms if _trade(hit))
        return Marked(tuple(tokens), tuple(marks), cues, tuple(degrees), named)

    def _terms(self, hits: Sequence[Hit[Reading]], tokens: Sequence[Token], content: Sequence[int]) -> list[Mark]:
        marks = []
        for hit in hits:
            sites = tuple(r for r in hit.payloads if r.role == "site")
            others = tuple(r for r in hit.payloads if r.role != "site")
            last = tokens[hit.b - 1].text
            if sites:
                plural = sites[0].plural or (
                    bool(sites[0].singular) and last != sites[0].singular and last.endswith("s")
                )
                marks.append(Mark("site", hit.a, hit.b, sites, plural=plural))
            if others:
                says = any(r.role == "say" for r in others)
                marks.append(Mark("concept" if says else "result", hit.a, hit.b, others, plural=last.endswith("s")))
                seated = any(self._lexicon.vocab.concepts[r.concept].site for r in others)
                if not sites and not seated and hit.b - hit.a > 1:
                    inner = self._lexicon.sites.find([k for k in content if hit.a <= k < hit.b], tokens)
                    marks += [
                        Mark("site", i.a, i.b, i.payloads, plural=tokens[i.b - 1].text != i.payloads[0].singular)
                        for i in inner
                    ]
        return marks

    def _sides(self, hits: Sequence[Hit[CueReading]]) -> list[Mark]:
        """Side words; a longer phrase that is no side ("all right") has masked the word in it."""
        return [
            Mark("side", hit.a, hit.b, side=hit.payloads[0].gives) for hit in hits if hit.payloads[0].gives != "none"
        ]


def _trade(hit: Hit[Reading]) -> bool:
    return any(r.role in ("say", "site") for r in hit.payloads)
