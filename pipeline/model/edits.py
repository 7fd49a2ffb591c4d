"""Recordings and what a person does to a draft: edits are events, never changes of what was heard."""

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import Field

from pipeline.model.items import Kind
from pipeline.model.words import Frozen


class RecordingLogEntry(Frozen):
    """One line of ``rec.log`` beside an open recording; ``at_ms`` counts kept sound, ``until_ms`` ends a range."""

    kind: Literal["start", "pause", "gap", "mark", "consent", "drop", "undrop"]
    at_ms: int
    until_ms: int | None = None
    wall: datetime | None = None
    text: str = ""


class Recording(Frozen):
    """A sealed recording: immutable, named by the hash of its bytes. ``torn`` says what of the source was lost.

    ``typed_at``: a text written by hand instead, and when; its "times" only count its words.
    """

    id: str
    sha256: str
    media_type: str
    duration_ms: int
    source_name: str = ""
    torn: str = ""
    typed_at: datetime | None = None
    log: tuple[RecordingLogEntry, ...] = ()


class ChunkKey(Frozen):
    """What a chunk result depends on; equal keys may share the result."""

    pcm_sha256: str
    model_sha256: str
    settings_hash: str
    vocab_hash: str


class Anchor(Frozen):
    """How an edit finds its line again after a re-run: time, never word index."""

    kind: Kind
    concept: str
    site: str | None
    start_ms: int
    end_ms: int


class LineEdit(Frozen):
    """A person put a line right, struck it or added it. ``before``/``after`` hold the changed slots only."""

    type: Literal["line_edit"] = "line_edit"
    item_id: str
    anchor: Anchor
    action: Literal["change", "strike", "add"]
    before: dict[str, Any] = Field(default_factory=dict)
    after: dict[str, Any] = Field(default_factory=dict)


class WordCorrection(Frozen):
    """A person put heard words right."""

    type: Literal["word_correction"] = "word_correction"
    start_ms: int
    end_ms: int
    heard: str
    meant: str


class Answer(Frozen):
    """A person answered a remark; the answer holds as long as the remark has the same id."""

    type: Literal["answer"] = "answer"
    remark_id: str
    choice: str
    text: str = ""


Edit = Annotated[LineEdit | WordCorrection | Answer, Field(discriminator="type")]
