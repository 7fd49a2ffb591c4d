"""A visit as an export takes it: what was drafted or signed, and what stands around it on record."""

from datetime import datetime
from typing import Literal

from pipeline.model import Frozen, Note
from pipeline.records import ContactEntry, Drafted, VisitRecord


class Signature(Frozen):
    """Who signed or initialled, as what, and when."""

    name: str
    role: str = ""
    at: datetime


class Addition(Frozen):
    """Words added after signing. ``what``: a late entry, a correction ...; ``about``: the line that it is about."""

    name: str
    role: str = ""
    at: datetime
    text: str
    what: str = ""
    reason: str = ""
    about: str = ""


class ConsentTold(Frozen):
    """A consent as kept on record beside the words of the visit."""

    id: str
    at: datetime
    scope: Literal["examine", "treat", "record"]
    state: Literal["given", "declined", "withdrawn"]
    giver: str = ""


class VisitDocument(Frozen):
    """One visit with everything that its document holds. ``changed_at``: the newest event of the visit.

    ``drafted``: what the stages make of the record. ``signed_note``: the note as signed, which nothing makes anew, with
    its hash, that of the norms it was held against, and why points were left open. The first of ``signatures`` signed.
    ``contacts``: those since the visit before. ``nameless``: a copy without names, words and sound (``nameless.py``).
    """

    record: VisitRecord
    drafted: Drafted
    changed_at: datetime
    program: str
    signed_note: Note | None = None
    signed_sha256: str = ""
    norms_sha256: str = ""
    left_open: tuple[str, ...] = ()
    signatures: tuple[Signature, ...] = ()
    additions: tuple[Addition, ...] = ()
    consents: tuple[ConsentTold, ...] = ()
    contacts: tuple[ContactEntry, ...] = ()
    nameless: bool = False

    @property
    def note(self) -> Note:
        """The note that counts: as signed, else as drafted."""
        return self.signed_note or self.drafted.note
