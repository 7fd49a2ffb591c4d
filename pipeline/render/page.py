"""The note as one HTML page that needs nothing beside it, or only its sound file."""

import base64
import hashlib
import re
from dataclasses import dataclass
from urllib.parse import quote

from markupsafe import Markup

from pipeline.errors import InputError
from pipeline.model import Note, Transcript
from pipeline.render.view import view
from pipeline.resources import data_path
from pipeline.safe import html_templates

_MEDIA_TYPE = re.compile(r"(audio|video)/[A-Za-z0-9.+-]+")


@dataclass(frozen=True)
class EmbeddedAudio:
    """The bytes of the recording, to be carried inside the page. ``media_type``: ``audio/ogg``, ``audio/flac`` ..."""

    data: bytes
    media_type: str


@dataclass(frozen=True)
class AudioBeside:
    """The recording as a file in the folder of the page, named ``name``."""

    name: str


def render_html(note: Note, transcript: Transcript, audio: EmbeddedAudio | AudioBeside | None) -> str:
    """The note as a self-contained page: every line's time plays exactly its span, where there is ``audio``.

    Style and script stand in the page and are allowed by their hash alone (Content Security Policy Level 3, W3C); no
    request leaves it. Raises InputError where the media type is none of sound or film.
    """
    style = _asset("paper.css") + _asset("note.css")
    script = _asset("note.js")
    source = _source(audio)
    page = view(note, transcript, _target(audio))
    return (
        html_templates()
        .get_template("note.html.j2")
        .render(
            page=page,
            style=Markup(style),
            script=Markup(script),
            audio=Markup(source) if source else "",
            policy="; ".join(
                (
                    "default-src 'none'",
                    f"style-src '{_sha256(style)}'",
                    f"script-src '{_sha256(script)}'",
                    "media-src data:" if isinstance(audio, EmbeddedAudio) else "media-src 'self' file:",
                    "base-uri 'none'",
                    "form-action 'none'",
                )
            ),
        )
    )


def _target(audio: EmbeddedAudio | AudioBeside | None) -> str | None:
    if audio is None:
        return None
    return audio.name if isinstance(audio, AudioBeside) else ""


def _source(audio: EmbeddedAudio | AudioBeside | None) -> str:
    """The ``src`` of the page's sound; base64 and percent-encoding leave nothing to escape."""
    if audio is None:
        return ""
    if isinstance(audio, AudioBeside):
        return quote(audio.name)
    media_type = audio.media_type.partition(";")[0].strip()  # without parameters such as codecs
    if not _MEDIA_TYPE.fullmatch(media_type):
        raise InputError(f"{audio.media_type!r} is no type of sound; give one like audio/ogg.")
    return f"data:{media_type};base64,{base64.b64encode(audio.data).decode('ascii')}"


def _asset(name: str) -> str:
    """A style sheet or script of ours, as it will stand between its tags."""
    return "\n" + (data_path("templates") / name).read_text(encoding="utf-8")


def _sha256(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")
