"""One visit as the store keeps it, and as the stages draft it; here so that neither has to load the other."""

from datetime import date

from pipeline.model import Age, Edit, Extraction, Frozen, Infant, Note, Recording, Remark, Transcript


class VisitRecord(Frozen):
    """All that is on record of a visit and that its draft follows from. ``edits`` in the order they were made."""

    visit: str
    infant: Infant
    day: date
    age: Age | None
    recording: Recording
    transcript: Transcript
    transcript_sha256: str
    edits: tuple[Edit, ...] = ()


class Drafted(Frozen):
    """What the stages made of a visit: derived, and made again at any time from its VisitRecord.

    ``transcript``: the words as they hold now (the stored ones with corrections and doubts); the items rest on them.
    """

    transcript: Transcript
    extraction: Extraction
    remarks: tuple[Remark, ...]
    note: Note
