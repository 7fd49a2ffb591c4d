"""How the recording that is being made stands, read from what is on disk: what is not there was not recorded."""

import time
from collections.abc import Callable
from typing import Literal

from pipeline.capture import Kept, live
from pipeline.config import Config
from pipeline.errors import LockedError
from pipeline.live.board import BoardView, read_board
from pipeline.model import Frozen
from pipeline.record import LOG, RATE, length_ms, level_db, read_log, read_sound, summed_up
from pipeline.vault import grown_keys

_STALLED_S = 3.0
_TAIL_MS = 300

State = Literal["none", "waiting", "recording", "paused", "off_record", "stalled"]


class Seen(Frozen):
    """The recording and its board. ``stalled``: nothing has come to the disk for three seconds."""

    recording: str = ""
    state: State = "none"
    at_ms: int = 0
    level_db: float = -90.0
    marks: int = 0
    board: BoardView = BoardView()


class Watch:
    """Looks at whatever is being recorded; ``now`` is called a few times a second."""

    def __init__(self, config: Config, clock: Callable[[], float] = time.monotonic) -> None:
        self._config, self._clock = config, clock
        self._length, self._grew = -1, clock()

    def now(self) -> Seen:
        """The recording as it stands now; state ``none`` where there is none."""
        found = live(self._config)
        return Seen() if found is None else self._seen(found)

    def _hidden(self, found: Kept) -> bool:
        """Whether all but the length is locked."""
        try:
            grown_keys(found.folder / LOG)
        except LockedError:
            return True
        return False

    def _seen(self, found: Kept) -> Seen:
        length = length_ms(found.folder)
        if self._hidden(found):
            return Seen(recording=found.folder.name, state="recording" if length else "waiting", at_ms=length)
        log = summed_up(read_log(found.folder))
        if length != self._length or log.paused:
            self._length, self._grew = length, self._clock()
        state: State = "recording"
        if not log.begun:
            state = "waiting"
        elif log.paused:
            state = "paused"
        elif self._clock() - self._grew > _STALLED_S:
            state = "stalled"
        elif log.off_record:
            state = "off_record"
        end = length * RATE // 1000
        tail = read_sound(found.folder, max(0, end - _TAIL_MS * RATE // 1000), end, ()) if length else None
        return Seen(
            recording=found.folder.name,
            state=state,
            at_ms=length,
            level_db=level_db(tail) if tail is not None else -90.0,
            marks=len(log.marks),
            board=read_board(found.folder),
        )
