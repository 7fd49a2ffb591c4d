"""How a pattern of the wording is filled.

A pattern holds ``{slots}``; a part in ``[square brackets]`` falls away where one of its slots was not said. Values are
put in once and never read as patterns, so braces and brackets in speech stay what they are.
"""

import re
from collections.abc import Mapping

_PART = re.compile(r"\[([^\[\]]*)\]|\{(\w+)\}")
_SLOT = re.compile(r"\{(\w+)\}")


def fill(pattern: str, slots: Mapping[str, str]) -> str:
    """Fill a pattern in one pass; a bracketed part with an empty slot falls away, any other empty slot is nothing."""

    def put(match: re.Match[str]) -> str:
        optional, slot = match.groups()
        if slot is not None:
            return slots.get(slot, "")
        if not all(slots.get(name) for name in _SLOT.findall(optional)):
            return ""
        return _SLOT.sub(lambda m: slots[m[1]], optional)

    return _PART.sub(put, pattern)


def needs(pattern: str, slot: str) -> bool:
    """Whether the pattern holds the slot outside square brackets."""
    return any(match[2] == slot for match in _PART.finditer(pattern))


def quoted(text: str) -> str:
    """The speaker's own words between quotation marks; empty stays empty."""
    return f"“{text.strip()}”" if text.strip() else ""
