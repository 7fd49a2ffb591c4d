"""Infants on record: entered, put right, listed; two entries that are one infant merged, and split again."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from pipeline.ages import age_from_birth, age_on, check_gestation
from pipeline.config import Config
from pipeline.errors import InputError, NotFoundError
from pipeline.files import staged
from pipeline.model import Carer, Frozen, Infant
from pipeline.stages import Stages
from pipeline.store import Store, Writing, new_id
from pipeline.store.events import InfantEntered, InfantRevised, InfantsMerged, InfantsSplit, VisitRevised
from pipeline.visits import redraft

LONGEST_NAME = 80
BIRTH_WEIGHT_KG = (0.2, 8.0)  # outside it a slip of unit or decimal point is likelier (our choice of limits)
ONE_VALUED = ("legal_name", "born", "sex", "gestation_weeks", "birth_weight_kg")  # what two entries may disagree in


@dataclass(frozen=True)
class Facts:
    """What the person said of an infant; None = not said. ``unknown``: fields to be taken back."""

    code_name: str | None = None
    legal_name: str | None = None
    born: date | None = None
    sex: Literal["female", "male"] | None = None
    gestation_weeks: int | None = None
    birth_weight_kg: float | None = None
    risk_factors: tuple[str, ...] | None = None
    carers: tuple[Carer, ...] | None = None
    unknown: tuple[str, ...] = ()


class Listed(Frozen):
    """An infant as the list shows it: its visits, and the other code names it was entered under."""

    infant: Infant
    visits: int
    also: tuple[str, ...] = ()


def add(facts: Facts, config: Config, *, today: date) -> Infant:
    """Enter an infant. Raises InputError where nothing identifies it or its name is taken, StoreError."""
    if facts.code_name is None and facts.legal_name is None:
        raise InputError("an infant needs one name at least: a code name, or --legal-name.")
    key = new_id()
    infant = with_facts(Infant(id=key, code_name=f"unnamed-{key[-8:].lower()}"), facts, today)
    with Store(config.home) as store, store.writing() as unit:
        unit.append(InfantEntered(infant=infant), infant=infant.id)
    return infant


def edit(key: str, facts: Facts, config: Config, stages: Stages, *, today: date) -> tuple[Infant, tuple[date, ...]]:
    """Put right what is known of an infant; returns it, and the days of the visits drafted again.

    Ages counted from the birth date are counted anew. Raises NotFoundError, InputError, StoreError.
    """
    with staged() as batch:
        with Store(config.home) as store, store.writing() as unit:
            before = found(unit, key)
            infant = with_facts(before, facts, today)
            if infant == before:
                return infant, ()
            unit.append(InfantRevised(infant=infant), infant=infant.id)
            count_ages(unit, infant)
            days = redraft(unit, batch, config, stages, [visit for visit, _ in unit.drafted_visits(infant=infant.id)])
        batch.publish()
    return infant, days


def listed(config: Config) -> list[Listed]:
    """All infants by code name; none where there is no record yet. Raises StoreError."""
    if not Store.exists(config.home):
        return []
    with Store(config.home) as store:
        return [
            Listed(infant=infant, visits=visits, also=tuple(entry.code_name for entry in entries))
            for infant, visits, entries in store.infants()
        ]


def merge(key: str, other: str, config: Config, stages: Stages) -> tuple[Infant, tuple[date, ...]]:
    """``other`` turned out to be the infant ``key``: its visits and contacts go there, its entry is kept.

    What only the other knew is taken over. Returns the infant and the days of the visits drafted again. Raises
    NotFoundError, InputError where the two are one already or contradict each other, StoreError.
    """
    with staged() as batch:
        with Store(config.home) as store, store.writing() as unit:
            kept, merged = found(unit, key), found(unit, other)
            if kept.id == merged.id:
                raise InputError(f'"{key}" and "{other}" are one infant on record already ({kept.code_name}).')
            after = _together(kept, merged)
            payload = InfantsMerged(kept=kept.id, merged=merged.id, before=kept, after=after)
            unit.append(payload, infant=kept.id)
            count_ages(unit, after)
            days = redraft(unit, batch, config, stages, [visit for visit, _ in unit.drafted_visits(infant=kept.id)])
        batch.publish()
    return after, days


def split(key: str, config: Config, stages: Stages) -> tuple[Infant, Infant, tuple[date, ...]]:
    """Undo a merge: the entry ``key`` stands by itself again, with the visits filed to it.

    Returns the entry, the infant it was merged into, and the days of the visits drafted again. Raises NotFoundError,
    InputError where the entry was not merged, StoreError.
    """
    with staged() as batch:
        with Store(config.home) as store, store.writing() as unit:
            entry = unit.entry(key)
            if entry is None:
                raise _unknown(key)
            merge = unit.merge_of(entry.id)
            if merge is None:
                raise InputError(f'"{entry.code_name}" was not merged into another infant; there is nothing to split.')
            kept = found(unit, merge.kept)
            if kept.id != merge.kept:
                raise InputError(
                    f'"{entry.code_name}" was merged into an entry that was itself merged into {kept.code_name} since; '
                    "split that one first."
                )
            kept = _apart(kept, merge)
            unit.append(InfantsSplit(merged=entry.id, kept=kept), infant=kept.id)
            days: tuple[date, ...] = ()
            for infant in (kept, entry):
                count_ages(unit, infant)
                visits = [visit for visit, _ in unit.drafted_visits(infant=infant.id)]
                days += redraft(unit, batch, config, stages, visits)
        batch.publish()
    return entry, kept, days


def found(unit: Writing, key: str) -> Infant:
    """The infant of this code name or id. Raises NotFoundError."""
    infant = unit.infant(key.strip())
    if infant is None:
        raise _unknown(key)
    return infant


def count_ages(unit: Writing, infant: Infant) -> None:
    """Count the ages at all visits of an infant anew by what is known of it now. Raises InputError."""
    for entry in unit.visits_of(infant=infant.id):
        said = entry.age.as_said if entry.age and entry.age.as_said else None
        try:
            age = age_on(entry.day, infant.born, infant.gestation_weeks, said)
        except InputError as error:
            raise InputError(f"visit {entry.id} of {entry.day}: {error}") from error
        if age != entry.age:
            unit.append(VisitRevised(day=entry.day, age=age), visit=entry.id, infant=infant.id)


def checked_text(text: str, what: str, longest: int = LONGEST_NAME) -> str:
    """A short text as a person typed it. Raises InputError where it is empty, too long, or not plain print."""
    plain = text.strip()
    if not plain or len(plain) > longest or not plain.isprintable():
        raise InputError(f"{what}: give 1 to {longest} printable characters.")
    return plain


def parse_carer(text: str) -> Carer:
    """``NAME[, ROLE][, may consent | may not consent]``. Raises InputError."""
    name, *rest = (part.strip() for part in text.split(","))
    consent = {"may consent": True, "may not consent": False}
    said = [consent[part.lower()] for part in rest if part.lower() in consent]
    roles = [part for part in rest if part.lower() not in consent]
    if len(said) > 1 or len(roles) > 1:
        raise InputError(f'carer "{text[:80]}": write NAME, ROLE, may consent (or may not consent).')
    return Carer(
        name=checked_text(name, "name of a carer"),
        role=checked_text(roles[0], "role of a carer") if roles else "",
        may_consent=said[0] if said else None,
    )


def with_facts(infant: Infant, facts: Facts, today: date) -> Infant:
    """The infant with what was said now. Raises InputError where it cannot be."""
    update: dict[str, Any] = {name: Infant.model_fields[name].default for name in facts.unknown}
    for name, what in (("code_name", "code name"), ("legal_name", "legal name")):
        if (text := getattr(facts, name)) is not None:
            update[name] = checked_text(text, what)
    if facts.risk_factors is not None:
        update["risk_factors"] = tuple(checked_text(risk, "risk factor") for risk in facts.risk_factors)
    if facts.carers is not None:
        update["carers"] = facts.carers
    for name in ("born", "sex", "gestation_weeks", "birth_weight_kg"):
        if (value := getattr(facts, name)) is not None:
            update[name] = value
    told = infant.model_copy(update=update)
    check_gestation(told.gestation_weeks)
    if told.born is not None:
        age_from_birth(told.born, today)
    low, high = BIRTH_WEIGHT_KG
    if told.birth_weight_kg is not None and not low <= told.birth_weight_kg <= high:
        raise InputError(f"birth weight {told.birth_weight_kg:g} kg cannot be; give {low:g} to {high:g} kilograms.")
    return told


def _together(kept: Infant, merged: Infant) -> Infant:
    """What is known of one infant by two entries. Raises InputError where they contradict each other."""
    update: dict[str, Any] = {}
    for name in ONE_VALUED:
        here, there = getattr(kept, name), getattr(merged, name)
        if here is not None and there is not None and here != there:
            raise InputError(
                f'"{kept.code_name}" and "{merged.code_name}" contradict each other in the {name.replace("_", " ")} '
                f"({here}, {there}); if they are one infant, put one of them right first (`handspoken infant edit`)."
            )
        update[name] = there if here is None else here
    update["risk_factors"] = _united(kept.risk_factors, merged.risk_factors)
    update["carers"] = _united(kept.carers, merged.carers)
    return kept.model_copy(update=update)


def _apart(kept: Infant, merge: InfantsMerged) -> Infant:
    """What is known of the infant without what came by the merge; what was put right since stays."""
    update = {
        name: getattr(merge.before, name)
        for name in (*ONE_VALUED, "risk_factors", "carers")
        if getattr(kept, name) == getattr(merge.after, name)
    }
    return kept.model_copy(update=update)


def _united(first: Iterable[Any], second: Iterable[Any]) -> tuple[Any, ...]:
    return tuple(dict.fromkeys((*first, *second)))


def _unknown(key: str) -> NotFoundError:
    return NotFoundError(
        f"infant {key[:LONGEST_NAME]!r}: the record holds none of this name or id; `handspoken infant list` shows them."
    )
