"""What a person tells of the infant in answer to a point: the age, the weeks at birth, the birth weight."""

import re
from datetime import date
from typing import Any

from pipeline.ages import parse_age
from pipeline.errors import InputError
from pipeline.infants import Facts, with_facts
from pipeline.model import Age, Infant
from pipeline.review.find import read_as_said
from pipeline.stages import Stages

_WEEKS = re.compile(r"^(\d{2})(?:\s*(?:\+\s*\d|weeks?|wks?))*$")
_WEIGHT = "history.birth_weight"


def told_age(text: str, infant: Infant) -> Age:
    """The age at the visit, such as "9 weeks". Raises InputError."""
    return parse_age(text, infant.gestation_weeks)


def told_fact(what: str, text: str, infant: Infant, day: date, stages: Stages) -> Infant:
    """The infant with its ``gestation_weeks`` or its ``birth_weight_kg`` as told. Raises InputError."""
    value: Any = None
    if what == "gestation_weeks":
        weeks = _WEEKS.match(text.strip())
        value = int(weeks[1]) if weeks else None
        usual = "37 or 37+4"
    else:
        label = stages.vocab.concepts[_WEIGHT].say[0]
        items = read_as_said(f"{label} {text}", stages)
        value = next((item.value for item in items if item.concept == _WEIGHT and item.unit == "kg"), None)
        usual = "3.2 kg or 7 pounds 4"
    if value is None:
        raise InputError(f"this cannot be read; give it such as {usual}.")
    return with_facts(infant, Facts(**{what: value}), day)
