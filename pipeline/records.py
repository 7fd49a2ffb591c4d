"""One visit as the store keeps it, and as the stages draft it; here so that neither has to load the other."""

from datetime import date, time
from typing import Literal

from pipeline.model import (
    Age,
    Changes,
    Edit,
    Extraction,
    Frozen,
    Infant,
    Item,
    Note,
    Recording,
    Remark,
    Stretch,
    Transcript,
)


class PastVisit(Frozen):
    """An earlier visit of the same infant. ``told``: ids of the remarks shown then."""

    id: str
    day: date | None = None
    age: Age | None = None
    items: tuple[Item, ...] = ()
    told: tuple[str, ...] = ()


class VisitOnRecord(Frozen):
    """A visit as a list of visits shows it; ``transcribed`` = there are words to draft from."""

    id: str
    infant: str
    code_name: str
    day: date
    transcribed: bool
    signed: bool


class VisitEntry(Frozen):
    """A visit as it was entered; ``recording`` and ``transcript_sha256`` (the newest) are None until there is one."""

    id: str
    infant: Infant
    day: date
    at: time | None = None
    age: Age | None = None
    recording: Recording | None = None
    stretches: tuple[Stretch, ...] | None = None
    transcript_sha256: str | None = None
    signed: bool = False


class ContactEntry(Frozen):
    """A dated entry that is no visit; ``files``: (SHA-256, name, bytes) of what came with it."""

    id: str
    infant: str
    day: date
    at: time | None = None
    what: str
    text: str
    visit: str | None = None
    files: tuple[tuple[str, str, int], ...] = ()


class FiledVisit(Frozen):
    """A visit with its items as they stand in the tables. ``recording``: the SHA-256 of its sound or text."""

    visit: str
    infant: Infant
    day: date
    age: Age | None
    recording: str
    signed: bool
    items: tuple[Item, ...]


class PartTable(Frozen):
    """Item ids under each letter of P.A.R.T., whether its criteria are met, and why."""

    letters: dict[Literal["P", "A", "R", "T"], tuple[str, ...]]
    met: bool
    why: str


class Looked(Frozen):
    """One part that a visit should look at, and what became of it: ``looked_at``, ``skipped``, ``not_mentioned`` ...

    past, day: what an earlier visit found or planned to look at again, and when; None for what every visit looks at.
    items: ids of the items of this visit that answer it. why: why it was skipped.
    """

    label: str
    state: str
    why: str = ""
    past: Item | None = None
    day: date | None = None
    items: tuple[str, ...] = ()


class VisitRecord(Frozen):
    """All that is on record of a visit and that its draft follows from. ``edits`` in the order they were made.

    stretches: those of the recording that belong to this visit (None: all of it). at: the time of the visit where it
    was said. previous: the infant's earlier visits, oldest first. known_names: names of the infants entered before this
    visit, each with the infant's id.
    """

    visit: str
    infant: Infant
    day: date
    age: Age | None
    recording: Recording
    transcript: Transcript
    transcript_sha256: str
    stretches: tuple[Stretch, ...] | None = None
    at: time | None = None
    edits: tuple[Edit, ...] = ()
    previous: tuple[PastVisit, ...] = ()
    known_names: tuple[tuple[str, str], ...] = ()

    @property
    def written(self) -> str | None:
        """Where the words were typed: when, and for when ("written 18:40 for 10:00")."""
        typed = self.recording.typed_at
        if typed is None:
            return None
        at = self.at.strftime("%H:%M") if self.at else ""
        if typed.date() == self.day:
            return f"written {typed:%H:%M}" + (f" for {at}" if at else "")
        return f"written {typed:%Y-%m-%d %H:%M} for {self.day}" + (f" {at}" if at else "")


class Drafted(Frozen):
    """What the stages made of a visit: derived, and made again at any time from its VisitRecord.

    ``transcript``: the words as they hold now (the stored ones with corrections and doubts); the items rest on them.
    ``changes``: what a person did to the lines; the items are as they stand after it.
    """

    transcript: Transcript
    extraction: Extraction
    remarks: tuple[Remark, ...]
    note: Note
    changes: Changes = Changes()
