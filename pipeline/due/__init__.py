"""What is due and what is unfinished: planned rechecks, referrals without an answer, next visits, unsigned notes."""

from collections.abc import Iterable
from datetime import date
from pathlib import Path

from pipeline.due.open import Due, due, open_plans
from pipeline.errors import InputError
from pipeline.files import write_atomic

__all__ = ["Due", "due", "open_plans", "write_calendar"]


def write_calendar(entries: Iterable[Due], to: Path, today: date, *, with_text: bool = False) -> None:
    """Write what is due as an iCalendar file. Raises InputError where there is no such folder, StoreError."""
    from pipeline.due.calendar import calendar

    if not to.absolute().parent.is_dir():
        raise InputError(f"{to}: there is no folder {to.parent}; make it or name another place.")
    write_atomic(to, calendar(entries, today, with_text=with_text))
