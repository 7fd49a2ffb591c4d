"""The drafted note -> HTML with its sound, Markdown, plain text."""

from pipeline.render.page import AudioBeside, EmbeddedAudio, render_html
from pipeline.render.papers import paper
from pipeline.render.plain import render_markdown, render_text
from pipeline.render.printing import printed
from pipeline.render.view import NoteView, view

__all__ = [
    "AudioBeside",
    "EmbeddedAudio",
    "NoteView",
    "paper",
    "printed",
    "render_html",
    "render_markdown",
    "render_text",
    "view",
]
