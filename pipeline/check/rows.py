"""The rows of vocab/norms/, red_flags, cautions, coverage and jurisdiction: every one carries its source and mark."""

import re
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, field_validator, model_validator

from pipeline.ages import DAYS
from pipeline.config import Jurisdiction
from pipeline.model import Mark, Urgency
from pipeline.vocabulary import Entry

_AGE = re.compile(r"(\d+(?:\.\d+)?) (d|wk|mo|y)")


def _days(value: object) -> object:
    if not isinstance(value, str):
        return value
    match = _AGE.fullmatch(value.strip())
    if match is None:
        raise ValueError(f"an age is a number and d, wk, mo or y ('3 mo'); {value!r} is none")
    return float(match[1]) * DAYS[match[2]]


def _many(value: object) -> object:
    return (value,) if isinstance(value, str) else value


Days = Annotated[float, BeforeValidator(_days)]
Many = Annotated[tuple[str, ...], BeforeValidator(_many)]
Text = Annotated[str, Field(min_length=1)]


class Sourced(Entry):
    """A row that states a fact: where it is from, and how sure that is."""

    id: Text
    source: Text
    mark: Mark


class When(Entry):
    """A condition on the facts of a visit, of exactly one form.

    Facts: ``concept`` (any of), narrowed by all other keys. ``site`` also means its parts, ``site_is`` that site
    alone. ``side: one`` = left or right, ``not_one`` = both or none. ``sides_differ``: left and right are both known
    and not alike, or the result is ``asymmetrical``; with ``difference`` the numbers of both sides are at least so
    far apart. ``words``: one of these word beginnings stands in the quote or detail. ``visit``: this one if not said.
    Or ``any``, ``all``, ``none`` of other conditions.
    """

    concept: Many = ()
    result: Many = ()
    site: Many = ()
    site_is: Many = ()
    not_site: Many = ()
    side: Literal["one", "not_one"] | None = None
    ge: float | None = None
    gt: float | None = None
    le: float | None = None
    lt: float | None = None
    degree: Many = ()
    not_degree: Many = ()
    change: Many = ()
    not_change: Many = ()
    flag: Many = ()
    sudden: bool = False
    onset_from: Days | None = None
    onset_within: Days | None = None
    words: Many = ()
    not_words: Many = ()
    sides_differ: bool = False
    difference: float | None = None
    visit: Literal["now", "earlier", "ever"] = "now"
    any: tuple["When", ...] = ()
    all: tuple["When", ...] = ()
    none: tuple["When", ...] = ()

    @model_validator(mode="after")
    def _one_form(self) -> "When":
        if sum(bool(form) for form in (self.concept, self.any, self.all, self.none)) != 1:
            raise ValueError("a condition has exactly one of concept, any, all, none")
        return self

    @property
    def concepts(self) -> frozenset[str]:
        """Every concept this condition looks at."""
        parts = (*self.any, *self.all, *self.none)
        return frozenset(self.concept).union(*(part.concepts for part in parts))


class Hold(Entry):
    """What should not be treated by hand: everything, or only ``sites``; ``thrust``: no thrust anywhere.

    A remark says ``withhold`` where it is everything; places and thrusts stand in its action.
    """

    everything: bool = False
    sites: Many = ()
    thrust: bool = False


class Worse(Entry):
    """What makes a rule more pressing."""

    when: When
    urgency: Urgency
    reason: Text


