"""One infant over time: findings by visit, treatments and contacts between, growth, motion, and a card for the door."""

from dataclasses import dataclass
from pathlib import Path

from pipeline.config import Config
from pipeline.due import Due, open_plans
from pipeline.files import write_atomic
from pipeline.search import Lexicon, load_lexicon
from pipeline.store.past import Baby, Between, Seen, baby, between, consents, points, seen
from pipeline.store.reading import Reader
from pipeline.timeline.course import Step, Thread, lines_of, threads
from pipeline.timeline.glance import Flag, Glance, glance
from pipeline.timeline.growth import Motion, Series, centile_told, motions, series

__all__ = [
    "Flag",
    "Glance",
    "Step",
    "Thread",
    "Timeline",
    "centile_told",
    "lines_of",
    "timeline",
    "timeline_of",
    "write_page",
]

PAGE = "timeline.html"


@dataclass(frozen=True)
class Timeline:
    """All of it; ``visits`` and ``contacts`` oldest first. ``notes``: the folder of the notes that play the lines,
    if they lie there."""

    infant: Baby
    visits: tuple[Seen, ...]
    contacts: tuple[Between, ...]
    threads: tuple[Thread, ...]
    growth: tuple[Series, ...]
    motion: tuple[Motion, ...]
    plans: tuple[Due, ...]
    glance: Glance
    notes: Path | None

    def changes(self, visit: str) -> list[tuple[Thread, Step]]:
        """What became of the findings followed at one visit."""
        return [(thread, step) for thread in self.threads for step in thread.steps if step.visit == visit]


def timeline(key: str, config: Config) -> Timeline:
    """The course of an infant by id or code name. Raises NotFoundError where there is none, StoreError."""
    with Reader(config.home) as reader:
        return timeline_of(reader, key, load_lexicon(config), None if config.encrypted else config.notes)


def timeline_of(reader: Reader, key: str, lexicon: Lexicon, notes: Path | None) -> Timeline:
    """The same, given what is open and compiled already."""
    known = baby(reader, key)
    visits = seen(reader, known.id)
    contacts = between(reader, known.id)
    followed = threads(visits, lexicon)
    growth = series(known, visits, lexicon)
    plans = list(open_plans(reader, visits, contacts, lexicon))
    card = glance(visits, points(reader, known.id), consents(reader, known.id), followed, growth, plans)
    return Timeline(
        infant=known,
        visits=tuple(visits),
        contacts=tuple(contacts),
        threads=tuple(followed),
        growth=tuple(growth),
        motion=tuple(motions(visits, lexicon)),
        plans=tuple(plans),
        glance=card,
        notes=notes,
    )


def write_page(course: Timeline, folder: Path) -> Path:
    """Write the page with its charts; returns where it lies. Raises InputError, StoreError."""
    from pipeline.timeline.page import page

    to = folder / PAGE
    write_atomic(to, page(course).encode())
    return to
