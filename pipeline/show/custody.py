"""How the record stands, as lines for a person at a terminal."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from pipeline.config import Config

if TYPE_CHECKING:
    from pipeline.custody import BackedUp, Rebuilt, Verified


def verified_lines(found: "Verified") -> Iterator[str]:
    """What was checked, what is damaged, what to do, and the head to keep elsewhere."""
    for fault in found.faults:
        yield f"{'! ' if fault.damage else '  '}{fault.where}: {fault.what}; {fault.do}."
    damaged = sum(fault.damage for fault in found.faults)
    yield f"Looked at: {found.events} events, {found.blobs} stored files, {found.visits} drafts."
    yield f"{damaged} damaged." if damaged else "All is sound."
    yield f"Newest event: {found.head}"


def rebuilt_lines(made: "Rebuilt") -> Iterator[str]:
    """How many visits were drafted again, and which edits found no place."""
    yield f"Made again: {made.visits} visit{'s' * (made.visits != 1)}."
    for visit, edit in made.unattached:
        yield f"Not attached any more, visit {visit}: {edit.why}"


def rebuilt_json(made: "Rebuilt") -> dict[str, Any]:
    """The same as one object."""
    unattached = [{"visit": visit, **edit.model_dump(mode="json")} for visit, edit in made.unattached]
    return {"visits": made.visits, "unattached": unattached}


def backup_lines(made: "BackedUp") -> Iterator[str]:
    """What a backup holds."""
    yield f"{made.to}: {made.files} files, {made.size / (1 << 20):.1f} MiB"
    yield f"Newest event: {made.head}"
    if made.without_sound:
        yield f"Without sound: {made.without_sound} recordings are not on this computer; their words are in it."
    yield "It holds health records and is not encrypted: keep it where nobody else can read it."


def restored_lines(found: "Verified", config: Config) -> Iterator[str]:
    """What was brought back, and where."""
    yield f"{config.home}: {found.events} events, {found.blobs} stored files, all as they were backed up."
    yield "`handspoken verify` checks the drafts too."
