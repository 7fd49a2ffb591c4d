"""How findings changed from visit to visit: new, unchanged, changed, resolved, back, not looked at again.

A finding is followed by concept, structure, level and side. What was said of both sides counts for each; what was found
in order without a side counts for each too (nobody is harmed by that), what was found wrong without a side stands by
itself. Of several statements in one visit the last one is how the visit ended, the first how it began. What tells
neither (an equivocal test, degrees alone) closes nothing; what was not assessed was not looked at.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from pipeline.search import Lexicon
from pipeline.store.past import Seen, Told

State = Literal[
    "found", "new", "unchanged", "changed", "resolved", "back", "in order", "looked at", "not looked at again"
]
_SYMPTOM = "symptom."  # of what is told, complaints are followed; how the birth went does not change
_NOT_ASSESSED = "not_assessed"
_UNCLEAR = "equivocal"  # followed like a finding: it asks for a second look


_Said = dict[tuple[str, str | None, str | None], list[Told]]  # of one visit: concept, structure, level -> its lines


@dataclass(frozen=True)
class Step:
    """A finding at one visit; ``line`` is None where it was not looked at. ``began``: its beginning, if other."""

    visit: str
    state: State
    line: Told | None = None
    began: Told | None = None


@dataclass(frozen=True)
class Thread:
    """One finding over the visits, from the first that says it. ``open``: found when it was last looked at."""

    kind: str
    concept: str
    site: str | None
    level: str | None
    side: str
    label: str
    steps: tuple[Step, ...]
    open: bool


def threads(visits: Sequence[Seen], lexicon: Lexicon) -> list[Thread]:
    """Everything that was ever found, in the order it was found first; ``visits`` oldest first."""
    keys: dict[tuple[str, str | None, str | None, str], None] = {}
    said: list[tuple[Seen, _Said]] = []
    for visit in visits:
        of_visit: _Said = {}
        said.append((visit, of_visit))
        for line in visit.lines:
            if line.result != _NOT_ASSESSED:
                of_visit.setdefault((line.concept, line.site, line.level), []).append(line)
            if (line.kind == "finding" or line.concept.startswith(_SYMPTOM)) and _followed(line, lexicon):
                for side in ("left", "right") if line.side == "both" else (line.side,):
                    keys.setdefault((line.concept, line.site, line.level, side))
    return [_thread(key, said, lexicon) for key in keys]


def is_found(line: Told, lexicon: Lexicon) -> bool:
    """Whether a line says that something was found, not that it was in order or absent."""
    facts = lexicon.concepts.get(line.concept)
    if line.result is None or facts is None or is_in_order(line, lexicon):
        return False
    if line.concept in lexicon.wanted_present:
        return line.result in lexicon.bad or line.result == "absent"
    return line.result in lexicon.bad or line.result == facts.stated


def is_in_order(line: Told, lexicon: Lexicon) -> bool:
    """Whether a line says that it was looked at and nothing was found."""
    facts = lexicon.concepts.get(line.concept)
    if line.result is None or facts is None:
        return False
    if line.concept in lexicon.wanted_present and line.result in ("present", "absent"):
        return line.result == "present"
    if line.result in lexicon.bad:  # to deny "full" is to say "limited"
        return False
    return line.result in lexicon.good or line.result == facts.negated


def _followed(line: Told, lexicon: Lexicon) -> bool:
    return is_found(line, lexicon) or line.result == _UNCLEAR


def _thread(
    key: tuple[str, str | None, str | None, str], visits: Sequence[tuple[Seen, _Said]], lexicon: Lexicon
) -> Thread:
    concept, site, level, side = key
    steps: list[Step] = []
    last: Told | None = None  # how it was when last looked at
    open_now = was_found = False
    for visit, lines in visits:
        said = [line for line in lines.get((concept, site, level), ()) if _tells(line, side, lexicon)]
        if not said:
            if open_now:
                steps.append(Step(visit.id, "not looked at again"))
            continue
        state = _state(said, last, lexicon, open_before=open_now, was_found=was_found, first=visit is visits[0][0])
        began = said[0] if said[0].result != said[-1].result else None
        steps.append(Step(visit.id, state, said[-1], began))
        last = said[-1]
        for line in said:
            open_now = not is_in_order(line, lexicon) and (open_now or _followed(line, lexicon))
        was_found = was_found or any(is_found(line, lexicon) for line in said)
    kind = next(s.line.kind for s in steps if s.line)
    return Thread(
        kind=kind,
        concept=concept,
        site=site,
        level=level,
        side=side,
        label=_label(key, lexicon),
        steps=tuple(steps),
        open=open_now,
    )


def _state(
    said: Sequence[Told], last: Told | None, lexicon: Lexicon, *, open_before: bool, was_found: bool, first: bool
) -> State:
    """What became of it, by how the visit began and ended, how it was when last looked at, and whether it was open."""
    ended = said[-1]
    found = any(is_found(line, lexicon) for line in said)
    if is_in_order(ended, lexicon):
        return "resolved" if found or open_before else "in order"
    if not found:
        return "changed" if open_before else "looked at"
    if first:
        return "found"
    if not open_before or last is None:
        return "back" if was_found else "new"
    same = (last.result, last.value, last.degree) == (ended.result, ended.value, ended.degree)
    return "unchanged" if same and ended.change in (None, "same") else "changed"


def _tells(line: Told, side: str, lexicon: Lexicon) -> bool:
    return line.side == side or line.side == "both" or (line.side == "none" and is_in_order(line, lexicon))


def _label(key: tuple[str, str | None, str | None, str], lexicon: Lexicon) -> str:
    concept, site, level, side = key
    facts = lexicon.concepts.get(concept)
    place = lexicon.sites[site].label if site in lexicon.sites and site is not None else ""
    if place == "whole body" or (facts and facts.site == site and facts.kind == "history"):
        place = ""
    where = ", ".join(part for part in (place, level or "", side if side != "none" else "") if part)
    what = facts.label if facts else concept
    return f"{where}: {what}" if where else what


def lines_of(visit: Seen, kind: str) -> Iterator[Told]:
    """The lines of a visit of one kind."""
    return (line for line in visit.lines if line.kind == kind)
