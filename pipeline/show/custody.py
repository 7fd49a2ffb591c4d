"""How the record stands, as lines for a person at a terminal."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from pipeline.config import Config
from pipeline.times import clock, day

if TYPE_CHECKING:
    from pipeline.custody import BackedUp, Rebuilt, Verified
    from pipeline.redaction import Entry, Goes, Reason
    from pipeline.retention import Kept


def verified_lines(found: "Verified") -> Iterator[str]:
    """What was checked, what is damaged, what to do, and the head to keep elsewhere."""
    for fault in found.faults:
        yield f"{'! ' if fault.damage else '  '}{fault.where}: {fault.what}; {fault.do}."
    damaged = sum(fault.damage for fault in found.faults)
    yield f"Looked at: {found.events} events, {found.blobs} stored files, {found.visits} drafts."
    yield f"{damaged} damaged." if damaged else "All is sound."
    yield f"Newest event: {found.head}"


def rebuilt_lines(made: "Rebuilt") -> Iterator[str]:
    """How many visits were drafted again, and which edits found no place."""
    yield f"Made again: {made.visits} visit{'s' * (made.visits != 1)}."
    for visit, edit in made.unattached:
        yield f"Not attached any more, visit {visit}: {edit.why}"


def rebuilt_json(made: "Rebuilt") -> dict[str, Any]:
    """The same as one object."""
    unattached = [{"visit": visit, **edit.model_dump(mode="json")} for visit, edit in made.unattached]
    return {"visits": made.visits, "unattached": unattached}


def backup_lines(made: "BackedUp") -> Iterator[str]:
    """What a backup holds."""
    yield f"{made.to}: {made.files} files, {made.size / (1 << 20):.1f} MiB"
    yield f"Newest event: {made.head}"
    if made.without_sound:
        yield f"Without sound: {made.without_sound} recordings are not on this computer; their words are in it."
    yield "It holds health records and is not encrypted: keep it where nobody else can read it."


def restored_lines(found: "Verified", redacted: int, config: Config) -> Iterator[str]:
    """What was brought back, and where; ``redacted``: how many stretches are destroyed in it."""
    yield f"{config.home}: {found.events} events, {found.blobs} stored files, all as they were backed up."
    yield (
        f"Destroyed in it, as `handspoken redact` lists: {redacted}. What was destroyed after this backup is in it "
        "again; import what was exported since, with --destroy."
    )
    yield "`handspoken verify` checks the drafts too."


def destroyed_lines(goes: "Goes", done: bool) -> Iterator[str]:
    """What goes with a stretch, or went with it."""
    would = "Destroyed" if done else "Would be destroyed, never to be undone"
    yield f"Visit {goes.visit}, {goes.infant}, {day(goes.day)}, {_span(goes.start_ms, goes.end_ms)}. {would}:"
    yield (
        f"  sound: {(goes.end_ms - goes.start_ms) / 1000:.1f} s become silence" if goes.sound else "  sound: none here"
    )
    if not done:
        yield f"  words: {goes.words or 'none were heard there'}"
    if goes.versions > 1:
        yield f"  in all {goes.versions} versions of the words"
    for line in goes.lines if not done else ():
        yield f"  line: {line}"
    yield f"  lines of notes: {len(goes.lines)}; of signed notes: {goes.signed_lines}; edits and entries: {goes.events}"
    if len(goes.visits) > 1:
        yield f"  from all visits on the recording: {', '.join(goes.visits)}"
    for sentence in goes.cut:
        yield f"! Only a part of a sentence goes; read what is left of it{'' if done else ': ' + sentence}"
    if done:
        yield "Times, reason and name stay on record. Copies made before are out of reach: backups, exports, papers."
    else:
        yield "Nothing was changed. Add --by NAME --yes to destroy it."


def redactions_lines(found: "list[Entry]", reasons: "dict[str, Reason]", finished: bool) -> Iterator[str]:
    """What was destroyed, and the reasons there are."""
    if finished:
        yield "A redaction that was broken off is finished."
    for one in found:
        why = reasons[one.reason].say if one.reason in reasons else one.reason
        at = f"{one.at.astimezone():%Y-%m-%d %H:%M}"
        yield f"{at}  {one.visit}  {one.infant}  {_span(one.start_ms, one.end_ms)}, {one.words} words: {why} ({one.by})"
    if not found:
        yield "Nothing was destroyed."
    yield "Reasons: " + "; ".join(f"{reason.id} ({reason.say})" for reason in reasons.values())


def retention_lines(kept: "Kept") -> Iterator[str]:
    """The rules in force, what they propose, the holds, and what is said elsewhere."""
    yield from (f"Kept, {say}. Source: {source}." for say, source in kept.rules)
    for one in kept.proposals:
        what = f"sound of visit {one.key}" if one.what == "sound" else f"record {one.key}"
        yield f"Time has come, {what}, {one.infant}: since {one.since}; {one.why}."
    if not kept.proposals:
        yield "Nothing's time has come."
    for held in kept.held:
        yield f"Legal hold on {held.code_name} since {held.since.astimezone():%Y-%m-%d}: {held.reason} ({held.by})."
    yield "What is said elsewhere, and no advice:"
    yield from (f"  {say}. Source: {source}." for say, source in kept.told)
    yield "Local law decides. Nothing goes by itself: with --by NAME, --destroy VISIT destroys sound that is proposed,"
    yield "and --destroy-record INFANT a record."


def _span(start_ms: int, end_ms: int) -> str:
    return f"{clock(start_ms)}.{start_ms % 1000 // 100} to {clock(end_ms)}.{end_ms % 1000 // 100}"
