"""The types that cross between stages; all frozen.

    sound -> Transcript -> Items -> Remarks -> Note
             (words)      (findings contract, version 1)

Coordinates: integer milliseconds from the start of the recording, and half-open word ranges ``(i0, i1)`` into one
transcript. Seconds and quotes are derived. Nothing here reads a file or a clock.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Annotated, Any, Literal
from uuid import UUID, uuid5

from pydantic import BaseModel, ConfigDict, Field

_ITEM_NAMESPACE = UUID("6f0c2a3e-55b1-4c8e-9d0a-2f7f6a1f0c11")  # ours, fixed for ever: item ids depend on it

Kind = Literal["finding", "history", "treatment", "advice", "plan", "impression"]
Side = Literal["left", "right", "both", "none"]
Degree = Literal["slight", "moderate", "marked"]
Reporter = Literal["clinician", "caregiver"]
SourceRole = Literal[
    "clinician", "mother", "father", "other_carer", "interpreter", "student", "second_practitioner"
]
Change = Literal["better", "same", "worse", "resolved"]
SpanRole = Literal["said", "question", "answer", "retracted", "repeat"]
WordRange = tuple[int, int]


class Frozen(BaseModel):
    """Base of the stored and shown types."""

    model_config = ConfigDict(frozen=True, extra="forbid")


# ---------------------------------------------------------------- words


@dataclass(frozen=True, slots=True)
class Heard:
    """What one pass of the recogniser heard where a word now stands."""

    source: Literal["free", "hot", "lexicon"]
    text: str
    p: float


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A reading that was not taken: the person may take it. ``score`` 0..1, higher is likelier."""

    text: str
    reason: str
    score: float


@dataclass(frozen=True, slots=True)
class Word:
    """One spoken word. Times in milliseconds; ``p`` = the recogniser's probability, 0..1 (1 for given text)."""

    i: int
    text: str
    start_ms: int
    end_ms: int
    p: float = 1.0
    timing: Literal["word", "cue"] = "word"
    source: Literal["free", "hot", "lexicon", "given", "edited"] = "given"
    heard: tuple[Heard, ...] = ()
    agree: bool | None = None
    margin: float | None = None
    flags: tuple[str, ...] = ()
    suggestions: tuple[Suggestion, ...] = ()
    speaker: str | None = None


class SpeechModel(Frozen):
    """The recogniser that made a transcript; ``sha256`` of its weights (of the text for a given transcript)."""

    name: str
    sha256: str


class Chunk(Frozen):
    """A stretch of the recording that was heard in one piece, and how noisy it was."""

    start_ms: int
    end_ms: int
    snr_db: float | None = None
    pcm_sha256: str = ""


class Dropped(Frozen):
    """A stretch that was not heard, or heard and not kept, and why (``noise``, ``other language``, ``loop`` ...)."""

    start_ms: int
    end_ms: int
    reason: str
    text: str = ""


class Transcript(Frozen):
    """The words of one recording. ``utterances`` are consecutive word ranges that cover all words."""

    id: str
    recording: str
    language: str = "en"
    model: SpeechModel
    recipe_hash: str = ""
    vocab_hash: str = ""
    words: tuple[Word, ...]
    utterances: tuple[WordRange, ...]
    chunks: tuple[Chunk, ...] = ()
    dropped: tuple[Dropped, ...] = ()
    duration_ms: int = 0

    def quote(self, span: WordRange) -> str:
        """The words of a range as they stand, one space between."""
        return " ".join(word.text for word in self.words[span[0] : span[1]])


# ---------------------------------------------------------------- items


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
        """The words of all spans in spoken order, corrections included."""
        return " ".join(s.quote for s in sorted(self.evidence, key=lambda s: s.words))


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


# ---------------------------------------------------------------- infant, remarks, note


class Infant(Frozen):
    """Whom the visit is about. ``gestation_weeks`` in completed weeks, ``birth_weight_kg`` in kilograms."""

    id: str
    code_name: str
    legal_name: str | None = None
    born: date | None = None
    sex: Literal["female", "male"] | None = None
    gestation_weeks: int | None = None
    birth_weight_kg: float | None = None
    risk_factors: tuple[str, ...] = ()


class Age(Frozen):
    """Age at the visit in completed days; ``corrected_days`` = minus what was missing to 40 weeks (None: unknown)."""

    days: int
    corrected_days: int | None = None
    as_said: str = ""


