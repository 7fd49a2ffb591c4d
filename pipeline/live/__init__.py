"""Hearing while a visit goes on, in a process of its own: first hearings, chunks, the board, then drafts."""

from pipeline.live.board import BOARD, BoardView, read_board
from pipeline.live.fold import LiveFold
from pipeline.live.hearer import work

__all__ = ["BOARD", "BoardView", "LiveFold", "read_board", "work"]
