"""A card to be read at the door: last numbers, what to look at again, open danger signs, consents.

Others may see it: what concerns safeguarding is on it as a number alone, to be read in the note.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.due import Due
from pipeline.store.past import Point, Seen
from pipeline.timeline.course import Thread
from pipeline.timeline.growth import Measured, Series

_DANGER = ("emergency", "same_day", "refer")


@dataclass(frozen=True)
class Flag:
    """A danger sign that nobody has answered yet: raised first on the day ``since``, last on ``day`` in ``visit``."""

    visit: str
    day: date
    since: date
    urgency: str
    title: str


@dataclass(frozen=True)
class Glance:
    """``again``: planned to be looked at again. ``still``: found when last looked at; the second part tells whether the
    last visit looked. ``consents``: scope or what was consented to, state, day. ``apart``: open points for the
    clinician alone."""

    last_visit: date | None
    numbers: tuple[tuple[str, Measured], ...]
    again: tuple[Due, ...]
    still: tuple[tuple[str, bool], ...]
    flags: tuple[Flag, ...]
    consents: tuple[tuple[str, str, date], ...]
    apart: int


def glance(
    visits: Sequence[Seen],
    points: Sequence[Point],
    consents: Iterable[tuple[date, str, str]],
    threads: Sequence[Thread],
    growth: Sequence[Series],
    open_plans: Sequence[Due],
) -> Glance:
    """The card, from all that is known; ``visits`` oldest first."""
    days = {visit.id: visit.day for visit in visits}
    open_points = [point for point in points if point.open and point.visit in days]
    flags = _folded((point for point in open_points if point.urgency in _DANGER and not point.safeguarding), days)
    flags.sort(key=lambda flag: (_DANGER.index(flag.urgency), flag.day))
    return Glance(
        last_visit=visits[-1].day if visits else None,
        numbers=tuple((one.label, one.points[-1]) for one in growth),
        again=tuple(plan for plan in open_plans if plan.what == "look again"),
        still=tuple(
            (thread.label, thread.steps[-1].line is not None and thread.steps[-1].visit == visits[-1].id)
            for thread in threads
            if thread.open and thread.kind == "finding"
        ),
        flags=tuple(flags),
        consents=_consents(visits, consents),
        apart=sum(point.safeguarding for point in open_points),
    )


def _folded(points: Iterable[Point], days: Mapping[str, date]) -> list[Flag]:
    """One flag for what several visits raise."""
    kept: dict[tuple[str, str], Flag] = {}
    for point in points:  # oldest visit first
        day, key = days[point.visit], (point.urgency, point.title)
        since = kept[key].since if key in kept else day
        kept[key] = Flag(point.visit, day, since, point.urgency, point.title)
    return list(kept.values())


def _consents(visits: Sequence[Seen], noted: Iterable[tuple[date, str, str]]) -> tuple[tuple[str, str, date], ...]:
    """The last state of each consent, as said in the visits and as noted beside the recordings."""
    last: dict[str, tuple[str, date]] = {}
    for visit in visits:
        for line in visit.lines:
            if line.concept == "treatment.consent" and line.result:
                last["examine or treat"] = (line.result, visit.day)
    for day, scope, state in noted:
        if scope not in last or last[scope][1] <= day:
            last[scope] = (state, day)
    return tuple((scope, state, day) for scope, (state, day) in last.items())