class Urgency(StrEnum):
    """How a remark asks to be taken, mildest first."""

    EXPECTED = "expected"
    NOT_INFORMATIVE = "not_informative"
    WATCH = "watch"
    ASK = "ask"
    REFER = "refer"
    SAME_DAY = "same_day"
    EMERGENCY = "emergency"


class Mark(StrEnum):
    """How sure a fact's source is."""

    PUBLISHED = "published and seen"
    SECONDARY = "secondary"
    MEMORY = "from memory"
    PRACTICE = "common practice, no source"
    OURS = "our recommendation"


class Remark(Frozen):
    """One point raised about the findings. ``id`` = rule id + sorted evidence anchors (``RF29:hip:left``)."""

    id: str
    rule: str
    urgency: Urgency
    title: str
    reason: str
    action: str = ""
    source: str
    mark: Mark
    window: str = ""
    items: tuple[str, ...] = ()
    spans: tuple[Span, ...] = ()
    withhold: bool = False
    blocks_signing: bool = False
    safeguarding: bool = False
    choices: tuple[str, ...] = ()


class Line(Frozen):
    """One line of the note: the finding in clear words, its spans, and what to check about it."""

    id: str
    text: str
    items: tuple[str, ...] = ()
    spans: tuple[Span, ...] = ()
    checks: tuple[str, ...] = ()
    unsure_words: tuple[int, ...] = ()
    written: str | None = None  # "written 18:40 for 10:00" where a person typed the line


class Section(Frozen):
    """A part of the note, in the order of the hands."""

    id: str
    title: str
    lines: tuple[Line, ...] = ()
    subsections: tuple["Section", ...] = ()


class Note(Frozen):
    """A drafted note, before or after signing; everything a renderer needs and nothing it must look up."""

    visit: str
    recording: str
    infant: Infant
    age: Age | None = None
    on: date
    duration_ms: int = 0
    audio_sha256: str | None = None
    audio_type: str | None = None
    sections: tuple[Section, ...]
    remarks: tuple[Remark, ...] = ()
    cautions: tuple[str, ...] = ()
    program: str = ""
    vocab_hash: str = ""
    speech_model: SpeechModel | None = None
    signed_by: str | None = None
    signed_at: datetime | None = None


# ---------------------------------------------------------------- recordings and edits (events)


class RecordingLogEntry(Frozen):
    """One line of ``rec.log`` beside an open recording; ``at_ms`` counts kept sound, ``until_ms`` ends a range."""

    kind: Literal["start", "pause", "gap", "mark", "consent", "drop", "undrop"]
    at_ms: int
    until_ms: int | None = None
    wall: datetime | None = None
    text: str = ""


class Recording(Frozen):
    """A sealed recording: immutable, named by the hash of its bytes. ``torn`` says what of the source was lost."""

    id: str
    sha256: str
    media_type: str
    duration_ms: int
    source_name: str = ""
    torn: str = ""
    log: tuple[RecordingLogEntry, ...] = ()


class ChunkKey(Frozen):
    """What a chunk result depends on; equal keys may share the result."""

    pcm_sha256: str
    model_sha256: str
    settings_hash: str
    vocab_hash: str


class Anchor(Frozen):
    """How an edit finds its line again after a re-run: time, never word index."""

    kind: Kind
    concept: str
    site: str | None
    start_ms: int
    end_ms: int


class LineEdit(Frozen):
    """A person put a line right, struck it or added it. ``before``/``after`` hold the changed slots only."""

    type: Literal["line_edit"] = "line_edit"
    item_id: str
    anchor: Anchor
    action: Literal["change", "strike", "add"]
    before: dict[str, Any] = Field(default_factory=dict)
    after: dict[str, Any] = Field(default_factory=dict)


class WordCorrection(Frozen):
    """A person put heard words right."""

    type: Literal["word_correction"] = "word_correction"
    start_ms: int
    end_ms: int
    heard: str
    meant: str


class Answer(Frozen):
    """A person answered a remark; the answer holds as long as the remark has the same id."""

    type: Literal["answer"] = "answer"
    remark_id: str
    choice: str
    text: str = ""


Edit = Annotated[LineEdit | WordCorrection | Answer, Field(discriminator="type")]


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
