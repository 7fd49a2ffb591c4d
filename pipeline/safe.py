"""Words from speech, names and edits are hostile until they pass here; and the sandbox that templates run in."""

import re
import unicodedata
from collections.abc import Callable
from functools import cache

from jinja2 import FileSystemLoader, StrictUndefined
from jinja2.sandbox import ImmutableSandboxedEnvironment
from markupsafe import Markup

from pipeline.resources import data_path
from pipeline.times import day, moment

# Unicode 15.1, UAX #9: explicit formatting characters and marks that turn the direction of what follows.
_DIRECTION = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_BREAKS = frozenset("\t\n\x0b\x0c\r\x85\u2028\u2029")
_MARKDOWN = re.compile(r"[\\`*_\[\]<>&~|#!]")
_MARKDOWN_START = re.compile(r"^(\s*)([-+=]|\d{1,9}[.)])")


def clean(text: str) -> str:
    """Text without control, direction and surrogate characters; line breaks and tabs become spaces."""
    if text.isprintable():  # then it holds none of them: the common case, and many times faster
        return text
    kept = []
    for character in text:
        if character in _BREAKS:
            kept.append(" ")
        elif character not in _DIRECTION and unicodedata.category(character) not in ("Cc", "Cs"):
            kept.append(character)
    return "".join(kept)


def markdown_text(text: str) -> Markup:
    """Cleaned text in which no character has a meaning in CommonMark (0.31.2, section 2.4: backslash escapes)."""
    safe = _MARKDOWN.sub(r"\\\g<0>", clean(text))
    return Markup(_MARKDOWN_START.sub(lambda m: f"{m[1]}{m[2][:-1]}\\{m[2][-1]}", safe))


def stop(text: str) -> str:
    """A sentence with its full stop, where it has no end of its own."""
    return text if text.endswith((".", "?", "!")) else text + "."


@cache
def html_templates() -> ImmutableSandboxedEnvironment:
    """Templates whose every expression is cleaned and escaped as HTML."""
    return _environment(clean)


@cache
def markdown_templates() -> ImmutableSandboxedEnvironment:
    """Templates whose every expression is cleaned and escaped as CommonMark."""
    return _environment(markdown_text)


@cache
def text_templates() -> ImmutableSandboxedEnvironment:
    """Templates whose every expression is cleaned; plain text has nothing to escape."""
    return _environment(lambda text: Markup(clean(text)))


def _environment(safe: Callable[[str], str]) -> ImmutableSandboxedEnvironment:
    """Every text that no template has marked as its own goes through ``safe``, then through HTML escaping unless
    ``safe`` has marked it as done."""
    environment = ImmutableSandboxedEnvironment(
        loader=FileSystemLoader(data_path("templates")),
        undefined=StrictUndefined,
        autoescape=True,
        finalize=lambda value: safe(value) if isinstance(value, str) and not isinstance(value, Markup) else value,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters.update(day=day, moment=moment, stop=stop)
    return environment
