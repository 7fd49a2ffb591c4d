"""Signing: what is still open, the note as it is signed, and what may be added afterwards.

Interface: the signed note is Note JSON, renderings and hashes; nothing rebuilds it. Afterwards only addenda: the
original stays legible, each addition says when, by whom and why.
"""

from collections.abc import Iterable
from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field, StringConstraints, ValidationError

from pipeline.errors import ConflictError, InputError, NotFoundError, StoreError
from pipeline.files import Staged, staged
from pipeline.model import Answer, Frozen, Note, Remark, Section
from pipeline.prompts import PROMPT_SECTIONS
from pipeline.records import Drafted
from pipeline.review.cards import PointCard, Sheet
from pipeline.review.sheets import Sheets
from pipeline.safe import clean
from pipeline.store import Store
from pipeline.store.events import Addendum, Signed
from pipeline.visits import sound_copy, write_note

Typed = Annotated[str, StringConstraints(max_length=120)]
LEFT_OPEN = "left open"
NOTED = "noted"  # says nothing that a reader of the note needs
NOT_IN_THE_NOTE = ("again", "check", "not_looked_at", "struck")  # shown before signing only
_SECOND_HANDS = ("student", "second_practitioner")


class Signature(Frozen):
    """Who signs. ``reasons``: why a point that must be answered is left open, by its id."""

    name: Typed
    role: Typed
    initials: Typed = ""
    second: Typed = ""
    second_role: Typed = ""
    second_initials: Typed = ""
    reasons: dict[
        Annotated[str, StringConstraints(max_length=300)], Annotated[str, StringConstraints(max_length=500)]
    ] = Field(default_factory=dict, max_length=200)


class Addition(Frozen):
    """What is added to a signed note."""

    kind: Literal["late_entry", "correction", "addition"]
    text: Annotated[str, StringConstraints(max_length=5000)]
    reason: Annotated[str, StringConstraints(max_length=500)]
    name: Typed
    role: Typed
    line: Annotated[str, StringConstraints(max_length=300)] = ""


class Entry(Frozen):
    """An addendum with its time."""

    at: datetime
    addendum: Addendum


class SignedNote(Frozen):
    """A note as it was signed, what was added, and what this version of the program would word otherwise."""

    note: Note
    signed: Signed
    at: datetime
    sha256: str
    addenda: tuple[Entry, ...]
    differs: tuple[tuple[str, str], ...]


class Signing(Frozen):
    """What stands before signing. ``second``: whether somebody else's hands took part."""

    sheet: Sheet
    open: tuple[PointCard, ...]
    blocking: tuple[PointCard, ...]
    second: bool


def before_signing(sheets: Sheets, visit: str) -> Signing:
    """The open points of a draft. Raises NotFoundError, StoreError."""
    sheet = sheets.sheet(visit)
    waiting = [point for point in sheet.points() if not point.answer]
    return Signing(
        sheet=sheet,
        open=tuple(point for point in waiting if not point.blocks),
        blocking=tuple(point for point in waiting if point.blocks),
        second=_second_hands(sheets.draft_of(visit)),
    )


def sign(sheets: Sheets, visit: str, version: int, signature: Signature) -> None:
    """Sign the draft: render it, hash it, lock it. The files of a note that lie in clear become those that were signed.

    Raises ConflictError where it changed meanwhile or is signed, InputError where an answer, a reason, a name or second
    initials are missing; nothing is kept then.
    """
    given = Signature.model_validate({key: _tidy(value) for key, value in signature.model_dump().items()})
    with staged() as batch:
        _sign(sheets, visit, version, given, batch)
        batch.publish()


def _sign(sheets: Sheets, visit: str, version: int, given: Signature, batch: Staged) -> None:
    with sheets.open() as store, store.writing() as unit:
        if unit.visit(visit).signed:
            raise ConflictError("this note is signed already; add to it by an addendum.")
        if unit.version(visit) != version:
            raise ConflictError("this visit was changed in another window meanwhile; look at it again, then sign.")
        standing = sheets.standing(unit, visit)
        _complete(given, standing.sheet, _second_hands(standing.drafted))
        left = {point.id: given.reasons[point.id] for point in _blocking(standing.sheet)}
        for key, reason in left.items():
            unit.append(
                Answer(remark_id=key, choice=LEFT_OPEN, text=reason), visit=visit, infant=standing.record.infant.id
            )
        standing = sheets.standing(unit, visit)
        record, drafted = standing.record, standing.drafted
        unit.put_draft(record, drafted)
        note = _final(drafted.note, given, sheets.now())
        files = sheets.stages.render(note, drafted.transcript, None)
        payload = Signed(
            note=unit.blobs.keep(note.model_dump_json().encode()),
            renderings={name: unit.blobs.keep(data) for name, data in files.items()},
            signer=given.name,
            role=given.role,
            initials=given.initials,
            second=given.second,
            second_role=given.second_role,
            second_initials=given.second_initials,
            left_open=left,
            program=note.program,
            vocab_hash=note.vocab_hash,
            recording_sha256=record.recording.sha256,
            transcript_sha256=record.transcript_sha256,
            norms_sha256=sheets.stages.norms_sha256(),
        )
        unit.append(payload, visit=visit, infant=record.infant.id)
        if (folder := sheets.note_folder(visit)) is not None:
            copy = sound_copy(unit, record, sheets.stages)
            write_note(batch, folder, sheets.stages.render(note, drafted.transcript, copy))


