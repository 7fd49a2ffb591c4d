"""A visit as it stood at an earlier time, as lines."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from pipeline.times import clock

if TYPE_CHECKING:
    from pipeline.earlier import Stood

_MINUTE = "%Y-%m-%d %H:%M"


def stood_lines(found: "Stood") -> Iterator[str]:
    """The stamp, the note, what was asked and answered, what was added."""
    yield f"AS IT STOOD on {found.at:{_MINUTE}}: visit {found.visit}, {found.infant}, {found.state}"
    yield f"By the events up to {found.head}; the last of this visit is of {found.changed:{_MINUTE}}."
    if found.state == "signed":
        yield f"Signed by {found.signed}; worded by {found.program}, as it was signed."
    else:
        yield f"Made again from what was on record then by {found.program}; an earlier one may have said it otherwise."
    for start, end in found.destroyed_since:
        yield f"Destroyed since, and not shown: {clock(start)} to {clock(end)} of the recording."
    yield ""
    yield found.note
    yield "WHAT WAS ASKED, AND ANSWERED"
    for point in found.asked:
        given = f"{point.answer} ({point.at:{_MINUTE}})" if point.answer and point.at else point.answer
        yield f"  {'!' if point.pressing else '-'} {point.text}"
        yield f"      answered: {given}" if given else "      open"
    if not found.asked:
        yield "  nothing"
    for added in found.added:
        yield ""
        yield f"{added.kind.replace('_', ' ').upper()}, {added.at:{_MINUTE}}, {added.signer}: {added.text}"
        if added.reason:
            yield f"  because {added.reason}"
