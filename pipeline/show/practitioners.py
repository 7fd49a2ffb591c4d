"""Who works here, told at a terminal."""

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.model import Infant, Practitioner
    from pipeline.practitioners import Listed
    from pipeline.readings import Entry


def practitioner_line(one: "Practitioner") -> str:
    """A practitioner with role and days."""
    initials = f" ({one.initials})" if one.initials else ""
    return f"{one.name}, {one.role}{initials}: from {one.start}{f' until {one.until}' if one.until else ''}"


def practitioner_lines(found: "Iterable[Listed]") -> Iterator[str]:
    """All practitioners; whose passphrase opens nothing is told."""
    none = True
    for one in found:
        none = False
        yield practitioner_line(one.practitioner) + ("" if one.opens else "; cannot open the record")
    if none:
        yield "Nobody is entered by name; whoever has the passphrase is at work."


def log_lines(infant: "Infant", found: "Iterable[Entry]") -> Iterator[str]:
    """Who read and who changed what of an infant."""
    yield f"{infant.code_name} ({infant.id})"
    for one in found:
        what = f"read: {one.what}, by {one.way}" if one.way else one.what
        of = f", visit {one.visit}" if one.visit else ""
        yield f"{one.at:%Y-%m-%d %H:%M}  {one.by or 'not signed in by name'}: {what}{of}"
