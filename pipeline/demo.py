"""The invented visits that come with the program, drafted like any other into a folder and a record of their own."""

from dataclasses import replace
from datetime import date
from pathlib import Path

from pipeline.config import Config
from pipeline.errors import InputError
from pipeline.resources import data_path
from pipeline.run import sibling_facts
from pipeline.stages import Progress, Stages
from pipeline.visits import Done, Told, draft


def invented_visits() -> tuple[Path, ...]:
    """The sound files, shortest first."""
    return tuple(sorted(data_path("samples").glob("*.opus"), key=lambda path: path.stat().st_size))


def run_demo(
    name: str | None, to: Path, config: Config, stages: Stages, *, today: date, on_progress: Progress | None
) -> Done:
    """Draft one invented visit (the shortest where ``name`` is None) into ``to``; the person's record is left alone.

    Raises InputError where there is no visit of that name, and what ``draft`` raises.
    """
    visits = {path.stem: path for path in invented_visits()}
    if not visits:
        raise InputError("no invented visit was found beside the program; install it again.")
    sound = visits.get(name or next(iter(visits)))
    if sound is None:
        raise InputError(f"there is no invented visit {name!r}; there are: {', '.join(visits)}.")
    age, gestation_weeks = sibling_facts(sound)
    told = Told(infant=sound.stem, age=age, gestation_weeks=gestation_weeks)
    place = to.absolute()
    own = replace(config, home=place / "record")
    return draft(sound, told, own, stages, today=today, to=place, on_progress=on_progress)
