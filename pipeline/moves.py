"""Visits put where they belong: moved to another infant, or one recording cut into stretches of several infants."""

import re
from collections.abc import Sequence
from datetime import date
from itertools import pairwise
from shutil import rmtree

from pipeline.ages import age_on
from pipeline.config import Config
from pipeline.errors import InputError
from pipeline.files import staged
from pipeline.infants import checked_text, found
from pipeline.model import Frozen, Infant, Stretch
from pipeline.records import VisitEntry
from pipeline.siblings import Cut, cuts_in
from pipeline.stages import Stages
from pipeline.store import Store, Writing, new_id
from pipeline.store.events import StretchesGiven, VisitMoved, VisitOpened
from pipeline.times import clock
from pipeline.visits import redraft

_GIVEN = re.compile(r"^([\d:.]*)-([\d:.]*|end)=(.+)$")
_TIME = re.compile(r"^(?:(?:(\d{1,2}):)?(\d{1,3}):)?(\d{1,4})(?:\.(\d{1,3}))?$")


class Moved(Frozen):
    """A visit that was moved: from whom, to whom, and the days of the visits drafted again."""

    visit: str
    day: date
    before: Infant
    after: Infant
    redrafted: tuple[date, ...]
    signed: bool


class Proposed(Frozen):
    """A recording and where it may be cut; ``stretches``: what lies between, with the infant it is filed to now."""

    visit: VisitEntry
    cuts: tuple[Cut, ...]
    stretches: tuple[tuple[Stretch, str], ...]
    duration_ms: int


class Part(Frozen):
    """The stretches of a recording that were given to one infant, as a visit of its own."""

    visit: str
    infant: str
    stretches: tuple[Stretch, ...]


def move(key: str, to: str, config: Config, stages: Stages, *, reason: str = "") -> Moved:
    """File a visit to another infant; the drafts of both are made again. The event keeps where it was before.

    Raises NotFoundError, InputError, StoreError.
    """
    with staged() as batch:
        with Store(config.home) as store, store.writing() as unit:
            entry, after = unit.find_visit(key), found(unit, to)
            if after.id == entry.infant.id:
                raise InputError(f"visit {entry.id}: it is filed to {after.code_name} already.")
            said = entry.age.as_said if entry.age and entry.age.as_said and after.born is None else None
            age = age_on(entry.day, after.born, after.gestation_weeks, said)
            told = checked_text(reason, "--reason", 400) if reason else ""
            unit.append(VisitMoved(infant=after.id, age=age, reason=told), visit=entry.id, infant=after.id)
            visits = [visit for one in (entry.infant, after) for visit, _ in unit.drafted_visits(infant=one.id)]
            days = redraft(unit, batch, config, stages, visits)
        batch.publish()
    return Moved(visit=entry.id, day=entry.day, before=entry.infant, after=after, redrafted=days, signed=entry.signed)


def propose_cuts(key: str, config: Config, stages: Stages) -> Proposed:
    """Where a recording may go over to another infant, by the words said; nothing is changed.

    Raises NotFoundError, InputError where the visit has no recording, StoreError.
    """
    with Store(config.home) as store, store.writing() as unit:
        entry = _with_words(unit, key)
        record = unit.record(entry.id)
        parts = unit.visits_of(recording=record.recording.id)
    names = tuple(name for name, _ in record.known_names)
    cuts = cuts_in(record.transcript, stages.vocab.cues.get("twins", ()), names)
    end = max(record.transcript.duration_ms, record.recording.duration_ms)
    if any(part.stretches is not None for part in parts):
        stretches = [(stretch, part.infant.code_name) for part in parts for stretch in part.stretches or ()]
    else:
        edges = [0, *(cut.at_ms for cut in cuts), end]
        stretches = [((a, b), entry.infant.code_name) for a, b in pairwise(edges) if a < b]
    return Proposed(visit=entry, cuts=cuts, stretches=tuple(sorted(stretches)), duration_ms=end)


