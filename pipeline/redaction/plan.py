"""What a redaction would destroy, worked out before anything is changed."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from pipeline.errors import InputError
from pipeline.model import Line, Note, Recording, Stretch, Transcript, WordCorrection
from pipeline.prompts import PROMPT_SECTIONS
from pipeline.records import Drafted, VisitEntry, VisitRecord
from pipeline.redaction.events import event_without, said_in
from pipeline.redaction.note import note_without
from pipeline.redaction.reasons import Reason
from pipeline.redaction.words import Mask, cut_through, readings, touched, without
from pipeline.resources import data_path
from pipeline.run import derive
from pipeline.stages import Stages
from pipeline.store import Writing
from pipeline.store.events import Event, Payload, Signed
from pipeline.store.tombstones import redactions_of
from pipeline.times import day, seconds
from pipeline.vocabulary import english_words
from pipeline.vtt import write_vtt


@dataclass(frozen=True)
class Wanted:
    """What is to be destroyed: a stretch of a visit's recording; why, by whom and when."""

    stretch: Stretch
    reason: Reason
    by: str
    at: datetime


@dataclass
class VisitPlan:
    """What goes of one visit. ``instead``: payloads in the place of its events; ``files``: in the place of its signed
    files, by their hash (None = nothing); ``lines``: the note's lines that go, as they read."""

    visit: VisitEntry
    instead: dict[str, Payload] = field(default_factory=dict)
    files: dict[str, bytes | None] = field(default_factory=dict)
    lines: list[str] = field(default_factory=list)
    signed_lines: int = 0


@dataclass
class Plan:
    """What goes of a recording and of every visit on it.

    stretch: as wanted, widened to whole words. transcripts: by the hash of each version, what stands in its place.
    heard: whether any version has words there. words: those of the newest.
    """

    recording: Recording
    stretch: Stretch
    transcripts: dict[str, Transcript]
    heard: bool
    words: str
    cut: list[str]
    visits: list[VisitPlan]
    sound: bool

    @property
    def empty(self) -> bool:
        """Whether there are neither words, nor anything that rests on them, nor sound to destroy."""
        beside = any(visit.instead or visit.signed_lines for visit in self.visits)
        return not (self.heard or beside or self.sound)


def plan(unit: Writing, entry: VisitEntry, wanted: Wanted, stages: Stages) -> Plan:
    """Work out what destroying the stretch comes to; changes nothing. Raises InputError, NotFoundError, StoreError."""
    recording = entry.recording
    if recording is None or entry.transcript_sha256 is None:
        raise InputError(f"visit {entry.id}: it has no words yet, so there is nothing to destroy.")
    versions = unit.transcripts(recording.id)
    inside = [word for version in versions.values() for word in touched(version, wanted.stretch)]
    stretch = (
        min([wanted.stretch[0], *(w.start_ms for w in inside)]),
        max([wanted.stretch[1], *(w.end_ms for w in inside)]),
    )
    heard = versions[entry.transcript_sha256]
    visits = unit.visits_of(recording=recording.id)
    events = {visit.id: unit.events(visit=visit.id) for visit in visits}
    beside = [event for infant in {v.infant.id for v in visits} for event in unit.events(infant=infant)]
    said = [words for version in versions.values() for words in readings(version, wanted.stretch)]
    told = [said_in(event.payload, wanted.stretch) for one in events.values() for event in one]
    after = {sha256: without(version, wanted.stretch, wanted.reason.say) for sha256, version in versions.items()}
    mask = Mask([*said, *([text] for texts in told for text in texts)], _known(after.values(), visits, stages))
    plans = []
    for visit in visits:
        record = unit.record(visit.id)
        plans.append(_of_visit(record, visit, events[visit.id], beside, after, stretch, wanted, mask, unit, stages))
        beside = []
    sounds = recording.spoken and unit.blob(recording.sha256).exists()
    return Plan(
        recording=recording,
        stretch=stretch,
        transcripts=after,
        heard=bool(inside),
        words=" ".join(word.text for word in touched(heard, wanted.stretch)),
        cut=cut_through(heard, wanted.stretch),
        visits=plans,
        sound=sounds and not _silent(unit, recording, stretch),
    )


