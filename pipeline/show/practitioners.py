"""Who works here, told at a terminal."""

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from pipeline.model import Practitioner

if TYPE_CHECKING:
    from pipeline.practitioners import Listed


def practitioner_line(one: Practitioner) -> str:
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
