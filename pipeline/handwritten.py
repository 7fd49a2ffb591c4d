"""Visits without a recording: opened by hand, and written afterwards; the note says when it was written."""

import hashlib
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path

from pipeline.ages import age_on
from pipeline.config import Config
from pipeline.errors import InputError
from pipeline.files import staged
from pipeline.infants import found
from pipeline.model import Recording
from pipeline.records import VisitEntry
from pipeline.stages import Stages
from pipeline.store import Store, Writing, new_id
from pipeline.store.events import RecordingSealed, TranscriptMade, VisitOpened
from pipeline.typed import typed_transcript
from pipeline.visits import redraft

TEXT = "text/plain; charset=utf-8"


@dataclass(frozen=True)
class Written:
    """A visit whose text was written: when, and the days of the visits drafted again."""

    entry: VisitEntry
    stamp: str
    folder: Path | None
    redrafted: tuple[date, ...]


def open_visit(
    key: str, config: Config, *, today: date, on: date | None = None, at: time | None = None, age: str | None = None
) -> VisitEntry:
    """Open a visit by hand; its words come later, typed or dictated. Raises NotFoundError, InputError, StoreError."""
    day = on or today
    if day > today:
        raise InputError(f"visit date {day} lies in the future; check --on.")
    with Store(config.home) as store, store.writing() as unit:
        infant = found(unit, key)
        visit = new_id()
        counted = age_on(day, infant.born, infant.gestation_weeks, age)
        payload = VisitOpened(visit=visit, infant=infant.id, day=day, at=at, age=counted)
        unit.append(payload, visit=visit, infant=infant.id)
        return unit.visit(visit)


def write_visit(key: str, text: str, config: Config, stages: Stages, *, now: datetime) -> Written:
    """Write the text of a visit that has no recording, or write it anew; drafted like a spoken one.

    Each text is kept; the newest counts. Raises NotFoundError, InputError where the visit was spoken or is signed or
    the text cannot be used, StoreError.
    """
    with staged() as batch:
        with Store(config.home) as store, store.writing() as unit:
            entry = _unspoken(unit, key)
            transcript = typed_transcript(text, f"{entry.id} {now.isoformat()}")
            data = text.encode()
            sha256 = hashlib.sha256(data).hexdigest()
            if entry.recording is None or entry.recording.sha256 != sha256:
                recording = Recording(
                    id=transcript.recording,
                    sha256=sha256,
                    media_type=TEXT,
                    duration_ms=transcript.duration_ms,
                    typed_at=now,
                )
                unit.blobs.keep(data)
                unit.append(RecordingSealed(recording=recording), visit=entry.id, infant=entry.infant.id)
                made = TranscriptMade(
                    recording=recording.id,
                    sha256=unit.blobs.keep(transcript.model_dump_json().encode()),
                    model_sha256=transcript.model.sha256,
                    vocab_hash=transcript.vocab_hash,
                )
                unit.append(made, visit=entry.id, infant=entry.infant.id)
                unit.blobs.publish()
            visits = [visit for visit, _ in unit.drafted_visits(infant=entry.infant.id)]
            days = redraft(unit, batch, config, stages, [*visits, entry.id])
            record = unit.record(entry.id)
        batch.publish()
    return Written(entry=entry, stamp=record.written or "", folder=config.note_folder(entry.id), redrafted=days)


def _unspoken(unit: Writing, key: str) -> VisitEntry:
    entry = unit.find_visit(key)
    if entry.signed:
        raise InputError(f"visit {entry.id}: it is signed; after signing only an addendum can be added.")
    if entry.recording is not None and entry.recording.typed_at is None:
        raise InputError(f"visit {entry.id}: it has a recording; put its lines right on its page instead.")
    return entry
