"""What the fold carries from one utterance to the next."""

from dataclasses import dataclass, field

from pipeline.extract.answers import Question
from pipeline.extract.focus import Focus
from pipeline.extract.ledger import Ledger
from pipeline.model import Age, ClauseAccount


@dataclass
class State:
    """What the fold carries from one utterance to the next. ``step`` changes it in place and returns it."""

    recording: str
    age: Age | None
    ledger: Ledger
    focus: Focus = field(default_factory=Focus)
    question: Question | None = None
    treatment: str | None = None
    treated_at: int = 0
    last: tuple[str, ...] = ()
    offered: tuple[str, ...] = ()
    loose: tuple[int, float, str] | None = None
    birth_at: int = -9
    doubted_at: int = -9  # where a spoken correction began that has not yet said what is right
    clause: int = 0
    accounts: list[ClauseAccount] = field(default_factory=list)
