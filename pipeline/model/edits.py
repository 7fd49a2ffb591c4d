"""Recordings and what a person does to a draft: edits are events, never changes of what was heard."""

from collections.abc import Iterable
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import Field

from pipeline.model.items import Item, Kind
from pipeline.model.notes import Remark
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

    ``gone``: when, by whom and why its sound was destroyed.
    ``typed_at``: a text written by hand instead, and when; its "times" only count its words.
    """

    id: str
    sha256: str
    media_type: str
    duration_ms: int
    source_name: str = ""
    torn: str = ""
    gone: str = ""
    typed_at: datetime | None = None
    log: tuple[RecordingLogEntry, ...] = ()

    @property
    def spoken(self) -> bool:
        """Whether it is, or was, sound: not a text that was written or came as a transcript."""
        return self.media_type.startswith(("audio/", "video/"))


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
    """A person put a line right, struck it, put it back or added it. ``before``/``after`` hold the changed slots only.

    Beside the slots of an item, ``part`` may stand there: the part of the note that the line was moved to. A strike
    holds in ``before`` what the line said. ``step``: edits of one step are undone together. ``at``: when, with offset.
    """

    type: Literal["line_edit"] = "line_edit"
    item_id: str
    anchor: Anchor
    action: Literal["change", "strike", "restore", "add"]
    before: dict[str, Any] = Field(default_factory=dict)
    after: dict[str, Any] = Field(default_factory=dict)
    step: str = ""
    at: datetime | None = None


class WordCorrection(Frozen):
    """A person put heard words right; an empty ``meant`` takes them out."""

    type: Literal["word_correction"] = "word_correction"
    start_ms: int
    end_ms: int
    heard: str
    meant: str
    step: str = ""


class Answer(Frozen):
    """A person answered a remark or a point; the answer holds as long as that has the same id.

    ``anchor``: where the point is about a line, how to find that again.
    """

    type: Literal["answer"] = "answer"
    remark_id: str
    choice: str
    text: str = ""
    anchor: Anchor | None = None
    step: str = ""

    @property
    def told(self) -> str:
        """The answer as it is printed."""
        return ": ".join(part for part in (self.choice, self.text) if part)


class Undo(Frozen):
    """The last step that stands was taken back."""

    type: Literal["undo"] = "undo"


class Redo(Frozen):
    """The step that was taken back last was done again; a new step ends what can be done again."""

    type: Literal["redo"] = "redo"


class Destroyed(Frozen):
    """What stands in the place of an event whose words were destroyed; ``was``: its kind.

    An edit keeps its ``step``: it changes nothing any more, and undoing counts as before.
    """

    type: Literal["destroyed"] = "destroyed"
    was: str
    step: str = ""


Edit = Annotated[LineEdit | WordCorrection | Answer | Undo | Redo | Destroyed, Field(discriminator="type")]

# What a put-right slot settles: flags of the item and points about its words.
SETTLED_BY = {
    "concept": ("term?", "repaired_term", "conflict"),
    "site": ("which_structure",),
    "side": ("side_missing", "side?"),
    "level": ("level?",),
    "result": ("negation?", "conflict"),
    "value": ("number?", "unit_assumed"),
    "unit": ("unit_assumed",),
}


class Unattached(Frozen):
    """An edit whose place is no longer there: it is shown, and must be let go or done again before signing."""

    id: str
    edit: LineEdit | WordCorrection
    why: str


class Changes(Frozen):
    """What a person did to the lines, as the draft shows it. Keys are item ids; answers by remark or point."""

    struck: tuple[Item, ...] = ()
    moved: dict[str, str] = Field(default_factory=dict)
    written: dict[str, str] = Field(default_factory=dict)
    edited: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    answers: dict[str, Answer] = Field(default_factory=dict)
    unattached: tuple[Unattached, ...] = ()

    def settles(self, item_id: str, code: str) -> bool:
        """Whether a person has put right what the point ``code`` asks about."""
        return any(code in SETTLED_BY.get(slot, ()) for slot in self.edited.get(item_id, ()))

    def answer(self, asked: str) -> str:
        """The answer to a remark or a point as printed; "" where it is open."""
        found = self.answers.get(asked)
        return found.told if found else ""

    def answered(self, remarks: Iterable[Remark]) -> tuple[Remark, ...]:
        """The remarks, each with its answer."""
        return tuple(r.model_copy(update={"answer": self.answer(r.id)}) if r.id in self.answers else r for r in remarks)
