"""What is given out of an infant's record: a copy of everything for a request, and the log of all that was given.

Held back are stretches that tell of somebody else (marked by ``hold_back``; those of a twin never go along) and what
was asked and answered about safeguarding, unless released by name and with a reason, which the log keeps.
"""

import csv
import hashlib
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path
from typing import Literal

from pipeline.config import Config
from pipeline.errors import InputError, NotFoundError
from pipeline.files import Staged, check_place, staged
from pipeline.infants import checked_text, found
from pipeline.model import Frozen, Infant, Line, Note, Section, Stretch, Transcript
from pipeline.moves import parse_time
from pipeline.practitioners import at_work
from pipeline.readings import Entry, entries
from pipeline.records import VisitEntry
from pipeline.run import derive
from pipeline.stages import Stages
from pipeline.store import Store, Writing
from pipeline.store.events import Addendum, Disclosed, HeldBack, Signed
from pipeline.store.readings import note_reading
from pipeline.vtt import write_vtt

__all__ = ["Copied", "Disclosed", "Kept", "Request", "Told", "copy", "disclosures", "hold_back", "note"]

Kept = Literal["third-party", "safeguarding"]
MARK = "[held back]"
PLACES = "places"  # the section that the outline is drawn from
CONTENTS = "contents.txt"
_LONGEST = 400
_PAPERS = ("parents", "letter")


@dataclass(frozen=True)
class Request:
    """Who asked, on what ground, who answers for it ("" = who is at work); what is released and why; whether sound goes
    along."""

    to: str
    ground: str
    by: str = ""
    released: dict[Kept, str] = field(default_factory=dict)
    sound: bool = False


class Told(Frozen):
    """One entry of the log of disclosures."""

    at: datetime
    infant: str
    disclosed: Disclosed


@dataclass
class Copied:
    """What was written, and what was held back or could not go along, in words."""

    infant: Infant
    folder: Path
    files: dict[str, str] = field(default_factory=dict)  # name -> SHA-256
    held: list[str] = field(default_factory=list)


def hold_back(key: str, start: str, end: str, why: str, config: Config) -> HeldBack:
    """Mark a stretch of a visit (minutes:seconds) as telling of somebody else. Raises NotFoundError, InputError."""
    reason = checked_text(why, "the reason", _LONGEST)
    with _open(config) as store, store.writing() as unit:
        entry = unit.find_visit(key)
        stretch = parse_time(start, start), parse_time(end, end)
        if entry.recording is None or not 0 <= stretch[0] < min(stretch[1], max(entry.recording.duration_ms, 1)):
            raise InputError(f"{start[:20]} to {end[:20]}: no stretch of this recording.")
        held = HeldBack(start_ms=stretch[0], end_ms=stretch[1], why=reason)
        unit.append(held, visit=entry.id, infant=entry.infant.id)
    return held


def note(key: str, what: str, request: Request, config: Config, *, on: date) -> Disclosed:
    """Note what was given by other means. Raises NotFoundError, InputError, StoreError."""
    told = _checked(request, checked_text(what, "what was given", _LONGEST), config, on)
    with _open(config) as store, store.writing() as unit:
        unit.append(told, infant=found(unit, key).id)
    return told


def disclosures(config: Config, key: str | None = None) -> list[Told]:
    """The log, oldest first, of one infant or of all. Raises NotFoundError, StoreError."""
    with _open(config) as store, store.writing() as unit:
        if key is not None:
            infant = found(unit, key)
            return _told(infant, unit)
        every = [one for infant, _, _ in store.infants() for one in _told(infant, unit)]
        return sorted(every, key=lambda one: one.at)


def copy(key: str, request: Request, to: Path, config: Config, stages: Stages, *, on: date) -> Copied:
    """Write everything of an infant for a request into the new folder ``to`` and note it in the log.

    Notes as they were signed (of unsigned visits the draft), addenda, letters, words, contacts with their files, who
    read and who changed the record, what was given before. Raises NotFoundError, InputError, StoreError.
    """
    check_place(to)
    if to.exists():
        raise InputError(f"{to}: is there already; name a new folder.")
    told = _checked(request, f"copy of the record{', with sound' if request.sound else ''}", config, on)
    with _open(config) as store, staged() as batch:
        with store.writing() as unit:
            infant = found(unit, key)
            out = _Out(unit, batch, stages, request, Copied(infant, to))
            out.about(infant, entries(unit, infant.id), _told(infant, unit))
            for visit in unit.visits_of(infant=infant.id):
                out.visit(visit)
            for contact in store.contacts(infant.id):
                for sha256, name, _ in contact.files:
                    out.write(f"contacts/{contact.day} {contact.id[-6:]} {_plain(name)}", unit.stored(sha256))
            contents = out.contents(told)
            out.write(CONTENTS, contents)
            sha256 = hashlib.sha256(contents).hexdigest()
            unit.append(told.model_copy(update={"contents_sha256": sha256}), infant=infant.id)
        batch.publish()  # what the log tells of may at worst not be there
    payload = {"type": "read", "what": "copy", "way": "command", "visits": []}
    note_reading(config.home, payload, infant=infant.id)
    return out.done


