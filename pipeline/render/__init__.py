"""The drafted note -> HTML with its sound, Markdown, plain text."""

from pipeline.render.page import AudioBeside, EmbeddedAudio, render_html
from pipeline.render.plain import render_markdown, render_text

__all__ = ["AudioBeside", "EmbeddedAudio", "render_html", "render_markdown", "render_text"]
