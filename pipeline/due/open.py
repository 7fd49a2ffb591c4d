"""From plans, later visits and contacts to what is still open.

A planned visit is done when the infant was seen again; a structure to look at again, when a later visit says anything
about it or what belongs to it; a referral, when an answer came after it, and an imaging request, when a report did:
each closes one, the oldest. Days are counted from the day of the visit: from the number on record, else from the words
("in two weeks", "on Tuesday"); where no day was said, what is to be looked at again is due at the next visit planned.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from pipeline.amounts import TIME_DAYS, Days, later, tokens_of
from pipeline.config import Config
from pipeline.search import Lexicon, load_lexicon
from pipeline.store.past import Between, Seen, Told, babies, baby, between, said_since, seen
from pipeline.store.reading import Reader

What = Literal["next visit", "look again", "referral", "imaging", "missed visit", "unsigned note"]
_PLANS: dict[str, What] = {
    "plan.next_visit": "next visit",
    "plan.recheck": "look again",
    "plan.refer": "referral",
    "plan.imaging": "imaging",
}
_ANSWERED: dict[What, str] = {"referral": "referral_answer", "imaging": "report"}  # by which contact


@dataclass(frozen=True)
class Due:
    """Something open. ``first`` to ``last``: the days it is due (None: no day was said). ``line``, ``quote``: the line
    of the note and the words, with the stretch that plays them; "" for what no line says. ``id`` stays the same as long
    as the same thing is open."""

    id: str
    what: What
    infant: str
    visit: str
    since: date
    first: date | None
    last: date | None
    line: str = ""
    quote: str = ""
    start_ms: int = 0
    end_ms: int = 0

    def overdue(self, today: date) -> bool:
        """Whether its last day has gone by."""
        return self.last is not None and self.last < today


def due(config: Config, key: str | None = None) -> list[Due]:
    """All that is open, of one infant (id or code name) or of all; the earliest first, what has no day last.

    Raises NotFoundError where there is no record yet or no such infant, StoreError.
    """
    with Reader(config.home) as reader:
        lexicon = load_lexicon(config)
        infant = baby(reader, key).id if key is not None else None
        names = {key: one.code_name for key, one in babies(reader).items()}
        visits: dict[str, list[Seen]] = {}
        for visit in seen(reader, infant, kinds=("plan",)):
            visits.setdefault(visit.infant, []).append(visit)
        contacts: dict[str, list[Between]] = {}
        for contact in between(reader, infant):
            contacts.setdefault(contact.infant, []).append(contact)
        found = [
            replace(one, infant=names.get(key, key))
            for key in visits
            for one in open_plans(reader, visits[key], contacts.get(key, []), lexicon)
        ]
    return sorted(found, key=lambda one: (one.first is None, one.first or one.since, one.infant, one.what, one.id))


def open_plans(reader: Reader, visits: Sequence[Seen], contacts: Sequence[Between], lexicon: Lexicon) -> Iterator[Due]:
    """What is open of one infant, given all its visits with their plans, oldest first."""
    answers = {what: [c.day for c in contacts if c.what == by] for what, by in _ANSWERED.items()}
    for at, visit in enumerate(visits):
        after = visits[at + 1 :]
        plans = [_due(line, visit, lexicon) for line in visit.lines if line.concept in _PLANS]
        planned = [one for one, _ in plans if one.what == "next visit" and one.first]
        for one, line in _once(plans):
            if one.what in answers:
                if not _answered(answers[one.what], visit.day):
                    yield one
            elif one.what == "next visit":
                if not after:
                    yield one
            elif not (after and _looked_at(reader, line, visit, lexicon)):
                yield one if one.first or not planned else replace(one, first=planned[0].first, last=planned[0].last)
        if visit.drafted and not visit.signed:
            yield Due(f"unsigned:{visit.id}", "unsigned note", visit.infant, visit.id, visit.day, visit.day, visit.day)
    missed = [c.day for c in contacts if c.what == "visit_missed"]
    if missed and visits and max(missed) > visits[-1].day:
        last = visits[-1]
        yield Due(f"missed:{last.id}:{max(missed)}", "missed visit", last.infant, last.id, last.day, max(missed), None)


def _due(line: Told, visit: Seen, lexicon: Lexicon) -> tuple[Due, Told]:
    days = planned_days(line, visit.day, lexicon)
    return Due(
        id=line.id, what=_PLANS[line.concept], infant=visit.infant, visit=visit.id, since=visit.day,
        first=days.first if days else None, last=days.last if days else None, line=line.text, quote=line.quote,
        start_ms=line.start_ms, end_ms=line.end_ms,
    ), line  # fmt: skip


def planned_days(line: Told, day: date, lexicon: Lexicon) -> Days | None:
    """When a plan is to be: by the number on record, else by the words; None where no day was said."""
    if line.value is not None and line.unit in TIME_DAYS:
        at = later(day, line.value, line.unit)
        return Days(at, at)
    said = lexicon.calendar.days(tokens_of(line.quote), day, ahead=True)
    return next((days for days in said if days.first and days.first >= day), None)


def _once(plans: Sequence[tuple[Due, Told]]) -> Iterator[tuple[Due, Told]]:
    """Each plan once: what was said about one thing in one breath (a referral and its structure) is one; of several
    next visits the one with a day."""
    kept: list[tuple[Due, Told]] = []
    for one, line in plans:
        if one.what == "next visit" and not one.first and any(k.what == one.what for k, _ in plans if k.first):
            continue
        twin = next(
            (
                n for n, (other, its) in enumerate(kept)
                if other.what == one.what != "look again"
                and its.start_ms < line.end_ms
                and line.start_ms < its.end_ms
            ),
            None,
        )  # fmt: skip
        if twin is None:
            kept.append((one, line))
        elif kept[twin][1].site is None:
            kept[twin] = (replace(one, id=kept[twin][0].id), line)
    yield from kept


def _answered(answers: list[date], since: date) -> bool:
    """Whether an answer came that closes nothing else; it is used up."""
    for day in answers:
        if day >= since:
            answers.remove(day)
            return True
    return False


def _looked_at(reader: Reader, plan: Told, visit: Seen, lexicon: Lexicon) -> bool:
    """Whether a later visit says anything of the structure to be looked at again, on its side."""
    if plan.site is None:
        return True  # no structure was named: it was for the next visit
    sides = ("left", "right", "both", "none") if plan.side in ("none", "both") else (plan.side, "both", "none")
    return said_since(reader, visit, lexicon.below({plan.site}), sides)
