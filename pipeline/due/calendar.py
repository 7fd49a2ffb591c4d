"""What is due as an iCalendar file (RFC 5545): next visits as events, the rest as to-dos.

A calendar is seen by others: it holds the code name and what it is, no clinical text unless that is asked for. Each
entry keeps its UID as long as it is open, so that importing again changes entries and doubles none.
"""

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta

from icalendar import Calendar, Event, Todo

from pipeline.due.open import Due

_NAMESPACE = "handspoken.invalid"  # RFC 2606: never a real domain


def calendar(entries: Iterable[Due], today: date, *, with_text: bool = False) -> bytes:
    """The file. ``today`` stamps it, so that the same open things give the same bytes on one day."""
    made = Calendar()
    made.add("prodid", "-//handspoken//due//EN")
    made.add("version", "2.0")
    stamp = datetime.combine(today, time(), UTC)
    for one in entries:
        visit = one.what == "next visit" and one.first is not None
        part = Event() if visit else Todo()
        part.add("uid", f"{one.id}@{_NAMESPACE}")
        part.add("dtstamp", stamp)
        part.add("summary", f"{one.infant}: {one.what}")
        part.add("class", "CONFIDENTIAL")
        if visit and one.first is not None:
            part.add("dtstart", one.first)
            part.add("dtend", (one.last or one.first) + timedelta(days=1))
            part.add("transp", "TRANSPARENT")
        else:
            part.add("status", "NEEDS-ACTION")
            if one.last is not None:
                part.add("due", one.last)
        if with_text and one.line:
            part.add("description", one.line)
        made.add_component(part)
    data: bytes = made.to_ical()
    return data
