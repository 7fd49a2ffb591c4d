"""What a board across the room shows of the items: structure, side and result, never running words."""

from collections.abc import Sequence

from pipeline.draft.lines import LineWriter
from pipeline.draft.places import place_lines
from pipeline.draft.wording import load_wording
from pipeline.model import Frozen, Item
from pipeline.vocabulary import Vocabulary

_SHOWN = ("finding", "treatment")
_SIDE = ("side_missing", "side?")


class BoardLine(Frozen):
    """One line; ``unsided``: its side was not said, or heard unsurely. ``veiled``: the result is not for the room."""

    id: str
    text: str
    unsided: bool = False
    veiled: bool = False
    at_ms: int


class Board(Frozen):
    """Lines in spoken order, and the state of each place of the outline by ``place:side``."""

    lines: tuple[BoardLine, ...]
    places: dict[str, str]


def board(items: Sequence[Item], vocab: Vocabulary, hidden: frozenset[str], veiled: frozenset[str]) -> Board:
    """Findings and treatments among the items. ``hidden``: ids that must not be seen; ``veiled``: without result."""
    writer = LineWriter(vocab, load_wording())
    seen = [item for item in items if item.id not in hidden and item.kind in _SHOWN]
    lines = tuple(
        BoardLine(
            id=item.id,
            text=writer.short(item, veiled=item.id in veiled),
            unsided=any(flag in _SIDE for flag in item.flags),
            veiled=item.id in veiled,
            at_ms=item.start_ms,
        )
        for item in seen
    )
    states = {
        item.id: "looked" if item.id in veiled and writer.state(item) == "found" else writer.state(item)
        for item in seen
    }
    places = {}
    for line in place_lines(seen, states, vocab, load_wording()):
        _, state, place, side = line.id.split(":")
        places[f"{place}:{side}"] = state
    return Board(lines=lines, places=places)
