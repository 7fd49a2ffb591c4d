"""Who read and who changed what is on record."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Literal

from pipeline.config import Config
from pipeline.store.readings import log_of, note_reading

if TYPE_CHECKING:
    from pipeline.model import Infant
    from pipeline.store import Writing
    from pipeline.store.events import Event

Way = Literal["page", "command"]
What = Literal["note", "sound", "paper", "lines", "course", "due", "contacts", "earlier note", "export", "copy"]


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the log: when, by whom ("" = nobody had signed in by name), what was read or done, by which way
    ("" = it was a change), and of which visit."""

    at: datetime
    by: str
    what: str
    way: str
    visit: str


def note_read(
    config: Config, what: What, way: Way, *, visit: str | None = None, infant: str | None = None,
    visits: Iterable[str] = (),
) -> None:  # fmt: skip
    """Note that who is at work has opened something: of a visit, of an infant, of several visits (by their ids), or of
    all the record where none of these is given. Raises LockedError."""
    shown = list(dict.fromkeys(visits))
    if what in ("lines", "due") and not shown:
        return  # nothing was found
    payload = {"type": "read", "what": what, "way": way, "visits": shown}
    note_reading(config.home, payload, visit=visit, infant=infant)


def log(key: str, config: Config) -> tuple["Infant", list[Entry]]:
    """Who read and who changed the record of an infant, oldest first. Raises NotFoundError, StoreError."""
    from pipeline.infants import found
    from pipeline.store import Store

    with Store(config.home) as store, store.writing() as unit:
        infant = found(unit, key)
        return infant, entries(unit, infant.id)


def entries(unit: "Writing", infant: str) -> list[Entry]:
    """The log of an infant by its id. Raises StoreError."""
    from pipeline.store.practitioners import practitioners

    names = {one.id: f"{one.name}, {one.role}" for one in practitioners(unit.connection).values()}
    return [_entry(event, names) for event in log_of(unit.connection, infant)]


def _entry(event: "Event", names: dict[str, str]) -> Entry:
    from pipeline.store.events import Read, kind_of

    read = event.payload if isinstance(event.payload, Read) else None
    what = read.what if read else kind_of(event.payload).replace("_", " ")
    by = names.get(event.author, event.author)
    return Entry(event.at.astimezone(), by, what, read.way if read else "", event.visit or "")
