"""Hearing while a visit goes on, in a process of its own: first hearings, chunks, the board, then drafts."""

from pipeline.live.board import BOARD, BoardView, read_board
from pipeline.live.fold import LiveFold
from pipeline.live.hearer import work
from pipeline.live.watch import Seen, Watch

__all__ = ["BOARD", "BoardView", "LiveFold", "Seen", "Watch", "read_board", "work"]
