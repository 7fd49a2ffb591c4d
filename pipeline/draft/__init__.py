"""Items, remarks and words -> the drafted note, in the order of the hands."""

from pipeline.draft.board import Board, BoardLine, board
from pipeline.draft.note import draft_note, part_titles
from pipeline.draft.wording import Wording, load_wording

__all__ = ["Board", "BoardLine", "Wording", "board", "draft_note", "load_wording", "part_titles"]
