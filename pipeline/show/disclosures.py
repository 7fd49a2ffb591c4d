"""What was given out of a record, told at a terminal."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pipeline.disclosures import Copied, Disclosed


def disclosed_line(told: "Disclosed") -> str:
    """One entry of the log."""
    released = "".join(f"; released, {kind}: {why}" for kind, why in told.released.items())
    return f"{told.day}  {told.what}, to {told.to}. Ground: {told.ground}. By {told.by}{released}"


def copied_lines(done: "Copied") -> Iterator[str]:
    """What a copy holds, and what was held back."""
    yield f"{done.folder}: {len(done.files)} files; contents.txt lists them with their hashes."
    yield from (f"Held back: {what}" for what in done.held)
    yield "It holds health records and is not encrypted. Read it before you give it away: local law decides."


def copied_json(done: "Copied") -> dict[str, Any]:
    """The same as one object."""
    return {"folder": str(done.folder), "files": done.files, "held_back": done.held}
