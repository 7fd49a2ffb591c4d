"""A stretch destroyed: looked at first, then done by an explicit act, and finished where it was broken off.

1. New files are made, events get tombstones, the visits are drafted again: one change of the record, or none of it.
2. What is left of the old is wiped (``wipe``). A mark in the record's folder, made before 1, says that this is due:
   whoever redacts next does it first, and ``verify`` tells of it.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime

from pipeline.config import Config
from pipeline.errors import InputError, NotFoundError
from pipeline.infants import checked_text
from pipeline.model import Frozen, Stretch
from pipeline.moves import parse_time
from pipeline.prompts import PROMPT_SECTIONS
from pipeline.records import VisitEntry
from pipeline.redaction.plan import Plan, Wanted, plan, text_of
from pipeline.redaction.reasons import Reason, reasons
from pipeline.redaction.reasons import reason as reason_of
from pipeline.redaction.wipe import due, finish, note_due
from pipeline.run import derive
from pipeline.stages import Stages
from pipeline.store import Store, Writing
from pipeline.store.entries import visit_entry
from pipeline.store.events import Redaction
from pipeline.store.holds import refuse_held
from pipeline.store.tombstones import put_in_place
from pipeline.store.tombstones import redactions as redactions_on_record
from pipeline.times import clock
from pipeline.visits import draft_others

_LONGEST_BY = 120


@dataclass(frozen=True)
class Where:
    """The stretch as a person names it: from and to (minutes:seconds), or words of a line of the note."""

    start: str | None = None
    end: str | None = None
    line: str | None = None


class Goes(Frozen):
    """What goes, or went, with a stretch.

    lines: of the notes, as they read. events: edits, answers and other entries whose words go. versions: of the
    transcript. signed_lines: of signed notes. cut: sentences of which only a part goes. visits: all that hold it.
    """

    visit: str
    infant: str
    day: date
    start_ms: int
    end_ms: int
    reason: str
    sound: bool
    words: str
    cut: tuple[str, ...]
    lines: tuple[str, ...]
    events: int
    versions: int
    signed_lines: int
    visits: tuple[str, ...]


class Entry(Frozen):
    """One redaction on record."""

    at: datetime
    visit: str
    infant: str
    start_ms: int
    end_ms: int
    reason: str
    by: str
    words: int


def preview(key: str, where: Where, why: str, config: Config, stages: Stages, *, now: datetime) -> Goes:
    """What redacting would destroy; changes nothing. Raises as ``redact`` does."""
    with _open(config) as store, store.writing() as unit:
        entry, made = _planned(unit, key, where, why, "(who does it)", stages, now)
        return _goes(entry, made, why)


def redact(key: str, where: Where, why: str, by: str, config: Config, stages: Stages, *, now: datetime) -> Goes:
    """Destroy a stretch of a visit's recording and all that was made of it; never to be undone.

    Raises NotFoundError, InputError where there is nothing to destroy
    or the stretch cannot be read, StoreError. Broken off at any moment, it is done wholly or not at all once it, or
    ``resume``, is run again.
    """
    who = checked_text(by, "--by", _LONGEST_BY)
    resume(config, stages)
    with _open(config) as store:
        with store.writing() as unit:
            entry, made = _planned(unit, key, where, why, who, stages, now)
            note_due(config, [visit.visit.id for visit in made.visits])
            carry_out(unit, made, why, who, stages)
        finish(store, config, stages)
    return _goes(entry, made, why)


def resume(config: Config, stages: Stages) -> bool:
    """Wipe what a redaction that was broken off has left; False where there is none. Raises StoreError."""
    if not due(config):
        return False
    with _open(config) as store:
        finish(store, config, stages)
    return True


def redactions(config: Config) -> list[Entry]:
    """Every redaction on record, oldest first."""
    if not Store.exists(config.home):
        return []
    with Store(config.home) as store, store.reading() as connection:
        found = []
        for event in redactions_on_record(connection):
            told = event.payload
            assert isinstance(told, Redaction)
            try:
                infant = visit_entry(connection, event.visit or "").infant.code_name
            except NotFoundError:
                infant = ""  # of a twin whose visit is not on this computer
            data = told.model_dump(include={"start_ms", "end_ms", "reason", "by", "words"})
            found.append(Entry(at=event.at, visit=event.visit or "", infant=infant, **data))
    return found


def carry_out(unit: Writing, made: Plan, why: str, by: str, stages: Stages) -> None:
    """Destroy what was planned, inside one change: files, events and lines. Raises InputError where nothing is left."""
    recording = made.recording
    if made.empty:
        raise InputError(f"nothing is left to destroy from {clock(made.stretch[0])} to {clock(made.stretch[1])}.")
    replaced = {old: unit.blobs.keep(new.model_dump_json().encode()) for old, new in made.transcripts.items()}
    media_type = ""
    if made.sound:
        copy = stages.silenced(unit.blob(recording.sha256), (made.stretch,))
        replaced[recording.sha256], media_type = unit.blobs.keep(copy.data), copy.media_type
    elif recording.media_type.startswith("text/"):
        first = next(iter(made.transcripts.values()))
        replaced[recording.sha256] = unit.blobs.keep(text_of(recording, first))
    for visit in made.visits:
        mine = {old: unit.blobs.keep(new) if new is not None else "" for old, new in visit.files.items()}
        told = Redaction(
            recording=recording.id,
            start_ms=made.stretch[0],
            end_ms=made.stretch[1],
            reason=why,
            by=by,
            words=len(made.words.split()),
            media_type=media_type,
            replaced={old: new for old, new in (replaced | mine).items() if old != new},
            events=put_in_place(unit.connection, visit.instead),
        )
        unit.append(told, visit=visit.visit.id, infant=visit.visit.infant.id)
    unit.blobs.publish()
    for visit in made.visits:
        record = unit.record(visit.visit.id)
        unit.put_draft(record, derive(record, stages))
    for visit in made.visits:
        draft_others(unit, unit.record(visit.visit.id), stages, everything=False)


def destroy_again(unit: Writing, visits: Iterable[str], stages: Stages) -> int:
    """Destroy what has come back of stretches that were destroyed, inside the change that brought it: words heard on
    another computer, edits of them. Returns how many stretches there were."""
    on = {entry.recording.id: entry.id for entry in map(unit.visit, visits) if entry.recording is not None}
    again = 0
    for event in redactions_on_record(unit.connection):
        told = event.payload
        if not isinstance(told, Redaction) or told.recording not in on:
            continue
        why = Reason(id=told.reason, say=reasons()[told.reason].say if told.reason in reasons() else told.reason)
        wanted = Wanted((told.start_ms, told.end_ms), why, told.by, event.at.astimezone())
        made = plan(unit, unit.visit(on[told.recording]), wanted, stages)
        if not made.empty:
            carry_out(unit, made, told.reason, told.by, stages)
            again += 1
    return again


def _planned(
    unit: Writing, key: str, where: Where, why: str, by: str, stages: Stages, now: datetime
) -> tuple[VisitEntry, Plan]:
    entry = unit.find_visit(key)
    if entry.recording is not None:
        refuse_held(unit.connection, [visit.id for visit in unit.visits_of(recording=entry.recording.id)])
    stretch = _stretch(unit, entry, where, stages)
    made = plan(unit, entry, Wanted(stretch, reason_of(why), by, now), stages)
    if made.empty:
        raise InputError(f"nothing is left to destroy from {clock(stretch[0])} to {clock(stretch[1])}.")
    return entry, made


def _stretch(unit: Writing, entry: VisitEntry, where: Where, stages: Stages) -> Stretch:
    """Raises InputError where it cannot be read, is empty, lies outside the recording, or no one line has the words."""
    if entry.recording is None or entry.transcript_sha256 is None:
        raise InputError(f"visit {entry.id}: it has no words yet, so there is nothing to destroy.")
    words = unit.record(entry.id).transcript
    end_ms = max(entry.recording.duration_ms, words.duration_ms)
    if where.line is not None and where.start is None and where.end is None:
        wanted = where.line.strip().casefold()
        note = derive(unit.record(entry.id), stages).note
        lines = [line for part in note.parts() if part.id not in PROMPT_SECTIONS for line in part.lines]
        found = [line for line in lines if wanted and wanted in line.text.casefold() and line.spans]
        if len(found) != 1:
            raise InputError(f'{len(found)} lines of the note hold "{where.line[:60]}"; give words of one line.')
        spans = found[0].spans
        return min(span.start_ms for span in spans), max(span.end_ms for span in spans)
    if where.line is not None or where.start is None or where.end is None:
        raise InputError("say from when to when, like 1:05 1:12.5, or give --line with words of one line.")
    start, end = parse_time(where.start, where.start), parse_time(where.end, where.end)
    if not 0 <= start < end or start >= max(end_ms, 1):
        raise InputError(
            f"{where.start[:20]} to {where.end[:20]}: no stretch of this recording, which ends at {clock(end_ms)}."
        )
    return start, end


def _goes(entry: VisitEntry, made: Plan, why: str) -> Goes:
    return Goes(
        visit=entry.id,
        infant=entry.infant.code_name,
        day=entry.day,
        start_ms=made.stretch[0],
        end_ms=made.stretch[1],
        reason=why,
        sound=made.sound,
        words=made.words,
        cut=tuple(made.cut),
        lines=tuple(line for visit in made.visits for line in visit.lines),
        events=sum(len(visit.instead) for visit in made.visits),
        versions=len(made.transcripts),
        signed_lines=sum(visit.signed_lines for visit in made.visits),
        visits=tuple(visit.visit.id for visit in made.visits),
    )


@contextmanager
def _open(config: Config) -> Iterator[Store]:
    if not Store.exists(config.home):
        raise NotFoundError(f"{config.home}: holds no record yet.")
    with Store(config.home) as store:
        yield store
