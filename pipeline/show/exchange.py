"""What went out and what came in."""

from collections.abc import Iterator
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pipeline.exchange import Exported, Imported


def exported_lines(done: "Exported") -> Iterator[str]:
    """The files, and what to mind about them."""
    for path in done.files:
        yield str(path)
    for what in done.left_out:
        yield f"Left out: {what}."
    if done.unsigned:
        yield f"Not signed, so drafts: {done.unsigned} of {done.visits} visits."
    if not done.nameless:
        yield "These files hold names and what was said. Keep and send them as you would the record."


def exported_json(done: "Exported") -> dict[str, Any]:
    """The same as one object."""
    return asdict(done) | {"folder": str(done.folder), "files": [str(path) for path in done.files]}


def imported_lines(done: "Imported") -> Iterator[str]:
    """How much came in."""
    yield f"{done.new} entries taken over, {done.known} were on record already; {done.visits} visits drafted."
    if done.without_sound:
        yield f"{done.without_sound} recordings came without their sound: their lines keep words and times."
    if done.destroyed:
        yield f"{done.destroyed} stretches were destroyed here too, as the record says."


def imported_json(done: "Imported") -> dict[str, Any]:
    """The same as one object."""
    return asdict(done)