class Rule(Sourced):
    """If ``when`` holds and the infant is in the age window [from, until), raise a remark.

    ``age`` names the age that decides: since birth, corrected for prematurity, the lower of both (``either``), or
    none. ``{value}``, ``{side}``, ``{site}`` and ``{note}`` in ``reason`` are filled from the first fact, ``{words}``
    with what was said.
    ``preterm``/``sex``: only for these. ``once``: told once an infant.
    """

    title: Text
    when: When
    age: Literal["chronological", "corrected", "either"] | None = None
    from_: Days = Field(default=0.0, alias="from")
    until: Days = Field(default=3 * 365.25)
    preterm: bool | None = None
    sex: Literal["female", "male"] | None = None
    urgency: Urgency
    reason: Text
    action: str = ""
    window: str = ""
    worse: tuple[Worse, ...] = ()
    withhold: Hold | None = None
    safeguarding: bool = False
    once: bool = False
    choices: Many = ()

    @field_validator("reason")
    @classmethod
    def _fillable(cls, value: str) -> str:
        try:
            value.format(value="", side="", to="", site="", note="", words="")
        except (KeyError, IndexError, ValueError) as error:
            raise ValueError(
                "a reason is filled with {value}, {side}, {to}, {site}, {note} and {words} only"
            ) from error
        return value

    @model_validator(mode="after")
    def _window(self) -> "Rule":
        if self.age is None and ("from_" in self.model_fields_set or "until" in self.model_fields_set):
            raise ValueError("an age window needs 'age:' (chronological, corrected or either)")
        if self.until <= self.from_:
            raise ValueError("the age window is empty")
        return self


class RedFlag(Rule):
    """A danger sign; ``flag`` is its number (RF01 ... RF48, or C.. for a combination). Cannot be switched off."""

    flag: Text
    guidance: Text


class Grade(Sourced):
    """One cell of the torticollis severity table: completed months, and the passive difference in degrees."""

    grade: int
    label: Text
    months_from: int
    months_to: int
    difference_from: float | None = None
    difference_below: float | None = None
    preference: bool = False
    mass: bool = False
    edition: Text


class Level(Entry):
    """One step of a scale: ``from`` <= value < ``until``; ``closed``: the upper limit belongs to it."""

    label: Text
    from_: float = Field(alias="from")
    until: float
    closed: bool = False


class Scale(Sourced):
    """A published scale that turns a number into a word; ``numbers``: results that stand for one."""

    label: Text
    concept: Text
    formula: str = ""
    numbers: dict[str, float] = Field(default_factory=dict)
    levels: tuple[Level, ...]


class Plausible(Sourced):
    """What a measure can be at all in the first two years; beyond ``z_low``..``z_high`` it is asked about too."""

    concept: Text
    unit: Text
    low: float
    high: float
    z_low: float | None = None
    z_high: float | None = None


class Opposite(Sourced):
    """Results of one concept that cannot both be true of the same place: one of ``fine``, one of ``found``."""

    concept: Text
    fine: Many
    found: Many
    lasting: bool = False
    across: Many = ()


class NetPart(Sourced):
    """One part of the safety net: it was said if an item of ``concept`` holds one of ``words`` (none: any words)."""

    label: Text
    concept: Many
    words: Many = ()


class PartRow(Sourced):
    """A letter of the P.A.R.T. table and the finding that supports it."""

    letter: Literal["P", "A", "R", "T"]
    when: When


class Code(Sourced):
    """A diagnosis code. Only leaves may be used for a record."""

    label: Text
    leaf: bool


class Claim(Sourced):
    """Wording that no text of ours may hold: a regular expression, case ignored."""

    pattern: Text


class Tolerance(Sourced):
    """How far a told or measured fact may lie from the open chart before we ask if this is the right infant."""

    value: float
    unit: Text


class SexWord(Sourced):
    """Words about the infant that tell the sex."""

    sex: Literal["female", "male"]
    words: Many


class Caution(Sourced):
    """A standing caution and when it matters (always, if ``when`` is not given); ``once`` an infant."""

    text: Text
    when: When | None = None
    once: bool = True


class Law(Sourced):
    """What a jurisdiction setting means for thrust and for an adjustment whose force was not said."""

    setting: Jurisdiction
    title: Text
    reason: Text
    action: str = ""
    when: When | None = None
    until: Days | None = None
    blocks: bool = False
    once: bool = False
    choices: Many = ()


class CoverageRow(Sourced):
    """Something that a visit should look at: said if any of ``concepts`` (at ``sites``, where given) was met.

    ``board``: how it reads on a screen that the family sees, where not as ``label``.
    """

    label: Text
    board: str = ""
    region: Text
    visit: Literal["first", "follow_up", "both"]
    danger: bool = False
    concepts: Many
    sites: Many = ()
    age: Literal["chronological", "corrected"] = "corrected"
    from_: Days = Field(default=0.0, alias="from")
    until: Days = Field(default=3 * 365.25)
