"""Times of the recording, and days: as a person reads them, and as W3C Media Fragments URI 1.0 (basic), 4.2.1.

Source: W3C Recommendation, 25 September 2012.
"""

from datetime import date, datetime
from urllib.parse import quote

_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


def day(on: date) -> str:
    """A date as a person reads it, no mistaking day for month: ``25 November 2026``."""
    return f"{on.day} {_MONTHS[on.month - 1]} {on.year}"


def moment(at: datetime) -> str:
    """A date with its time of day."""
    return f"{day(at.date())}, {at:%H:%M}"


def clock(ms: int) -> str:
    """A time as a person reads it: ``1:05``, from an hour on ``1:02:03``."""
    hours, rest = divmod(ms // 1000, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"


def age(days: int) -> str:
    """An age as it is told at the couch: in days, in weeks up to three months, then in months."""
    if days < 14:
        return f"{days} d"
    return f"{days // 7} wk" if days < 92 else f"{int(days / 30.4375)} mo"


def seconds(ms: int) -> str:
    """Milliseconds as normal play time in seconds, without needless zeros: 12500 -> ``12.5``."""
    whole, rest = divmod(ms, 1000)
    return f"{whole}.{rest:03d}".rstrip("0") if rest else str(whole)


def fragment(start_ms: int, end_ms: int) -> str:
    """``t=start,end``; the start belongs to the span, the end does not. An empty span reaches one millisecond."""
    return f"t={seconds(start_ms)},{seconds(max(end_ms, start_ms + 1))}"


def media_link(audio: str, start_ms: int, end_ms: int) -> str:
    """A link to a span of a sound file named ``audio`` ("" = the sound inside the same page)."""
    return f"{quote(audio)}#{fragment(start_ms, end_ms)}"
