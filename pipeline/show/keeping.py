"""Infants, visits and contacts as lines for a person at a terminal."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import TYPE_CHECKING

from pipeline.config import Config
from pipeline.show.lines import note_line
from pipeline.times import clock

if TYPE_CHECKING:
    from pipeline.handwritten import Written
    from pipeline.infants import Listed
    from pipeline.model import Infant
    from pipeline.moves import Moved, Part, Proposed
    from pipeline.records import ContactEntry, VisitEntry, VisitOnRecord

_CONTACTS = {"referral_answer": "answer to a referral", "visit_missed": "visit missed"}


def infant_lines(infant: "Infant") -> Iterator[str]:
    """An infant and what is known of it."""
    yield f"{infant.code_name}  {infant.id}"
    consent = {True: "may consent", False: "may not consent", None: "authority to consent not known"}
    known = (
        ("name", infant.legal_name),
        ("born", infant.born),
        ("sex", infant.sex),
        ("gestation", f"{infant.gestation_weeks} weeks" if infant.gestation_weeks is not None else None),
        ("birth weight", f"{infant.birth_weight_kg:g} kg" if infant.birth_weight_kg is not None else None),
        ("known risks", ", ".join(infant.risk_factors)),
        *(("carer", ", ".join(filter(None, (c.name, c.role, consent[c.may_consent])))) for c in infant.carers),
    )
    yield from (f"    {what}: {value}" for what, value in known if value)


def infants_lines(listed: "Sequence[Listed]") -> Iterator[str]:
    """Every infant with its visits, and the entries merged into it."""
    if not listed:
        yield "No infant is on record."
    for one in listed:
        yield from infant_lines(one.infant)
        yield f"    visits: {one.visits}"
        if one.also:
            yield f"    entered as well as: {', '.join(one.also)}"


def redrafted_lines(days: Sequence[date]) -> Iterator[str]:
    """Which visits were drafted again."""
    if days:
        yield f"Drafted again: {_visits(days)}."


def visits_lines(visits: "Sequence[VisitOnRecord]") -> Iterator[str]:
    """Every visit with how it stands."""
    if not visits:
        yield "No visit is on record."
    for visit in visits:
        state = "signed" if visit.signed else "draft" if visit.transcribed else "open: nothing written yet"
        yield f"{visit.day}  {visit.code_name}  {state}  {visit.id}"


def opened_lines(visit: "VisitEntry") -> Iterator[str]:
    """A visit opened by hand, and how its words get in."""
    at = f" {visit.at:%H:%M}" if visit.at else ""
    yield f"Visit {visit.id}: {visit.infant.code_name}, {visit.day}{at}, open"
    yield f"Write it:    handspoken visit write {visit.id} TEXT"
    yield f"Or dictate:  handspoken draft AUDIO --visit {visit.id}"


def written_lines(written: "Written") -> Iterator[str]:
    """A visit that was written by hand."""
    yield f"Visit {written.entry.id}: {written.entry.infant.code_name}, {written.entry.day}, {written.stamp}"
    yield from redrafted_lines([day for day in written.redrafted if day != written.entry.day])
    yield note_line(written.folder, written.entry.id)
    yield "A draft, to be checked and signed by a licensed clinician."


def moved_lines(moved: "Moved") -> Iterator[str]:
    """A visit that was moved."""
    yield f"Visit {moved.visit} of {moved.day}: from {moved.before.code_name} to {moved.after.code_name}."
    yield from redrafted_lines(moved.redrafted)
    if moved.signed:
        yield "It is signed: the signed note stays as it is and names the other infant. Add an addendum that says so."


def proposed_lines(proposed: "Proposed") -> Iterator[str]:
    """Where a recording may be cut, and how to decide it."""
    visit = proposed.visit
    yield f"Visit {visit.id}: {visit.infant.code_name}, {visit.day}, {clock(proposed.duration_ms)}"
    for cut in proposed.cuts:
        yield f"    {clock(cut.at_ms)}  “{cut.quote}”"
    if not proposed.cuts:
        yield "    Nothing said points to another infant."
    for (start, end), infant in proposed.stretches:
        yield f"    {clock(start)}-{clock(end)}  now {infant}"
    yield "You decide; what is given to nobody belongs to nobody:"
    gives = " ".join(f"--give {clock(start)}-{clock(end)}=INFANT" for (start, end), _ in proposed.stretches)
    yield f"    handspoken visit cut {visit.id} {gives}"


def parts_lines(parts: "Iterable[Part]", config: Config) -> Iterator[str]:
    """The visits that a recording was cut into."""
    for part in parts:
        stretches = ", ".join(f"{clock(start)}-{clock(end)}" for start, end in part.stretches)
        yield f"Visit {part.visit}: {part.infant}, {stretches}"
        yield f"    {note_line(config.note_folder(part.visit), part.visit)}"


def contact_lines(infant: "Infant", contacts: "Sequence[ContactEntry]", config: Config) -> Iterator[str]:
    """Contacts of an infant, with where their files lie."""
    if not contacts:
        yield f"{infant.code_name}: no contact is on record."
    for contact in contacts:
        at = f" {contact.at:%H:%M}" if contact.at else ""
        yield f"{infant.code_name}  {contact.day}{at}  {_CONTACTS.get(contact.what, contact.what)}: {contact.text}"
        for sha256, name, size in contact.files:
            where = config.blobs / sha256[:2] / sha256
            told = f"handspoken contact list {infant.code_name} --to FOLDER" if config.encrypted else where
            yield f"    {name} ({size} bytes): {told}"


def _visits(days: Sequence[date]) -> str:
    return f"the visit{'s' * (len(days) != 1)} of {', '.join(map(str, days))}"