def give_stretches(key: str, given: Sequence[str], config: Config, stages: Stages) -> tuple[Part, ...]:
    """Give stretches ("0:00-4:10=Wren") of a visit's recording to infants, each a visit of its own; all at once.

    What is given to nobody belongs to nobody. Said again, it replaces what was given before; a visit whose infant is
    given nothing any more stays as an open one without words. Raises NotFoundError, InputError where stretches overlap
    or hold no word or a visit is signed, StoreError.
    """
    with staged() as batch:
        with Store(config.home) as store, store.writing() as unit:
            entry = _with_words(unit, key)
            record = unit.record(entry.id)
            wanted = _wanted(unit, given, max(record.transcript.duration_ms, record.recording.duration_ms))
            there = {visit.infant.id: visit for visit in unit.visits_of(recording=record.recording.id)}
            if signed := next((visit for visit in there.values() if visit.signed), None):
                raise InputError(f"visit {signed.id}: it is signed; what was signed is not cut any more.")
            left = [visit for infant, visit in there.items() if infant not in wanted]
            for visit in left:
                unit.append(StretchesGiven(recording=record.recording.id), visit=visit.id, infant=visit.infant.id)
                unit.clear_draft(visit.id)
            parts = []
            for infant, stretches in wanted.values():
                if not record.transcript.within(stretches).words:
                    raise InputError(f"{infant.code_name}: no word was said in the stretches given; check the times.")
                part = there[infant.id].id if infant.id in there else _opened(unit, infant, entry)
                payload = StretchesGiven(recording=record.recording.id, stretches=stretches)
                unit.append(payload, visit=part, infant=infant.id)
                parts.append(Part(visit=part, infant=infant.code_name, stretches=stretches))
            touched = {*wanted, *(visit.infant.id for visit in left)}
            beside = [visit for infant in touched for visit, _ in unit.drafted_visits(infant=infant)]
            redraft(unit, batch, config, stages, [*beside, *(part.visit for part in parts)])
        batch.publish()
    for visit in left:  # their notes told what is not theirs
        if (folder := config.note_folder(visit.id)) is not None:
            rmtree(folder, ignore_errors=True)
    return tuple(parts)


def _wanted(unit: Writing, given: Sequence[str], end_ms: int) -> dict[str, tuple[Infant, tuple[Stretch, ...]]]:
    """By infant its stretches in order. Raises InputError where one cannot be read or two overlap, NotFoundError."""
    taken: list[tuple[Stretch, Infant]] = []
    for text in given:
        parts = _GIVEN.match(text.strip())
        if parts is None:
            raise InputError(f'"{text[:60]}" is no stretch; write FROM-TO=INFANT, like 4:10-end=Wren.')
        first, last, name = parts.groups()
        stretch = (parse_time(first or "0", text), end_ms if last in ("", "end") else parse_time(last, text))
        if not 0 <= stretch[0] < stretch[1]:
            raise InputError(f'"{text[:60]}": it ends before it begins; the recording ends at {clock(end_ms)}.')
        taken.append((stretch, found(unit, name)))
    taken.sort(key=lambda one: one[0])
    for (before, _), (after, _) in pairwise(taken):
        if after[0] < before[1]:
            raise InputError(f"two stretches overlap at {clock(after[0])}; each moment belongs to one infant at most.")
    wanted: dict[str, tuple[Infant, tuple[Stretch, ...]]] = {}
    for stretch, infant in taken:
        wanted[infant.id] = (infant, (*wanted.get(infant.id, (infant, ()))[1], stretch))
    return wanted


def parse_time(text: str, where: str) -> int:
    """``75``, ``1:15`` or ``0:01:15`` (with up to three decimals) as milliseconds. Raises InputError."""
    parts = _TIME.match(text)
    if parts is None:
        raise InputError(f'"{where[:60]}": {text[:20]!r} is no time; write it as minutes:seconds, like 4:10.')
    hours, minutes, seconds, decimals = parts.groups()
    whole = (int(hours or 0) * 60 + int(minutes or 0)) * 60 + int(seconds)
    return whole * 1000 + int((decimals or "0").ljust(3, "0"))


def _with_words(unit: Writing, key: str) -> VisitEntry:
    entry = unit.find_visit(key)
    if entry.recording is None or entry.recording.typed_at is not None or entry.transcript_sha256 is None:
        raise InputError(f"visit {entry.id}: it has no recording that could be cut.")
    return entry


def _opened(unit: Writing, infant: Infant, beside: VisitEntry) -> str:
    """A visit of the infant on the day of the one that it was recorded with."""
    visit = new_id()
    age = age_on(beside.day, infant.born, infant.gestation_weeks, None)
    payload = VisitOpened(visit=visit, infant=infant.id, day=beside.day, at=beside.at, age=age)
    unit.append(payload, visit=visit, infant=infant.id)
    return visit
