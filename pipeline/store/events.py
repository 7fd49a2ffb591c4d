"""What the record holds: one frozen payload a kind of event, told apart by ``type``.

An event is never changed or deleted, but for what a redaction destroys of it. Kinds may gain optional fields; a kind
once written is never renamed.
"""

from datetime import date, datetime, time
from typing import Annotated, Any, Literal

from pydantic import Field, TypeAdapter, ValidationError

from pipeline.errors import StoreError
from pipeline.model import (
    Age,
    Answer,
    Destroyed,
    Frozen,
    Infant,
    LineEdit,
    Practitioner,
    Recording,
    Redo,
    Stretch,
    Undo,
    WordCorrection,
)


class InfantEntered(Frozen):
    """An infant is known from here on."""

    type: Literal["infant_entered"] = "infant_entered"
    infant: Infant


class InfantRevised(Frozen):
    """What is known of an infant was completed or put right; the whole of it as it stands now."""

    type: Literal["infant_revised"] = "infant_revised"
    infant: Infant


class InfantsMerged(Frozen):
    """Two entries turned out to be one infant: ``merged`` stays as it was entered, its visits go to ``kept``.

    ``before`` and ``after``: what was known of ``kept`` without and with the other's facts, so that it can be undone.
    """

    type: Literal["infants_merged"] = "infants_merged"
    kept: str
    merged: str
    before: Infant
    after: Infant


class InfantsSplit(Frozen):
    """A merge undone: ``merged`` stands by itself again, with the visits filed to it; ``kept`` as known now."""

    type: Literal["infants_split"] = "infants_split"
    merged: str
    kept: Infant


class VisitOpened(Frozen):
    """A visit of an infant on a day, at ``at`` where that was said."""

    type: Literal["visit_opened"] = "visit_opened"
    visit: str
    infant: str
    day: date
    age: Age | None = None
    at: time | None = None


class VisitRevised(Frozen):
    """The day or the age of a visit was put right."""

    type: Literal["visit_revised"] = "visit_revised"
    day: date
    age: Age | None = None


class VisitMoved(Frozen):
    """A visit was filed to the wrong infant: it belongs to ``infant``, with the age that this gives."""

    type: Literal["visit_moved"] = "visit_moved"
    infant: str
    age: Age | None = None
    reason: str = ""


class StretchesGiven(Frozen):
    """Of a recording that holds several infants, these stretches (ms) and no others belong to the visit.

    Stretches given to no visit belong to nobody; a visit that is given none has no recording any more.
    """

    type: Literal["stretches_given"] = "stretches_given"
    recording: str
    stretches: tuple[Stretch, ...] = ()


class RecordingSealed(Frozen):
    """A recording (or a typed text) belongs to the visit; its bytes are the blob ``recording.sha256``."""

    type: Literal["recording_sealed"] = "recording_sealed"
    recording: Recording


class TranscriptMade(Frozen):
    """A recording was heard (again): a new version, whose JSON is the blob ``sha256``."""

    type: Literal["transcript_made"] = "transcript_made"
    recording: str
    sha256: str
    model_sha256: str
    vocab_hash: str


class Signed(Frozen):
    """The note as signed; its JSON and renderings are blobs (name -> SHA-256)."""

    type: Literal["signed"] = "signed"
    note: str
    renderings: dict[str, str]
    signer: str
    program: str
    vocab_hash: str
    role: str = ""
    initials: str = ""
    second: str = ""
    second_role: str = ""
    second_initials: str = ""
    left_open: dict[str, str] = Field(default_factory=dict)
    recording_sha256: str = ""
    transcript_sha256: str = ""
    norms_sha256: str = ""


class Addendum(Frozen):
    """Words added after signing: what is missing told late, a correction (the original stays), or an addition.

    ``line``: the line of the signed note that it is about; ``reason``: why it was not in the note.
    """

    type: Literal["addendum"] = "addendum"
    text: str
    signer: str
    kind: Literal["late_entry", "correction", "addition"] = "addition"
    role: str = ""
    reason: str = ""
    line: str = ""


class Attached(Frozen):
    """A file that came with a contact: its blob, the name it came under, its size in bytes."""

    sha256: str
    name: str
    size: int


class Contact(Frozen):
    """A dated entry that is no visit; attached files are blobs."""

    type: Literal["contact"] = "contact"
    day: date
    what: Literal["call", "report", "referral_answer", "visit_missed", "other"]
    text: str
    at: time | None = None
    files: tuple[Attached, ...] = ()


class Consent(Frozen):
    """Consent to examine, treat or record, as given by whom."""

    type: Literal["consent"] = "consent"
    scope: Literal["examine", "treat", "record"]
    state: Literal["given", "declined", "withdrawn"]
    giver: str = ""
    at_ms: int | None = None


Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Sha256OrNone = Annotated[str, Field(pattern=r"^([0-9a-f]{64})?$")]