class _Out:
    """Writes one copy into a batch that is published as a whole."""

    def __init__(self, unit: Writing, batch: Staged, stages: Stages, request: Request, done: Copied) -> None:
        self._unit, self._batch, self._stages, self._request, self.done = unit, batch, stages, request, done

    def write(self, name: str, data: bytes) -> None:
        """One file of the copy."""
        if name in self.done.files:
            raise InputError(f"{name}: stands twice in the copy.")
        self._batch.write(self.done.folder / name, data)
        self.done.files[name] = hashlib.sha256(data).hexdigest()

    def about(self, infant: Infant, log: Iterable[Entry], given: Iterable[Told]) -> None:
        """What is known of the infant, who read and changed it, what was given before."""
        self.write("infant.json", infant.model_dump_json(indent=1).encode())
        rows = [(one.at.isoformat(), one.by, "read" if one.way else "entered", one.what, one.visit) for one in log]
        self.write("who read and changed it.csv", _csv(("at", "by", "how", "what", "visit"), rows))
        gave = [
            (d.day.isoformat(), d.to, d.ground, d.what, d.by, "; ".join(f"{k}: {why}" for k, why in d.released.items()))
            for d in (one.disclosed for one in given)
        ]
        self.write("given before.csv", _csv(("day", "to", "ground", "what", "by", "released"), gave))

    def visit(self, entry: VisitEntry) -> None:
        """The note and what belongs to it."""
        folder = f"{entry.day} {entry.id}"
        if entry.transcript_sha256 is None:
            self.done.held.append(f"visit of {entry.day}: it holds no words yet")
            return
        events = self._unit.events(visit=entry.id)
        held = [] if "third-party" in self._request.released else [
            (event.payload.start_ms, event.payload.end_ms) for event in events if isinstance(event.payload, HeldBack)
        ]  # fmt: skip
        if held:
            self.done.held.append(f"visit of {entry.day}: {len(held)} stretches that tell of somebody else")
        record = self._unit.record(entry.id)
        drafted = derive(record, self._stages)
        signed = next((event.payload for event in events if isinstance(event.payload, Signed)), None)
        if "safeguarding" in self._request.released:
            asked = [f"{r.title}: {r.answer or 'open'}" for r in drafted.remarks if r.safeguarding]
            if asked:
                self.write(f"{folder}/safeguarding.txt", "\n".join(asked).encode())
        elif any(remark.safeguarding for remark in drafted.remarks):
            self.done.held.append(f"visit of {entry.day}: what was asked and answered about safeguarding")
        words = _words_without(drafted.transcript, held)
        whole = Note.model_validate_json(self._unit.stored(signed.note)) if signed else _no_safeguarding(drafted.note)
        shown = _note_without(whole, held)
        if signed and not held:
            for name, sha256 in signed.renderings.items():
                self.write(f"{folder}/{name}", self._unit.stored(sha256))
        else:
            for name, data in self._stages.render(shown, words, None).items():
                self.write(f"{folder}/{name}", data)
        items = tuple(
            i for i in drafted.extraction.items if not _meets(((s.start_ms, s.end_ms) for s in i.evidence), held)
        )
        for kind in _PAPERS:
            paper = self._stages.paper(kind, "html", shown, items)
            if paper is not None:
                self.write(f"{folder}/{kind}.html", paper)
        added = [(event.at, event.payload) for event in events if isinstance(event.payload, Addendum)]
        if added:
            lines = [
                f"{at:%Y-%m-%d %H:%M} UTC, {a.kind}, {a.signer}, {a.role}: {a.text} ({a.reason})" for at, a in added
            ]
            self.write(f"{folder}/added.txt", "\n".join(lines).encode())
        self.write(f"{folder}/words.vtt", write_vtt(words).encode())
        if self._request.sound:
            self._sound(entry, folder, held)

    def contents(self, told: Disclosed) -> bytes:
        """The list of all files with their hashes, and what is not there."""
        lines = [f"Copy of the record of {self.done.infant.code_name} ({self.done.infant.id})"]
        lines += [f"For {told.to}, {told.day}. Ground: {told.ground}. Given by {told.by}."]
        lines += [f"Released, {kind}: {why}" for kind, why in told.released.items()]
        lines += [f"Held back: {what}" for what in self.done.held]
        lines += ["Sound: " + ("with it" if self._request.sound else "not in this copy"), ""]
        lines += [f"{sha256}  {name}" for name, sha256 in self.done.files.items()]
        return ("\n".join(lines) + "\n").encode()

    def _sound(self, entry: VisitEntry, folder: str, held: list[Stretch]) -> None:
        recording = entry.recording
        assert recording is not None
        path = self._unit.blob(recording.sha256)
        if not recording.spoken or recording.gone or not path.exists():
            self.done.held.append(f"visit of {entry.day}: there is no sound of it here")
            return
        own = entry.stretches or ((0, recording.duration_ms),)
        made = self._stages.copy(path, tuple(_less(own, held)))
        self.write(f"{folder}/sound.{made.media_type.partition('/')[2].partition(';')[0]}", made.data)


