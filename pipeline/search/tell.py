"""Counts and what was said around a hit, in the words that terminal and pages share."""

from pipeline.store.find import Count

_AROUND = 160  # characters shown of what was said about the time


def counted(count: Count) -> str:
    """How many there are; beyond what was counted, that there are more."""
    if not count.all:
        return f"More than {count.lines:,} lines."
    parts = ((count.lines, "line"), (count.visits, "visit"), (count.infants, "infant"))
    return ", ".join(f"{number:,} {what}{'s' * (number != 1)}" for number, what in parts) + "."


def shortened(around: str, quote: str) -> str:
    """What was said about the time, cut to what stands round the quote."""
    text = " ".join(around.split())
    if len(text) <= _AROUND:
        return text
    at = max(text.find(quote.split(".")[0][:40]), 0)
    start = max(0, min(at - _AROUND // 3, len(text) - _AROUND))
    cut = text[start : start + _AROUND]
    return f"{'…' * (start > 0)}{cut.strip()}{'…' * (start + _AROUND < len(text))}"
