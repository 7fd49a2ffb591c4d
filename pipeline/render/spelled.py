"""Ages and what is known about the infant, as a person reads them."""

from pipeline.model import Age, Note
from pipeline.times import day


def facts(note: Note) -> tuple[tuple[str, str], ...]:
    """What is known about the infant beside the recording, by the code of its label; what is not known is left out."""
    infant, age = note.infant, note.age
    weight = f"{infant.birth_weight_kg:g} kg" if infant.birth_weight_kg is not None else ""
    known = {
        "written": f"by hand, {note.written}" if note.written else "",
        "legal_name": infant.legal_name or "",
        "age": _age(age) if age else "",
        "corrected": _weeks(age.corrected_days) if age and age.corrected_days is not None else "",
        "born": day(infant.born) if infant.born else "",
        "sex": infant.sex or "",
        "gestation": f"{infant.gestation_weeks} weeks" if infant.gestation_weeks is not None else "",
        "birth_weight": weight,
        "risk_factors": ", ".join(infant.risk_factors),
    }
    return tuple((code, words) for code, words in known.items() if words)


def _age(age: Age) -> str:
    counted = _weeks(age.days)
    return f"{age.as_said} ({counted})" if age.as_said and age.as_said != counted else counted


def _weeks(days: int) -> str:
    """Completed days as weeks and days; a corrected age before term is "before term"."""
    if days < 0:
        return f"{_weeks(-days)} before term"
    weeks, rest = divmod(days, 7)
    parts = [f"{n} {name}{'s' * (n != 1)}" for n, name in ((weeks, "week"), (rest, "day")) if n]
    return " and ".join(parts) or "0 days"