def _checked(request: Request, what: str, config: Config, on: date) -> Disclosed:
    """Raises InputError where something is not said."""
    worker = at_work(config)
    released = {kind: checked_text(why, f"why {kind} is released", _LONGEST) for kind, why in request.released.items()}
    return Disclosed(
        to=checked_text(request.to, "to whom", _LONGEST),
        ground=checked_text(request.ground, "the ground", _LONGEST),
        what=what,
        by=checked_text(request.by or (worker.name if worker else ""), "--by", 120),
        day=on,
        released=released,
    )


def _told(infant: Infant, unit: Writing) -> list[Told]:
    return [
        Told(at=event.at, infant=infant.code_name, disclosed=event.payload)
        for event in unit.events(infant=infant.id)
        if isinstance(event.payload, Disclosed)
    ]


def _meets(spans: Iterable[Stretch], held: list[Stretch]) -> bool:
    return any(a < end and start < b for a, b in spans for start, end in held)


def _less(own: Iterable[Stretch], held: list[Stretch]) -> Iterator[Stretch]:
    """Stretches without those held back."""
    for start, end in own:
        for a, b in sorted(held):
            if start < a < end:
                yield start, a
            if a < end and b > start:
                start = b
        if start < end:
            yield start, end


def _words_without(words: Transcript, held: list[Stretch]) -> Transcript:
    kept = (
        replace(w, text=MARK, heard=(), suggestions=()) if _meets([(w.start_ms, w.end_ms)], held) else w
        for w in words.words
    )
    return words.model_copy(update={"words": tuple(kept)})


def _no_safeguarding(note: Note) -> Note:
    """A draft without what only the clinician is asked; no line tells of it."""
    return note.model_copy(update={"remarks": tuple(remark for remark in note.remarks if not remark.safeguarding)})


def _note_without(note: Note, held: list[Stretch]) -> Note:
    """The note with a mark for each line that rests on a stretch held back."""

    def kept(part: Section) -> Section:
        lines = (
            Line(id=f"held:{part.id}:{n}", text=MARK)
            if _meets(((s.start_ms, s.end_ms) for s in line.spans), held)
            else line
            for n, line in enumerate(part.lines)
            if part.id != PLACES or not _meets(((s.start_ms, s.end_ms) for s in line.spans), held)
        )
        return part.model_copy(update={"lines": tuple(lines), "subsections": tuple(map(kept, part.subsections))})

    if not held:
        return note
    remarks = tuple(r for r in note.remarks if not _meets(((s.start_ms, s.end_ms) for s in r.spans), held))
    return note.model_copy(update={"sections": tuple(map(kept, note.sections)), "remarks": remarks})


def _csv(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(head)
    for row in rows:  # what a spreadsheet would run as a formula gets an apostrophe before it
        writer.writerow([f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text for text in row])
    return out.getvalue().encode()


def _plain(name: str) -> str:
    return "".join(c if c.isprintable() and c not in "/\\:" else "_" for c in name)[-80:]


def _open(config: Config) -> Store:
    if not Store.exists(config.home):
        raise NotFoundError(f"{config.home}: holds no record yet.")
    return Store(config.home)
