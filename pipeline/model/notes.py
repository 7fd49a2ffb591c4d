"""Whom the visit is about, what the checks remark, and the note."""

from collections.abc import Iterator
from datetime import date, datetime
from enum import StrEnum
from typing import Literal

from pipeline.model.items import Span
from pipeline.model.words import Frozen, SpeechModel


class Carer(Frozen):
    """Who looks after an infant. ``may_consent``: whether they have authority to consent; None = not known."""

    name: str
    role: str = ""
    may_consent: bool | None = None


class Practitioner(Frozen):
    """Who works here. ``start``, ``until``: first and last day (None: open), as of a locum."""

    id: str
    name: str
    role: str
    initials: str = ""
    start: date | None = None
    until: date | None = None


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
    carers: tuple[Carer, ...] = ()


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
    """One point raised about the findings. ``id`` = rule id + sorted evidence anchors (``RF29:hip:left``).

    ``answer``: what the clinician said to it; "" where it is open.
    """

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
    answer: str = ""

    @property
    def danger(self) -> bool:
        """Whether it is a danger sign."""
        return self.urgency in (Urgency.EMERGENCY, Urgency.SAME_DAY, Urgency.REFER)

    @property
    def blocks(self) -> bool:
        """Whether it must be answered before signing."""
        return self.blocks_signing or self.urgency in (Urgency.EMERGENCY, Urgency.SAME_DAY)

    @property
    def open(self) -> bool:
        """Whether it waits for an answer."""
        return not self.answer and (self.danger or self.blocks_signing or self.urgency is Urgency.ASK)


class Point(Frozen):
    """One thing to check about a line, a stretch or the visit. ``id`` stays as long as what it rests on."""

    id: str
    code: str
    text: str
    answer: str = ""


class Line(Frozen):
    """One line of the note: the finding in clear words, its spans, and what to check about it."""

    id: str
    text: str
    items: tuple[str, ...] = ()
    spans: tuple[Span, ...] = ()
    points: tuple[Point, ...] = ()
    unsure_words: tuple[int, ...] = ()
    written: str | None = None  # "written 18:40 for 10:00" where a person typed the line

    @property
    def checks(self) -> tuple[str, ...]:
        """The points that are open."""
        return tuple(point.text for point in self.points if not point.answer)


class Section(Frozen):
    """A part of the note, in the order of the hands."""

    id: str
    title: str
    lines: tuple[Line, ...] = ()
    subsections: tuple["Section", ...] = ()

    def parts(self) -> Iterator["Section"]:
        """This section and all below it, from the top."""
        yield self
        for section in self.subsections:
            yield from section.parts()


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
    basis: str = ""  # hash of all that the draft was made by: program, vocabulary, norms, wording, settings
    speech_model: SpeechModel | None = None
    written: str | None = None  # the whole note rests on a typed text, written then for then
    sound_gone: str = ""  # when, by whom and why the sound was destroyed; the lines keep words and time
    signed_by: str | None = None
    signed_at: datetime | None = None

    def parts(self) -> Iterator[Section]:
        """Every section of the note, subsections too, from the top."""
        for section in self.sections:
            yield from section.parts()
