"""A visit's note as it stood at an earlier time: with what was asked then, and what the clinician had answered."""

import re
from datetime import datetime, time
from typing import Literal

from pipeline import __version__
from pipeline.ages import parse_date
from pipeline.config import Config
from pipeline.errors import InputError, NotFoundError
from pipeline.model import Answer, Frozen, Note
from pipeline.review.cards import lay_out
from pipeline.run import derive
from pipeline.stages import Stages
from pipeline.store import Store
from pipeline.store.earlier import record_at
from pipeline.store.events import Addendum, Event, Redaction, Signed
from pipeline.store.tombstones import redactions

_END_OF_DAY = time(23, 59, 59, 999999)
_MOMENT = re.compile(r"^(\d{4}-\d{2}-\d{2})(?:[T ](\d{1,2}:\d{2}))?$")


class Asked(Frozen):
    """A point that the page showed, and the answer as it stood then ("" = open), given when."""

    text: str
    answer: str
    at: datetime | None
    pressing: bool


class Added(Frozen):
    """An addendum by then."""

    at: datetime
    kind: str
    text: str
    reason: str
    signer: str


class Stood(Frozen):
    """A visit as it stood at ``at``.

    head: the newest event that counts, "SEQ:HASH". changed: when the last of the visit was made. signed: who signed by
    then. program: which worded it: of a signed note the one that it was signed with. ``destroyed_since``: stretches
    (ms) destroyed later, which are not shown.
    """

    visit: str
    infant: str
    state: Literal["draft", "signed"]
    at: datetime
    head: str
    changed: datetime
    signed: str
    program: str
    note: str
    asked: tuple[Asked, ...]
    added: tuple[Added, ...]
    destroyed_since: tuple[tuple[int, int], ...]


def stood(key: str, when: str, config: Config, stages: Stages, *, now: datetime) -> Stood:
    """The visit as it stood at the end of a day, or at a minute ("2026-11-25", "2026-11-25 18:40").

    A draft is made anew, by this program, from what was on record by then; a signed note is shown as it was signed.
    Raises NotFoundError where nothing of the visit was on record, InputError, StoreError.
    """
    moment = parse_moment(when, now)
    if not Store.exists(config.home):
        raise NotFoundError(f"{config.home}: holds no record yet.")
    with Store(config.home) as store, store.writing() as unit:
        visit = unit.find_visit(key).id
    with Store(config.home) as store, record_at(store, config.home, moment) as (then, head):
        try:
            infant = then.visit(visit).infant
        except NotFoundError as error:
            raise NotFoundError(f"visit {visit}: nothing of it was on record at {_told(moment)}.") from error
        with then.writing() as unit:
            for entry in unit.visits_of(infant=infant.id):
                if entry.transcript_sha256 is not None:
                    record = unit.record(entry.id)
                    unit.put_draft(record, derive(record, stages))  # a visit is held against those before it
        record = then.record(visit)
        drafted = derive(record, stages)
        events = [event for event in then.events(visit=visit) if event.at <= moment]
        signed = next((event.payload for event in events if isinstance(event.payload, Signed)), None)
        note = Note.model_validate_json(then.stored(signed.note)) if signed else drafted.note
        text = stages.render(note, drafted.transcript, None)
        with store.reading() as connection:
            since = [e.payload for e in redactions(connection) if e.at > moment and isinstance(e.payload, Redaction)]
        told = _answers(events)
        sheet = lay_out(drafted, stages.vocab, 0, undo=False, redo=False)
        return Stood(
            visit=visit,
            infant=infant.code_name,
            state="signed" if signed else "draft",
            at=moment,
            head=head,
            changed=max(event.at for event in events).astimezone(moment.tzinfo),
            signed=note.signed_by or "",
            program=note.program or f"handspoken {__version__}",
            note=text["note.txt"].decode(),
            asked=tuple(
                Asked(
                    text=" ".join(part for part in (point.text, point.more) if part),
                    answer=point.answer,
                    at=at.astimezone(moment.tzinfo) if point.answer and (at := told.get(point.id)) else None,
                    pressing=point.danger or point.blocks,
                )
                for point in sheet.points()
            ),
            added=tuple(
                Added(
                    at=event.at.astimezone(moment.tzinfo),
                    **event.payload.model_dump(include={"kind", "text", "reason", "signer"}),
                )
                for event in events
                if isinstance(event.payload, Addendum)
            ),
            destroyed_since=tuple((r.start_ms, r.end_ms) for r in since if r.recording == record.recording.id),
        )


def parse_moment(text: str, now: datetime) -> datetime:
    """A day or a minute, as its end in the time zone of ``now``. Raises InputError, also for what is to come."""
    parts = _MOMENT.match(text.strip())
    if parts is None:
        raise InputError(
            f'"{text[:40]}" is no time; write a day, like 2026-11-25, or a minute, like "2026-11-25 18:40".'
        )
    day, clock = parts.groups()
    try:
        at = time.fromisoformat(clock.zfill(5)).replace(second=59, microsecond=999999) if clock else _END_OF_DAY
    except ValueError as error:
        raise InputError(f'"{clock}" is no time of day; write it as hours:minutes, like 18:40.') from error
    moment = datetime.combine(parse_date(day, "day"), at).replace(tzinfo=now.tzinfo)
    if moment.date() > now.date():
        raise InputError(f"{day} lies in the future; nothing stood then.")
    return min(moment, now)


def _answers(events: list[Event]) -> dict[str, datetime]:
    """When each point was answered last."""
    return {event.payload.remark_id: event.at for event in events if isinstance(event.payload, Answer)}


def _told(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M}"
