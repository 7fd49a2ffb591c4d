"""Ages and dates as a person types them -> model.Age.

Corrected age = age since birth minus the weeks that were missing to 40, for infants born before 37 completed weeks
(American Academy of Pediatrics, Committee on Fetus and Newborn, "Age terminology during the perinatal period",
Pediatrics 2004;114:1362-1364; from memory; worked example "born 35 weeks, 8 weeks old: 3 weeks", gpnotebook.com,
published and seen). From 37 weeks on, and after 24 months (US MCHB, published and seen), the two are the same; where
guidance differs on who is corrected and how long, the choice is our recommendation.
"""

import math
import re
from datetime import date

from pipeline.amounts import TIME_DAYS
from pipeline.errors import InputError
from pipeline.model import Age

TERM_WEEKS = 37
FULL_WEEKS = 40
CORRECTED_UNTIL_DAYS = 730
GESTATION_RANGE = (22, 44)  # completed weeks; outside it a typing slip is likelier (common practice, no source)
AGE_DISAGREES_DAYS = 31  # an age said in months and a birth date on record may differ by that much
MAX_YEARS = 6  # the norms end before it; "18 years" for "18 weeks" is refused
DAYS = {"y" if unit == "a" else unit: days for unit, days in TIME_DAYS.items()}
_UNITS = {name[0]: name for name in DAYS}
_EXAMPLES = 'for example "9 weeks", "5 days", "3 months corrected" or "7 weeks 3 days"'
_PART = re.compile(r"(\d{1,4}(?:\.\d{1,2})?)\s*(days?|d|weeks?|wks?|wk|w|months?|mos?|mo|m|years?|yrs?|y)\b", re.I)
_FILLERS = re.compile(r"^(?:[\s,]|and\b|old\b)*$", re.I)
_CORRECTED = re.compile(r"\bcorrected(?:\s+age)?\b", re.I)


def parse_age(text: str, gestation_weeks: int | None = None) -> Age:
    """Read an age such as "9 weeks" into completed days.

    "corrected" says that the age counts from the due date: the days since birth are then longer by what was missing to
    40 weeks, or, where the gestation is not known, at least as long (``days`` = ``corrected_days``).

    Raises InputError where the text is not an age, the same unit stands twice, or the age is above ``MAX_YEARS``.
    """
    said = " ".join(text.split())
    bare, from_due_date = _CORRECTED.subn(" ", said)
    parts = _PART.findall(bare)
    units = [unit[0].lower() for _, unit in parts]
    if not parts or not _FILLERS.match(_PART.sub(" ", bare)) or len(set(units)) != len(units) or from_due_date > 1:
        raise InputError(f'age "{said[:60]}" cannot be read; write it as number and unit, {_EXAMPLES}.')
    days = math.ceil(sum(float(number) * DAYS[_UNITS[unit]] for (number, _), unit in zip(parts, units, strict=True)))
    if days > MAX_YEARS * DAYS["y"]:
        raise InputError(f'age "{said[:60]}" is more than {MAX_YEARS} years; this is for infants. Is the unit right?')
    check_gestation(gestation_weeks)
    if from_due_date:
        return Age(days=days + (_missing_days(gestation_weeks) or 0), corrected_days=days, as_said=said)
    return Age(days=days, corrected_days=corrected(days, gestation_weeks), as_said=said)


def age_from_birth(born: date, on: date, gestation_weeks: int | None = None) -> Age:
    """The age on the day of the visit. Raises InputError where the birth lies after it or too far before."""
    if born > on:
        raise InputError(f"birth date {born} lies after the visit on {on}; check --born and --on.")
    days = (on - born).days
    if days > MAX_YEARS * DAYS["y"]:
        raise InputError(f"birth date {born} is more than {MAX_YEARS} years before the visit on {on}; check the year.")
    return Age(days=days, corrected_days=corrected(days, check_gestation(gestation_weeks)))


def age_on(day: date, born: date | None, gestation_weeks: int | None, said: str | None) -> Age | None:
    """The age on the day of a visit, by what was said of it, else by the birth date; None where neither is known.

    Raises InputError where the two disagree by more than ``AGE_DISAGREES_DAYS``, or one of them cannot be.
    """
    typed = parse_age(said, gestation_weeks) if said is not None else None
    counted = age_from_birth(born, day, gestation_weeks) if born is not None else None
    if typed and counted and abs(typed.days - counted.days) > AGE_DISAGREES_DAYS:
        raise InputError(
            f"age {typed.as_said} does not go with the birth date {born}: on {day} that is {counted.days} days. "
            "Check the age, the day of the visit and the infant."
        )
    return typed or counted


def corrected(days: int, gestation_weeks: int | None) -> int | None:
    """Corrected age in days, negative before the due date; None where the gestation is not known and it matters."""
    missing = 0 if days > CORRECTED_UNTIL_DAYS else _missing_days(gestation_weeks)
    return None if missing is None else days - missing


def parse_date(text: str, what: str) -> date:
    """Read ``YYYY-MM-DD``. ``what`` names the date in the error. Raises InputError."""
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise InputError(f'{what} "{text[:40]}" is not a date; write it as year-month-day, like 2026-09-20.') from error


def check_gestation(weeks: int | None) -> int | None:
    """The gestation in completed weeks, if it can be one. Raises InputError."""
    low, high = GESTATION_RANGE
    if weeks is not None and not low <= weeks <= high:
        raise InputError(f"gestation of {weeks} weeks cannot be; give completed weeks from {low} to {high}.")
    return weeks


def _missing_days(gestation_weeks: int | None) -> int | None:
    if gestation_weeks is None:
        return None
    return (FULL_WEEKS - gestation_weeks) * 7 if gestation_weeks < TERM_WEEKS else 0
