"""A folder of recordings as lines for a person at a terminal."""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.batch import Outcome

_STATES = {"drafted": "drafted", "torn": "drafted in part", "skipped": "skipped", "failed": "failed"}


def outcome_line(n: int, total: int, outcome: "Outcome") -> str:
    """One file: how it ended."""
    return f"[{n}/{total}] {outcome.file}: {_STATES[outcome.state]}: {outcome.what}"


def summary_lines(outcomes: "Sequence[Outcome]") -> Iterator[str]:
    """How many ended how, then what failed or was torn, and why."""
    counted: Counter[str] = Counter(outcome.state for outcome in outcomes)
    yield ", ".join(f"{_STATES[state]} {counted[state]}" for state in _STATES if counted[state]) + "."
    for outcome in outcomes:
        if outcome.state in ("failed", "torn"):
            yield f"{outcome.file}: {outcome.what}"
    if counted["failed"]:
        yield "Run it again when that is put right: what is done is skipped."
    yield "Drafts, to be checked and signed by a licensed clinician."
