"""Times of the recording as W3C Media Fragments URI 1.0 (basic), section 4.2.1, temporal dimension.

Source: W3C Recommendation, 25 September 2012.
"""

from urllib.parse import quote


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
