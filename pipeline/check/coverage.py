"""Looked at / not looked at: what a visit should look at for this age, and what became of each part.

Cheap enough to run after every utterance: one pass over the items, the rows found by concept. "Not mentioned" is a
state of its own and never means normal.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from enum import StrEnum
from typing import Literal

from pipeline.check.ages import in_days_of
from pipeline.check.facts import Facts, fact_of
from pipeline.check.norms import Norms
from pipeline.check.rows import CoverageRow
from pipeline.check.safety_net import Said, safety_net
from pipeline.model import Age, Dropped, Frozen, Item, Mark
from pipeline.records import PastVisit

RECHECK = "plan.recheck"
ABNORMAL = frozenset(
    [
        "abnormal",
        "present",
        "positive",
        "limited",
        "guarded",
        "tight",
        "asymmetrical",
        "poor",
        "reduced",
        "weak",
        "rotated",
        "tilted",
        "high",
        "low",
        "bulging",
        "sunken",
        "head_lag",
        "curved",
        "lost",
    ]
)
OURS = "A follow-up looks again at what the last visit found or left open: our recommendation"


class State(StrEnum):
    """What became of one part of the visit."""

    LOOKED_AT = "looked at"
    SKIPPED = "skipped"
    NOT_MENTIONED = "not mentioned"
    ASK_AGE = "age needed"


class Entry(Frozen):
    """One part: its state, when it was first looked at (milliseconds), or why it was skipped.

    ``on_board``: how it reads on a screen that the family sees; "" = not there at all. ``past``, ``day``: what an
    earlier visit found or planned, and when.
    """

    id: str
    label: str
    on_board: str = ""
    region: str
    state: State
    danger: bool = False
    at_ms: int | None = None
    items: tuple[str, ...] = ()
    why: str = ""
    source: str = ""
    mark: Mark = Mark.OURS
    past: Item | None = None
    day: date | None = None


class Coverage(Frozen):
    """All parts in the order of the hands, what was not heard, and the safety net."""

    visit: Literal["first", "follow_up"]
    entries: tuple[Entry, ...]
    unheard: tuple[Dropped, ...] = ()
    safety_net: tuple[Said, ...] = ()


def coverage(
    items: Sequence[Item],
    age: Age | None,
    norms: Norms,
    *,
    previous: Sequence[PastVisit] = (),
    dropped: Sequence[Dropped] = (),
) -> Coverage:
    """What this visit should look at and what it did: a first visit without ``previous``, else a follow-up.

    A follow-up should look at the dangers, and first at what the earlier visits left open: found and not looked at
    since, or planned to be looked at again.
    ``dropped``: stretches that were not heard. Parts whose age window cannot be judged say that the age is needed.
    """
    kind: Literal["first", "follow_up"] = "follow_up" if previous else "first"
    facts = Facts([fact_of(item) for item in items], norms.parents)
    met = _met(items, facts, norms)
    entries = [
        _entry(row, met.get(row.id, []), age)
        for row in norms.coverage
        if row.visit in (kind, "both") and _in_age(row, age) is not False
    ]
    if previous:
        entries = [*_again(previous, items, facts, norms), *entries]
    return Coverage(visit=kind, entries=tuple(entries), unheard=tuple(dropped), safety_net=safety_net(facts, norms))


def _met(items: Iterable[Item], facts: Facts, norms: Norms) -> Mapping[str, list[Item]]:
    met: dict[str, list[Item]] = {}
    for item in items:
        for row in norms.coverage_by_concept.get(item.concept, ()):
            if not row.sites or facts.within(item.site, row.sites):
                met.setdefault(row.id, []).append(item)
    return met


def _in_age(row: CoverageRow, age: Age | None) -> bool | None:
    if not {"from_", "until"} & row.model_fields_set:
        return True  # looked at whatever the age
    return in_days_of(row.age, row.from_, row.until, age)


def _entry(row: CoverageRow, items: Sequence[Item], age: Age | None) -> Entry:
    entry = Entry(
        id=row.id,
        label=row.label,
        on_board=row.board or row.label,
        region=row.region,
        state=State.NOT_MENTIONED if _in_age(row, age) else State.ASK_AGE,
        danger=row.danger,
        source=row.source,
        mark=row.mark,
    )
    return _filled(entry, items)


def _filled(entry: Entry, items: Sequence[Item]) -> Entry:
    looked = sorted((i for i in items if i.result != "not_assessed"), key=lambda i: (i.start_ms, i.id))
    skipped = sorted((i for i in items if i.result == "not_assessed"), key=lambda i: (i.start_ms, i.id))
    if not items:
        return entry
    found = looked or skipped
    return entry.model_copy(
        update={
            "state": State.LOOKED_AT if looked else State.SKIPPED,
            "at_ms": found[0].start_ms,
            "items": tuple(item.id for item in found),
            "why": "" if looked else next((i.reason for i in skipped if i.reason), ""),
        }
    )


def _abnormal(item: Item, norms: Norms) -> bool:
    """A result that is found rather than fine; that a reflex is present, or the eyes follow, is fine."""
    if item.result not in ABNORMAL or (item.result == "present" and item.concept.startswith("reflex.")):
        return False
    return not any(item.result in row.fine for row in norms.opposites if row.concept == item.concept and not row.across)


Open = dict[str, tuple[Item, date | None]]


def _open_then(previous: Sequence[PastVisit], norms: Norms) -> Open:
    """What the earlier visits found or planned to look at again and no later one has looked at, oldest first.

    A planned second look of what was found in the same visit is one with the finding.
    """
    still: Open = {}
    for visit in previous:
        facts = Facts((), norms.parents)
        still = {key: kept for key, kept in still.items() if not _answers(kept[0], visit.items, facts)}
        said = sorted(visit.items, key=lambda i: (i.concept != RECHECK, i.start_ms, i.concept, i.site or ""))
        found = [i for i in said if _stays_open(i, norms)]
        for item in found:
            if item.concept == RECHECK and any(facts.within(i.site, (item.site or "",)) for i in found if i != item):
                continue
            side = f":{item.side}" if item.side != "none" else ""
            key = f"again:{item.site}" if item.concept == RECHECK else f"again:{item.concept}:{item.site or ''}"
            still.setdefault(key + side, (item, visit.day))
    return still


def _stays_open(item: Item, norms: Norms) -> bool:
    """A planned second look, a complaint, or a finding that is not fine."""
    if item.concept == RECHECK:
        return item.site is not None
    if item.kind == "history":
        return item.concept.startswith("symptom.") and item.result in ABNORMAL
    return item.kind == "finding" and _abnormal(item, norms)


def _answers(past: Item, items: Sequence[Item], facts: Facts) -> list[Item]:
    """The items that speak of it again: of the same place and, where both name one, the same side."""
    if past.concept == RECHECK:
        return [i for i in items if i.kind == "finding" and facts.within(i.site, (past.site or "",)) and _side(past, i)]
    same = [i for i in items if i.concept == past.concept]
    return [i for i in same if past.kind == "history" or (i.site == past.site and _side(past, i))]


def _side(past: Item, item: Item) -> bool:
    return past.side == item.side or {past.side, item.side} != {"left", "right"}


def _again(previous: Sequence[PastVisit], items: Sequence[Item], facts: Facts, norms: Norms) -> list[Entry]:
    """The complaint, the findings and the planned second looks that the earlier visits left open, each once."""
    entries = []
    for key, (past, day) in _open_then(previous, norms).items():
        place, planned = norms.place(past.site), past.concept == RECHECK
        entry = Entry(
            id=key,
            label=f"{place}: to be looked at again" if planned else f"{past.quote} (last time)",
            on_board=f"{place} again" if planned else "",
            region="last visit",
            state=State.NOT_MENTIONED,
            source=OURS,
            past=past,
            day=day,
        )
        entries.append(_filled(entry, _answers(past, items, facts)))
    return entries
