"""What a page may ask to be done to a draft; everything in it was typed by a person or made by a script of ours."""

from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints

from pipeline.model import Frozen

Key = Annotated[str, StringConstraints(min_length=1, max_length=300)]
Words = Annotated[str, StringConstraints(max_length=2000)]
Ms = Annotated[int, Field(ge=0, le=86_400_000)]


class SetSlots(Frozen):
    """Put slots of a line right; ``part`` among them moves it."""

    type: Literal["slots"] = "slots"
    line: Key
    slots: dict[Annotated[str, StringConstraints(max_length=20)], Any] = Field(max_length=20)


class Strike(Frozen):
    """Strike a line."""

    type: Literal["strike"] = "strike"
    line: Key


class Restore(Frozen):
    """Put a struck line back."""

    type: Literal["restore"] = "restore"
    line: Key


class Add(Frozen):
    """Add a line: from the words of a stretch, or typed for a time (``start_ms`` = ``end_ms``).

    ``closes``: the point that it answers.
    """

    type: Literal["add"] = "add"
    slots: dict[Annotated[str, StringConstraints(max_length=20)], Any] = Field(max_length=20)
    start_ms: Ms
    end_ms: Ms
    closes: Annotated[str, StringConstraints(max_length=300)] = ""


class Choose(Frozen):
    """Answer a point with one of its choices, named by what it says."""

    type: Literal["choose"] = "choose"
    point: Key
    say: Words
    text: Words = ""


class Reopen(Frozen):
    """Take the answer to a point back, so that it asks again."""

    type: Literal["reopen"] = "reopen"
    point: Key


class PutWords(Frozen):
    """Put words right; nothing meant takes them out."""

    type: Literal["words"] = "words"
    start_ms: Ms
    end_ms: Ms
    heard: Words
    meant: Words


class StepBack(Frozen):
    """Undo the last step."""

    type: Literal["undo"] = "undo"


class StepAgain(Frozen):
    """Do it again."""

    type: Literal["redo"] = "redo"


Change = Annotated[
    SetSlots | Strike | Restore | Add | Choose | Reopen | PutWords | StepBack | StepAgain, Field(discriminator="type")
]