def add(sheets: Sheets, visit: str, version: int, addition: Addition) -> None:
    """Add to a signed note. Raises ConflictError where it is not signed or was added to meanwhile, InputError."""
    given = Addition.model_validate({key: _tidy(value) for key, value in addition.model_dump().items()})
    for what, value in (("text", given.text), ("reason", given.reason), ("name", given.name), ("role", given.role)):
        if not value:
            raise InputError(f"give the {what}.")
    with sheets.open() as store, store.writing() as unit:
        if not unit.visit(visit).signed:
            raise ConflictError("this note is not signed yet: put it right instead.")
        if unit.version(visit) != version:
            raise ConflictError("something was added in another window meanwhile; look at it, then save again.")
        payload = Addendum(
            text=given.text,
            signer=given.name,
            role=given.role,
            kind=given.kind,
            reason=given.reason,
            line=given.line,
        )
        unit.append(payload, visit=visit, infant=unit.visit(visit).infant.id)


def signed_note(sheets: Sheets, visit: str) -> SignedNote | None:
    """The note as signed; None where it is not. Raises NotFoundError, StoreError where a blob is damaged."""
    with sheets.open() as store:
        if not store.visit(visit).signed:
            return None
        events = store.events(visit=visit)
        signed = next(event for event in events if isinstance(event.payload, Signed))
        payload = signed.payload
        assert isinstance(payload, Signed)
        note = _read(store, payload.note)
        addenda = tuple(
            Entry(at=event.at.astimezone(), addendum=event.payload)
            for event in events
            if isinstance(event.payload, Addendum)
        )
    return SignedNote(
        note=note,
        signed=payload,
        at=note.signed_at or signed.at,
        sha256=payload.note,
        addenda=addenda,
        differs=tuple(_differences(note, sheets.draft_of(visit).note)),
    )


def rendering(sheets: Sheets, visit: str, name: str) -> bytes:
    """A file of the signed note as it was kept. Raises NotFoundError, StoreError."""
    with sheets.open() as store:
        for event in store.events(visit=visit):
            if isinstance(event.payload, Signed) and name in event.payload.renderings:
                return store.stored(event.payload.renderings[name])
    raise NotFoundError(f"visit {visit}: there is no signed {name}.")


def _complete(given: Signature, sheet: Sheet, second: bool) -> None:
    """Raises InputError where something is missing."""
    if not given.name or not given.role:
        raise InputError("give your name and your role.")
    for point in _blocking(sheet):
        if not given.reasons.get(point.id):
            raise InputError(f"“{clean(point.text)}” must be answered, or say why it is left open.")
    if second and not (given.second and given.second_role and given.second_initials):
        raise InputError("a student or a second practitioner took part: their name, role and initials are needed.")


def _blocking(sheet: Sheet) -> list[PointCard]:
    return [point for point in sheet.points() if point.blocks and not point.answer]


def _second_hands(drafted: Drafted) -> bool:
    present = [line.id for part in drafted.note.parts() if part.id == "present" for line in part.lines]
    found = {str(item.source_role) for item in drafted.extraction.items}
    return bool(found.intersection(_SECOND_HANDS)) or any(line.endswith(_SECOND_HANDS) for line in present)


def _final(note: Note, given: Signature, at: datetime) -> Note:
    """What the clinician adopts: no prompts but as answers, nothing that was only asked, nothing of safeguarding."""
    second = f"; {given.second}, {given.second_role} (initials {given.second_initials})" if given.second else ""
    return note.model_copy(
        update={
            "sections": tuple(_kept(section) for section in note.sections if section.id not in NOT_IN_THE_NOTE),
            "remarks": tuple(r for r in note.remarks if _adopted(r)),
            "cautions": note.cautions[1:],  # the first one says that this is a draft
            "signed_by": f"{given.name}, {given.role}{f' ({given.initials})' if given.initials else ''}{second}",
            "signed_at": at,
        }
    )


def _adopted(remark: Remark) -> bool:
    said = remark.answer if remark.danger else remark.answer.removeprefix(NOTED)
    return bool(said) and not remark.safeguarding


def _kept(section: Section) -> Section:
    """A part with its lines; points stay with their answers alone."""
    lines = tuple(
        line.model_copy(update={"points": tuple(point for point in line.points if point.answer)})
        for line in section.lines
    )
    return section.model_copy(update={"lines": lines, "subsections": tuple(_kept(s) for s in section.subsections)})


def _differences(signed: Note, now: Note) -> Iterable[tuple[str, str]]:
    """Lines that this program words otherwise, or that only one of the two has: (as signed, as it would be)."""
    old, new = _lines(signed), _lines(now)
    for key in dict.fromkeys((*old, *new)):
        if old.get(key) != new.get(key):
            yield old.get(key, ""), new.get(key, "")


def _lines(note: Note) -> dict[str, str]:
    return {line.id: line.text for part in note.parts() if part.id not in PROMPT_SECTIONS for line in part.lines}


def _read(store: Store, sha256: str) -> Note:
    try:
        return Note.model_validate_json(store.stored(sha256))
    except ValidationError as error:
        raise StoreError(f"{store.blobs.path(sha256)}: no note of this program's form.") from error


def _tidy(value: object) -> object:
    if isinstance(value, str):
        return " ".join(clean(value).split())
    if isinstance(value, dict):
        return {key: _tidy(inner) for key, inner in value.items()}
    return value
