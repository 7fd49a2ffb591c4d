"""Undo and redo: which edits hold."""

from collections.abc import Iterable

from pipeline.model import Edit, Redo, Undo


def standing(edits: Iterable[Edit]) -> tuple[Edit, ...]:
    """The edits that hold, in order. An undo takes back the last step that stands, a redo the last undo; a new edit
    ends what can be redone. Edits that share a step are taken back together."""
    done: list[list[Edit]] = []
    undone: list[list[Edit]] = []
    for edit in edits:
        if isinstance(edit, Undo):
            if done:
                undone.append(done.pop())
        elif isinstance(edit, Redo):
            if undone:
                done.append(undone.pop())
        else:
            undone.clear()
            if edit.step and done and _step(done[-1][0]) == edit.step:
                done[-1].append(edit)
            else:
                done.append([edit])
    return tuple(edit for step in done for edit in step)


def _step(edit: Edit) -> str:
    return "" if isinstance(edit, Undo | Redo) else edit.step
