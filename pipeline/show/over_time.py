"""An infant over time and what is due, as lines for a terminal and as JSON objects."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import date
from typing import TYPE_CHECKING, Any

from pipeline.timeline import centile_told
from pipeline.times import age, clock

if TYPE_CHECKING:
    from pipeline.due import Due
    from pipeline.timeline import Flag, Glance, Step, Thread, Timeline

_KINDS = (("treatment", "treated"), ("advice", "advised"), ("plan", "planned"))


def timeline_lines(course: "Timeline") -> Iterator[str]:
    """The card for the door, then each visit with what became of the findings, then growth and motion."""
    one = course.infant
    known = [f"born {one.born}" if one.born else "", one.sex or ""]
    known.append(f"{one.gestation_weeks} weeks of gestation" if one.gestation_weeks else "")
    yield ", ".join([one.code_name, *filter(None, known)])
    yield from door_lines(course.glance)
    contacts = list(course.contacts)
    for visit in course.visits:
        while contacts and contacts[0].day < visit.day:
            yield from _contact(contacts.pop(0))
        yield ""
        aged = f"  {age(visit.age_days)}" if visit.age_days is not None else ""
        if visit.corrected_days is not None and visit.corrected_days != visit.age_days:
            aged += f" (corrected {age(visit.corrected_days)})"
        state = "" if visit.signed else "  draft, not signed" if visit.drafted else "  no words yet"
        yield f"{visit.day}{aged}{state}"
        for thread, step in course.changes(visit.id):
            if step.state != "in order":
                yield f"  {step.state}: {_step(thread, step)}"
        for kind, word in _KINDS:
            for line in visit.lines:
                if line.kind == kind:
                    yield f"  {word}: {line.text}  {clock(line.start_ms)}"
    for contact in contacts:
        yield from _contact(contact)
    for series in course.growth:
        yield ""
        yield series.label
        for m in series.points:
            place = f"  {centile_told(m.centile)} centile, z {m.z:+.2f}" if m.centile is not None else ""
            yield f"  {m.day}  {m.value:g} {m.unit}{place}"
    for motion in course.motion:
        yield ""
        yield f"{motion.label}, in degrees"
        for p in motion.points:
            yield f"  {p.day}  {p.side if p.side != 'none' else 'no side said'}  {p.degrees:g}"


def _since(flag: "Flag") -> str:
    """The day that raised it; of several the first and the last."""
    return f"{flag.day}" if flag.since == flag.day else f"since {flag.since}, last {flag.day}"


def door_lines(card: "Glance") -> Iterator[str]:
    """The card for the door."""
    yield "At the door"
    for flag in card.flags:
        yield f"  ! {flag.title} ({flag.urgency.replace('_', ' ')}, {_since(flag)}, not answered)"
    if card.apart:
        yield f"  ! {card.apart} more for you alone: read the note"
    for label, m in card.numbers:
        place = f", {centile_told(m.centile)} centile" if m.centile is not None else ""
        yield f"  {label} {m.value:g} {m.unit}{place} ({m.day})"
    for plan in card.again:
        yield f"  {plan.line}{f' ({plan.first})' if plan.first else ''}"
    for label, looked in card.still:
        yield f"  found: {label}{'' if looked else ', not looked at in the last visit'}"
    for scope, state, day in card.consents:
        yield f"  consent to {scope}: {state} ({day})"


def timeline_json(course: "Timeline") -> dict[str, Any]:
    """All of it as one object."""
    return _plain({**asdict(course), "notes": str(course.notes)})  # type: ignore[no-any-return]


def due_lines(entries: Sequence["Due"], today: date) -> Iterator[str]:
    """What is open, the earliest first."""
    if not entries:
        yield "Nothing is due, nothing is unfinished."
    for one in entries:
        when = "no day said" if one.first is None else f"{one.first}"
        if one.last is not None and one.last != one.first:
            when += f" to {one.last}"
        late = "  overdue" if one.overdue(today) and one.what != "unsigned note" else ""
        what = f": {one.line}" if one.line else ""
        yield f"{when:24}{one.infant}  {one.what}{what}  (visit of {one.since}){late}"


def due_json(entries: Sequence["Due"], today: date) -> dict[str, Any]:
    """The same as one object."""
    return {
        "today": today.isoformat(),
        "due": [_plain(asdict(one) | {"overdue": one.overdue(today)}) for one in entries],
    }


def _step(thread: "Thread", step: "Step") -> str:
    if step.line is None:
        return thread.label
    began = f"{step.began.text}, then " if step.began else ""
    return f"{began}{step.line.text}  {clock(step.line.start_ms)}"


def _contact(contact: Any) -> Iterator[str]:
    yield ""
    yield f"{contact.day}  {contact.what.replace('_', ' ')}: {contact.text}"


def _plain(value: Any) -> Any:
    """Dates as texts, tuples as lists."""
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return value.isoformat() if isinstance(value, date) else value
