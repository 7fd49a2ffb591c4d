"""One visit as the store keeps it, and as the stages draft it; here so that neither has to load the other."""

from datetime import date

from pipeline.model import Age, Edit, Extraction, Frozen, Infant, Item, Note, Recording, Remark, Transcript


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


class VisitRecord(Frozen):
    """All that is on record of a visit and that its draft follows from. ``edits`` in the order they were made.

    previous: the infant's earlier visits, oldest first. known_names: names of the infants entered before this visit,
    each with the infant's id.
    """

    visit: str
    infant: Infant
    day: date
    age: Age | None
    recording: Recording
    transcript: Transcript
    transcript_sha256: str
    edits: tuple[Edit, ...] = ()
    previous: tuple[PastVisit, ...] = ()
    known_names: tuple[tuple[str, str], ...] = ()


class Drafted(Frozen):
    """What the stages made of a visit: derived, and made again at any time from its VisitRecord.

    ``transcript``: the words as they hold now (the stored ones with corrections and doubts); the items rest on them.
    """

    transcript: Transcript
    extraction: Extraction
    remarks: tuple[Remark, ...]
    note: Note
