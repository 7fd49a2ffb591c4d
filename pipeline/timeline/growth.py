"""Measurements over time on the WHO 2006 centile curves, and motion in degrees by side."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.check.growth import LAST_DAY, TABLES, Sex, centile, value_at, z_score
from pipeline.errors import InputError
from pipeline.search import Lexicon
from pipeline.store.past import Baby, Seen

# The usual five lines of the WHO charts: centile and its z-score.
CURVES = ((97, 1.8808), (85, 1.0364), (50, 0.0), (15, -1.0364), (3, -1.8808))


@dataclass(frozen=True)
class Measured:
    """One measurement: ``centile`` is None where sex or corrected age is not known, or it lies outside the tables."""

    visit: str
    day: date
    age_days: int | None
    corrected_days: int | None
    value: float
    unit: str
    z: float | None
    centile: float | None
    start_ms: int
    end_ms: int


@dataclass(frozen=True)
class Series:
    """The measurements of one kind, oldest first."""

    concept: str
    label: str
    points: tuple[Measured, ...]


@dataclass(frozen=True)
class Turned:
    """Degrees of one side at one visit, and the stretch that plays them."""

    visit: str
    day: date
    side: str
    degrees: float
    start_ms: int
    end_ms: int


@dataclass(frozen=True)
class Motion:
    """One direction of motion of one structure: degrees by visit and side."""

    concept: str
    site: str
    label: str
    points: tuple[Turned, ...]


def series(baby: Baby, visits: Sequence[Seen], lexicon: Lexicon) -> list[Series]:
    """Weight, length and head circumference; of several in one visit the last."""
    found = []
    for concept in TABLES:
        points = []
        for visit in visits:
            said = [line for line in visit.lines if line.concept == concept and line.value]
            if not said:
                continue
            line = said[-1]
            z = _z(concept, baby.sex, visit.corrected_days, line.value or 0)
            points.append(
                Measured(
                    visit.id, visit.day, visit.age_days, visit.corrected_days, line.value or 0, line.unit or "",
                    z, None if z is None else centile(z), line.start_ms, line.end_ms,
                )
            )  # fmt: skip
        if points:
            found.append(Series(concept, lexicon.concepts[concept].label, tuple(points)))
    return found


def curves(concept: str, sex: Sex, upto: int) -> list[tuple[int, list[tuple[int, float]]]]:
    """Each centile line as (day, value) from birth to a day, a point a week."""
    days = [*range(0, min(upto, LAST_DAY), 7), min(upto, LAST_DAY)]
    return [(share, [(day, value_at(concept, sex, day, z)) for day in days]) for share, z in CURVES]


def centile_told(centile: float) -> str:
    """A centile as it is told: 1st, 48th; beyond the tables' ends "above the 99th"."""
    if centile > 99:
        return "above the 99th"
    if centile < 1:
        return "below the 1st"
    whole = round(centile)
    ending = "th" if 10 <= whole <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(whole % 10, "th")
    return f"{whole}{ending}"


def motions(visits: Sequence[Seen], lexicon: Lexicon) -> list[Motion]:
    """Degrees of motion; of several of one side in one visit the last."""
    found: dict[tuple[str, str], dict[tuple[str, str], Turned]] = {}
    for visit in visits:
        for line in visit.lines:
            if line.unit == "deg" and line.value is not None and line.site is not None and line.kind == "finding":
                for side in ("left", "right") if line.side == "both" else (line.side,):
                    point = Turned(visit.id, visit.day, side, line.value, line.start_ms, line.end_ms)
                    found.setdefault((line.concept, line.site), {})[visit.id, side] = point
    return [
        Motion(concept, site, f"{_label(lexicon.sites[site].label)}: {lexicon.concepts[concept].label}",
               tuple(points.values()))
        for (concept, site), points in found.items()
        if site in lexicon.sites and concept in lexicon.concepts
    ]  # fmt: skip


def _label(text: str) -> str:
    return text[:1].upper() + text[1:]


def _z(concept: str, sex: str | None, day: int | None, value: float) -> float | None:
    if sex not in ("female", "male") or day is None:
        return None
    try:
        return z_score(concept, "female" if sex == "female" else "male", day, value)
    except InputError:
        return None
