"""Age since birth and age corrected for prematurity: how they are found, shown, and held against a rule's window.

How an age is corrected stands in ``pipeline.ages``. Fever, bruising and jaundice go by age since birth.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from pipeline.ages import DAYS, FULL_WEEKS, TERM_WEEKS, age_from_birth, corrected
from pipeline.check.rows import Rule
from pipeline.model import Age, Infant, Item, Urgency

MONTH = DAYS["mo"]
EARLIEST_WEEKS = 23  # the youngest gestation that is thought possible where it is not known


def gestation(infant: Infant, items: Iterable[Item] = ()) -> int | None:
    """Completed weeks of gestation from the chart, else as told in this visit."""
    if infant.gestation_weeks is not None:
        return infant.gestation_weeks
    said = sorted((i.start_ms, i.value) for i in items if i.concept == "history.gestation" and i.value is not None)
    return int(said[-1][1]) if said else None


def age_at_visit(infant: Infant, on: date, items: Iterable[Item] = ()) -> Age | None:
    """Age on the day of the visit: by the chart's date of birth, else the (highest) age said aloud; None = unknown.

    Where a corrected age was said beside the age since birth, the higher is the age since birth.
    Raises InputError if the date of birth is after the visit, or years before it.
    """
    items = tuple(items)
    said = [i for i in items if i.concept == "history.age" and i.value is not None and i.unit in DAYS]
    aloud = max(said, key=said_days, default=None)
    if infant.born is not None:
        days = age_from_birth(infant.born, on).days
    elif aloud is not None:
        days = said_days(aloud)
    else:
        return None
    text = "" if aloud is None else aloud.quote
    return Age(days=days, corrected_days=corrected(days, gestation(infant, items)), as_said=text)


def said_days(item: Item) -> int:
    """Completed days of an age said in days, weeks or months (a whole month is fully complete)."""
    return math.ceil((item.value or 0) * DAYS[item.unit or "d"])


def shown(days: int) -> str:
    """An age in the words of the trade: days to two weeks, weeks to three months, then months."""
    if days < 0:
        weeks = math.ceil(-days / 7)
        return f"{weeks} week{'s' * (weeks > 1)} before term"
    for limit, unit, name in ((14, 1.0, "day"), (3 * MONTH, 7.0, "week"), (math.inf, MONTH, "month")):
        if days < limit:
            count = int(days / unit)
            return f"{count} {name}{'s' * (count != 1)}"
    raise AssertionError("every age is below infinity")


def both_shown(age: Age) -> str:
    """Both ages: ``14 weeks old, corrected 6 weeks``; says so where the corrected one is not known."""
    if age.corrected_days is None:
        return f"{shown(age.days)} old, corrected age not known"
    if age.corrected_days == age.days:
        return f"{shown(age.days)} old, no correction"
    return f"{shown(age.days)} old, corrected {shown(age.corrected_days)}"


WHICH = {"chronological": "by age since birth", "corrected": "by corrected age", "either": "by either age"}
ALWAYS = 3 * 365.25  # days: a rule's window that runs so far has no end


def window_of(rule: Rule) -> str:
    """The norm's window in words: as the row gives it, else the ages between which the rule holds."""
    if rule.window:
        return rule.window
    if rule.age is None:
        return "" if rule.urgency is Urgency.ASK else "at any age"
    start, end = shown(math.ceil(rule.from_)), shown(math.ceil(rule.until))
    if rule.until >= ALWAYS:
        held = f"from {start} on" if rule.from_ else "at any age"
    else:
        held = f"{start} to {end}" if rule.from_ else f"under {end}"
    return f"{held}, {WHICH[rule.age]}"


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a rule's window holds: yes, no, or not to be known without ``missing`` (``age``, ``gestation``...)."""

    holds: bool
    missing: str = ""


def in_window(rule: Rule, infant: Infant, age: Age | None, weeks: int | None) -> Verdict:
    """Hold a rule's age window, sex and gestation against the infant; never assumes what is not known."""
    if rule.sex is not None and infant.sex != rule.sex:
        return Verdict(False, "" if infant.sex else "sex")
    if rule.age is None:
        return Verdict(True)
    if age is None:
        return Verdict(False, "age")
    held = in_days_of(rule.age, rule.from_, rule.until, age)
    if rule.preterm is not None and held is not False:
        if weeks is None:
            return Verdict(False, "gestation")
        if rule.preterm != (weeks < TERM_WEEKS):
            return Verdict(False)
    return Verdict(held is True, "gestation" if held is None else "")


def _span(which: str, age: Age) -> tuple[int, int]:
    """Lowest and highest age that may decide; one and the same where it is known. Before term counts as newborn."""
    if which == "chronological":
        return age.days, age.days
    if age.corrected_days is None:
        return max(age.days - 7 * (FULL_WEEKS - EARLIEST_WEEKS), 0), age.days
    days = max(age.corrected_days, 0)
    lower = min(days, age.days) if which == "either" else days
    return lower, lower


def in_days_of(which: str, start: float, end: float, age: Age | None) -> bool | None:
    """Whether an age window [start, end) in days holds; None where the age that decides is not known."""
    if age is None:
        return None
    low, high = _span(which, age)
    inside = [start <= days < end for days in (low, high)]
    if all(inside):
        return True
    return None if any(inside) or (low < start and high >= end) else False
