"""The note as Markdown (CommonMark) and as plain text."""

import re
import textwrap

from pipeline.model import Note
from pipeline.render.view import view
from pipeline.safe import markdown_templates, text_templates

_WIDTH = 78
_INDENT = re.compile(r" *(?:[-?!] )?")


def render_markdown(note: Note, *, audio: str | None = None) -> str:
    """The note as CommonMark; times link to spans of the sound file ``audio`` where one is named."""
    return markdown_templates().get_template("note.md.j2").render(page=view(note, audio=audio))


def render_text(note: Note) -> str:
    """The note as plain text, wrapped at 78 columns; continuation lines keep their indent."""
    text = text_templates().get_template("note.txt.j2").render(page=view(note))
    return "\n".join(_wrapped(line) for line in text.splitlines()) + "\n"


def _wrapped(line: str) -> str:
    mark = _INDENT.match(line)
    hang = " " * len(mark[0]) if mark else ""
    return textwrap.fill(line, _WIDTH, subsequent_indent=hang, break_on_hyphens=False) if line.strip() else ""
