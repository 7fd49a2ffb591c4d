"""What the board shows, worked out after every utterance, and the file that hands it to the page.

The board stands in a room with a family: structure, side and result only; dangers are a sign that tells the clinician
alone unless the settings say otherwise; what concerns safeguarding is never there.
"""

from collections.abc import Sequence
from pathlib import Path

from pydantic import Field, ValidationError

from pipeline.errors import HandspokenError
from pipeline.files import new_file
from pipeline.model import Dropped, Extraction, Frozen, Transcript, Urgency
from pipeline.records import VisitRecord
from pipeline.stages import ShippedStages
from pipeline.vault import Keys, clear_bytes, stored

BOARD = "board.json"
_DANGERS = (Urgency.EMERGENCY, Urgency.SAME_DAY, Urgency.REFER)
_NOT_FOR_THE_ROOM = frozenset({"tissue.bruise"})  # whatever its rule says of the age: safeguarding
_LINES, _ASKS, _OPEN = 7, 3, 60
_DANGEROUS, _TOLD = "dangers", "history"  # hands first: what is told can be asked at any time


class ShownLine(Frozen):
    """One line of the board. ``early``: at first hearing, the full hearing follows."""

    text: str
    early: bool = False
    veiled: bool = False


class BoardView(Frozen):
    """Everything on the board. ``lines``: newest first. ``asks``: a side is missing. ``open``: not looked at yet.

    ``lost_ms``: how long ago a stretch began that could not be heard, 0 = none. ``behind_ms``: how far hearing lags.
    ``answer``: the board was asked what is left. ``dangers``: how many; ``danger_words`` only by the setting.
    """

    lines: tuple[ShownLine, ...] = ()
    asks: tuple[str, ...] = ()
    places: dict[str, str] = Field(default_factory=dict)
    open: tuple[str, ...] = ()
    looked_at: int = 0
    dangers: int = 0
    danger_words: tuple[str, ...] = ()
    lost_ms: int = 0
    behind_ms: int = 0
    answer: bool = False
    heard_ms: int = 0


def shown(
    record: VisitRecord,
    words: Transcript,
    extraction: Extraction,
    early: frozenset[str],
    dropped: Sequence[Dropped],
    stages: ShippedStages,
    *,
    in_words: bool,
) -> BoardView:
    """The board for what was heard up to now. ``in_words``: red flags are told in words."""
    heard = words.model_copy(update={"dropped": tuple(dropped)})
    items = extraction.items
    age = stages.age(record, items)
    remarks = stages.check(record, extraction, heard, age)
    secret = {item for remark in remarks if remark.safeguarding for item in remark.items}
    secret |= {item.id for item in items if item.concept in _NOT_FOR_THE_ROOM}
    dangers = [r for r in remarks if r.urgency in _DANGERS and not r.safeguarding and not secret.intersection(r.items)]
    veiled = frozenset(item for remark in dangers for item in remark.items) if not in_words else frozenset()
    board = stages.board(items, frozenset(secret), veiled)
    entries = [e for e in stages.coverage(record, items, heard, age).entries if e.on_board]
    left = [e for e in entries if e.state.name == "NOT_MENTIONED" and (in_words or e.region != _DANGEROUS)]
    return BoardView(
        lines=tuple(
            ShownLine(text=line.text, early=line.id in early, veiled=line.veiled)
            for line in reversed(board.lines[-_LINES:])
        ),
        asks=tuple(line.text for line in reversed(board.lines) if line.unsided)[:_ASKS],
        places=board.places,
        open=tuple(entry.on_board for entry in sorted(left, key=lambda e: e.region == _TOLD))[:_OPEN],
        looked_at=sum(entry.state.name == "LOOKED_AT" for entry in entries),
        dangers=len(dangers),
        danger_words=tuple(remark.title for remark in dangers) if in_words else (),
    )


def write_board(folder: Path, view: BoardView, keys: Keys | None) -> None:
    """Hand the board to the page: whole or not at all, but not worth a wait for the disk."""
    part = folder / f".{BOARD}.part"
    data = stored(view.model_dump_json().encode(), folder / BOARD, keys)
    try:
        with new_file(part) as file:
            file.write(data if isinstance(data, bytes) else b"".join(data))
        part.replace(folder / BOARD)
    except OSError:
        return  # the disk is full: the recorder says so, and the next board comes soon


def read_board(folder: Path) -> BoardView:
    """The board of a recording; an empty one where nothing was heard yet."""
    try:
        return BoardView.model_validate_json(clear_bytes(folder / BOARD))
    except (OSError, ValidationError, HandspokenError):
        return BoardView()
