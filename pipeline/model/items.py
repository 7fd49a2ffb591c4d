"""Items (findings contract, version 1), the account of every clause, and the events of the fold."""

from collections.abc import Sequence
from enum import StrEnum
from typing import Annotated, Any, Literal
from uuid import UUID, uuid5

from pydantic import Field

from pipeline.model.words import Frozen, Word, WordRange

_ITEM_NAMESPACE = UUID("6f0c2a3e-55b1-4c8e-9d0a-2f7f6a1f0c11")  # ours, fixed for ever: item ids depend on it

Kind = Literal["finding", "history", "treatment", "advice", "plan", "impression"]
Side = Literal["left", "right", "both", "none"]
Degree = Literal["slight", "moderate", "marked"]
Reporter = Literal["clinician", "caregiver"]
SourceRole = Literal["clinician", "mother", "father", "other_carer", "interpreter", "student", "second_practitioner"]
Change = Literal["better", "same", "worse", "resolved"]
SpanRole = Literal["said", "question", "answer", "retracted", "repeat"]


class Span(Frozen):
    """One stretch that a line rests on: times, word range and the verbatim words."""

    role: SpanRole = "said"
    start_ms: int
    end_ms: int
    words: WordRange
    quote: str


class Dose(Frozen):
    """How much and how often, as said."""

    seconds: float | None = None
    times: float | None = None
    per: Literal["day", "feed", "week"] | None = None
    days: float | None = None


class Onset(Frozen):
    """Since when: ``{"value": 3, "unit": "d"}``, or ``sudden``."""

    value: float | None = None
    unit: Literal["d", "wk", "mo"] | None = None
    sudden: bool = False


class Item(Frozen):
    """One finding, told fact, treatment, advice or plan (findings contract, version 1)."""

    id: str
    kind: Kind
    concept: str
    site: str | None = None
    side: Side = "none"
    level: str | None = None
    result: str | None = None
    value: float | None = None
    unit: str | None = None
    degree: Degree | None = None
    reporter: Reporter = "clinician"
    source_role: SourceRole | None = None
    change: Change | None = None
    dose: Dose | None = None
    detail: str | None = None
    reason: str | None = None
    onset: Onset | None = None
    evidence: tuple[Span, ...]
    confidence: float = 1.0
    flags: tuple[str, ...] = ()

    @property
    def spoken(self) -> tuple[Span, ...]:
        """The ``said`` and ``answer`` spans; all spans where there is none of these."""
        return tuple(s for s in self.evidence if s.role in ("said", "answer")) or self.evidence

    @property
    def start_ms(self) -> int:
        return min(s.start_ms for s in self.spoken)

    @property
    def end_ms(self) -> int:
        return max(s.end_ms for s in self.spoken)

    @property
    def quote(self) -> str:
        """The words of all spans in spoken order, corrections included; words in two spans stand once."""
        ranges = {s.words for s in self.evidence}
        apart = [s for s in self.evidence if not any(_inside(s.words, r) for r in ranges)]
        once = {s.words: s.quote for s in apart}
        return " ".join(once[words] for words in sorted(once))


def _inside(inner: WordRange, outer: WordRange) -> bool:
    return inner != outer and outer[0] <= inner[0] and inner[1] <= outer[1]


def item_id(recording: str, concept: str, site: str | None, start_ms: int, ordinal: int = 0) -> str:
    """UUIDv5 of recording, concept, site, first evidence start rounded to 100 ms, and an ordinal for ties."""
    return str(uuid5(_ITEM_NAMESPACE, f"{recording}|{concept}|{site or ''}|{round(start_ms, -2)}|{ordinal}"))


def contract_json(item: Item) -> dict[str, Any]:
    """An item as the findings contract prints it: ``start``, ``end`` in seconds and ``quote`` derived."""
    data = item.model_dump(mode="json")
    data.update(start=item.start_ms / 1000, end=item.end_ms / 1000, quote=item.quote)
    return data


class ClauseClass(StrEnum):
    """The one class of a clause; the clauses partition the words of a transcript."""

    ITEM = "item"
    TEACHING = "teaching"
    ANNOUNCEMENT = "announcement"
    HYPOTHETICAL = "hypothetical"
    CHAT = "chat"
    QUESTION = "question"
    COMMAND = "command"
    UNPLACED = "unplaced"


class ClauseAccount(Frozen):
    """What became of one clause: its class, why, the items it gave, and the trade terms in it."""

    words: WordRange
    clause_class: ClauseClass
    why: str = ""
    items: tuple[str, ...] = ()
    terms: tuple[str, ...] = ()


class TraceStep(Frozen):
    """Which rule and cue gave a slot its value, and on which words."""

    slot: str
    value: str
    rule: str
    words: WordRange


class Extraction(Frozen):
    """All items of a transcript in spoken order, the account of every clause, and the trace of every item by id."""

    items: tuple[Item, ...]
    clauses: tuple[ClauseAccount, ...]
    trace: dict[str, tuple[TraceStep, ...]] = Field(default_factory=dict)


class Upsert(Frozen):
    """The fold's event: an item is new or stands differently now."""

    type: Literal["upsert"] = "upsert"
    item: Item


class Retract(Frozen):
    """The fold's event: an item was taken back by the speaker."""

    type: Literal["retract"] = "retract"
    item_id: str
    why: str


ItemEvent = Annotated[Upsert | Retract, Field(discriminator="type")]


def span_of(words: Sequence[Word], i0: int, i1: int, role: SpanRole = "said") -> Span:
    """The span of words ``i0 <= i < i1``; at least one word."""
    part = words[i0:i1]
    return Span(
        role=role,
        start_ms=part[0].start_ms,
        end_ms=part[-1].end_ms,
        words=(i0, i1),
        quote=" ".join(word.text for word in part),
    )