class Redaction(Frozen):
    """A stretch (ms) of a recording destroyed for a stated reason: the tombstone, one for each visit that holds it.

    replaced: stored files that are destroyed, by their SHA-256, each with the file in its place ("" = none).
    events: those whose words were destroyed, by their id, each with the hash of what stands there now (``content_hash``
    without salt); their place in the chain still proves what they were. words: how many were destroyed. media_type: of
    the recording's file now, "" where it is as it was.
    """

    type: Literal["redaction"] = "redaction"
    recording: str
    start_ms: int
    end_ms: int
    reason: str
    by: str = ""
    words: int = 0
    media_type: str = ""
    replaced: dict[Sha256, Sha256OrNone] = Field(default_factory=dict)
    events: dict[str, Sha256] = Field(default_factory=dict)


class SoundDestroyed(Frozen):
    """The sound of a recording destroyed after its time; words and lines stay. One for each visit that holds it.

    rule: why, in words. replaced: the file, with nothing in its place.
    """

    type: Literal["sound_destroyed"] = "sound_destroyed"
    recording: str
    rule: str
    by: str
    replaced: dict[Sha256, Sha256OrNone] = Field(default_factory=dict)


class RecordDestroyed(Frozen):
    """All that was on record of an infant (with the entries merged into it) destroyed after its time.

    rule, by: why, and who did it. replaced, events: as of a redaction; nothing stands in their place but a mark.
    """

    type: Literal["record_destroyed"] = "record_destroyed"
    infants: tuple[str, ...]
    rule: str
    by: str
    replaced: dict[Sha256, Sha256OrNone] = Field(default_factory=dict)
    events: dict[str, Sha256] = Field(default_factory=dict)


class Hold(Frozen):
    """A legal hold on all of an infant's record: nothing of it may be destroyed until it is lifted."""

    type: Literal["hold"] = "hold"
    state: Literal["set", "lifted"]
    reason: str
    by: str


class PractitionerEntered(Frozen):
    """Somebody works here from here on; what they do carries their id as ``author`` of its event."""

    type: Literal["practitioner_entered"] = "practitioner_entered"
    practitioner: Practitioner


class PractitionerRevised(Frozen):
    """What is known of a practitioner now, the last day among it."""

    type: Literal["practitioner_revised"] = "practitioner_revised"
    practitioner: Practitioner


class HeldBack(Frozen):
    """A stretch (ms) of a visit's recording that tells of somebody else, or in which somebody else is heard: no copy
    for a request holds it unless it is released."""

    type: Literal["held_back"] = "held_back"
    start_ms: int
    end_ms: int
    why: str


class Disclosed(Frozen):
    """What was given out of an infant's record: to whom, on what ground, and which things.

    released: what is otherwise held back and was given all the same, each with the reason. by: who answers for it.
    contents_sha256: of the list of files of a copy, "" where it was given by other means.
    """

    type: Literal["disclosed"] = "disclosed"
    to: str
    ground: str
    what: str
    by: str
    day: date
    released: dict[Literal["third-party", "safeguarding"], str] = Field(default_factory=dict)
    contents_sha256: str = ""


class Read(Frozen):
    """Somebody opened what is on record: which sort of it, and at a page or by a command.

    visits: of what names several visits (the lines of a search); without visits, and where the event is of no visit and
    no infant, all of the record.
    """

    type: Literal["read"] = "read"
    what: Literal["note", "sound", "paper", "lines", "course", "due", "contacts", "earlier note", "export", "copy"]
    way: Literal["page", "command"]
    visits: tuple[str, ...] = ()


Payload = Annotated[
    InfantEntered
    | InfantRevised
    | InfantsMerged
    | InfantsSplit
    | VisitOpened
    | VisitRevised
    | VisitMoved
    | StretchesGiven
    | RecordingSealed
    | TranscriptMade
    | LineEdit
    | WordCorrection
    | Answer
    | Undo
    | Redo
    | Signed
    | Addendum
    | Contact
    | Consent
    | Redaction
    | SoundDestroyed
    | RecordDestroyed
    | Hold
    | PractitionerEntered
    | PractitionerRevised
    | HeldBack
    | Disclosed
    | Read
    | Destroyed,
    Field(discriminator="type"),
]
_PAYLOAD: TypeAdapter[Payload] = TypeAdapter(Payload)


class Event(Frozen):
    """One row of the record. ``id`` is a ULID; ``seq`` the order of replay; ``at`` in UTC."""

    seq: int
    id: str
    at: datetime
    author: str
    infant: str | None
    visit: str | None
    payload: Payload


def kind_of(payload: Payload) -> str:
    """The kind of an event by its payload, also of one that is destroyed."""
    return payload.was if isinstance(payload, Destroyed) else payload.type


def read_payload(data: Any, seq: int) -> Payload:
    """The payload of event ``seq``. Raises StoreError where it is of no known kind or form."""
    try:
        return _PAYLOAD.validate_python(data, strict=False)
    except ValidationError as error:
        raise StoreError(
            f"event {seq} of the record cannot be read ({error.errors()[0]['msg']}); it may come from a newer "
            "version of this program: update it, or restore a backup."
        ) from error


def event_of(row: Any) -> Event:
    """A row of the event table. Raises StoreError where its payload cannot be read."""
    return Event(
        seq=row.seq,
        id=row.id,
        at=datetime.fromisoformat(row.at),
        author=row.author,
        infant=row.infant,
        visit=row.visit,
        payload=read_payload(row.payload, row.seq),
    )