def text_of(recording: Recording, words: Transcript) -> bytes:
    """What stands in the place of a given transcript or a typed text."""
    if recording.typed_at is None:
        return write_vtt(words).encode()
    return "\n".join(words.quote(at) for at in words.utterances).encode()


def _of_visit(
    record: VisitRecord,
    visit: VisitEntry,
    events: Sequence[Event],
    beside: Sequence[Event],
    after: dict[str, Transcript],
    stretch: Stretch,
    wanted: Wanted,
    mask: Mask,
    unit: Writing,
    stages: Stages,
) -> VisitPlan:
    before = derive(record, stages)
    bare = tuple(e for e in record.edits if not isinstance(e, WordCorrection) or not said_in(e, stretch))
    words = after[record.transcript_sha256]
    now = derive(record.model_copy(update={"transcript": words, "edits": bare}), stages)
    gone = _ids(before) - _ids(now)
    made = VisitPlan(visit)
    for event in (*events, *beside):
        payload = event_without(event.payload, stretch, mask, gone)
        if payload is not event.payload:
            made.instead[event.id] = payload
        if isinstance(event.payload, Signed):
            _signed_without(event.payload, made, now, stretch, mask, gone, wanted, unit, stages)
    here = {line.id: line.text for line in _lines(now.note)}
    made.lines = [line.text for line in _lines(before.note) if here.get(line.id) != line.text]
    return made


def _signed_without(
    signed: Signed,
    made: VisitPlan,
    now: Drafted,
    stretch: Stretch,
    mask: Mask,
    gone: set[str],
    wanted: Wanted,
    unit: Writing,
    stages: Stages,
) -> None:
    note = Note.model_validate_json(unit.stored(signed.note))
    span = f"{seconds(stretch[0])} s to {seconds(stretch[1])} s"
    told = (
        f"On {day(wanted.at.date())} {wanted.by} destroyed {span} of the recording, because {wanted.reason.say}. The "
        f"note as it was signed had the SHA-256 {signed.note}; this one stands in its place."
    )
    bare, made.signed_lines = note_without(note, stretch, mask, gone, told, now.note)
    rendered = stages.render(bare, now.transcript, None)
    made.files[signed.note] = bare.model_dump_json().encode()
    for name, sha256 in signed.renderings.items():
        made.files[sha256] = rendered.get(name)


def _known(after: Iterable[Transcript], visits: Iterable[VisitEntry], stages: Stages) -> Iterator[str]:
    """Words that tell nothing: said elsewhere in the recording too, of the trade, common, or names of the infants."""
    for transcript in after:
        yield from (word.text for word in transcript.words)
    for visit in visits:
        infant = visit.infant
        yield from (infant.code_name, infant.legal_name or "", *(carer.name for carer in infant.carers))
    for concept in stages.vocab.concepts.values():
        yield from (concept.label, *concept.say, *(form.label for form in concept.results.values()))
        yield from (say for form in concept.results.values() for say in (*form.say, *form.means))
    for site in stages.vocab.sites.values():
        yield from (site.label, *site.say, *site.plural)
    for words in english_words(data_path("vocab")):
        yield from words


def _ids(drafted: Drafted) -> set[str]:
    """Everything of a draft that an edit or an answer may be made on."""
    lines = [line for part in drafted.note.parts() for line in part.lines]
    items = (item.id for item in (*drafted.extraction.items, *drafted.changes.struck))
    points = (point.id for line in lines for point in line.points)
    return {*items, *points, *(line.id for line in lines), *(remark.id for remark in drafted.remarks)}


def _lines(note: Note) -> Iterator[Line]:
    return (line for part in note.parts() if part.id not in PROMPT_SECTIONS for line in part.lines)


def _silent(unit: Writing, recording: Recording, stretch: Stretch) -> bool:
    """Whether earlier redactions silenced all of it."""
    at = stretch[0]
    for start, end in sorted((r.start_ms, r.end_ms) for r in redactions_of(unit.connection, recording.id)):
        if start <= at:
            at = max(at, end)
    return at >= stretch[1]
