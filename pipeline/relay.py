"""A recording whose microphone is a page: numbered blocks come, are kept in order, and only then acknowledged.

The page keeps what was not acknowledged and sends it again. The recording goes on whatever becomes of the connection;
where the page stays away, it is ended and sealed.
"""

import threading
import time
from collections.abc import Callable

import numpy as np

from pipeline.capture import Ask, Awaited, Capture, Shown, discard, find, start_hearer
from pipeline.config import Config
from pipeline.errors import HandspokenError, InputError
from pipeline.record import Resampler

RATES = range(8_000, 192_001)  # samples a second that a page may send
GONE_S = 120.0
_TICK_S, _DRAFT_TICK_S = 0.2, 1.0


class Relay:
    """Stands between one page and one recorder. ``hear``: start the hearer when the recording has ended."""

    def __init__(
        self, capture: Capture, config: Config, *, hear: bool = True, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.capture, self._config, self._hear, self._clock = capture, config, hear, clock
        self._lock = threading.Lock()
        self._resample: Resampler | None = None
        self.next = 0
        self.fault = ""
        self.sealed = False
        self._heard = clock()
        self._thread = threading.Thread(target=self._run, name="relay", daemon=True)
        self._thread.start()

    def connect(self, rate: int) -> int:
        """A page begins to send, or goes on, at a sampling rate; gives the number of the block wanted next.

        Raises InputError where the rate is none.
        """
        if rate not in RATES:
            raise InputError(f"{rate}: is no sampling rate that can be used.")
        with self._lock:
            self._resample = Resampler(rate)
            self._heard = self._clock()
        return self.next

    def take(self, number: int, data: bytes) -> int:
        """Keep block ``number`` (s16le mono); gives how many blocks are on disk, none of them twice.

        A block too far ahead is not kept: the page sends those before it first.
        """
        with self._lock:
            self._heard = self._clock()
            if number == self.next and self._resample is not None:
                samples = np.frombuffer(data[: len(data) // 2 * 2], dtype="<i2").astype(np.int16)
                self.capture.recorder.take(self._resample(samples))
                self.capture.recorder.sync()
                self.next += 1
            return self.next

    def do(self, asked: Ask) -> None:
        """Do what the page asks for."""
        with self._lock:
            self._heard = self._clock()
            self.capture.recorder.do(asked)

    def lost(self, why: str) -> None:
        """The page has lost its microphone: a hole is noted."""
        with self._lock:
            self.capture.recorder.lost(why[:200])

    def shown(self) -> Shown:
        """How the recording stands."""
        with self._lock:
            return self.capture.recorder.shown()

    def destroy(self) -> None:
        """Destroy the recording after consent was withdrawn. Raises InputError where it was not."""
        if not self.capture.recorder.withdrawn or self.sealed:
            raise InputError("Only a recording whose consent was withdrawn is destroyed here.")
        discard(find(self.capture.folder))

    def keep(self) -> None:
        """Seal the recording and have it drafted. What stands in the way is told by ``fault``."""
        try:
            self.capture.finish()
            self.sealed = True
            if self._hear:
                start_hearer(self._config)
                threading.Thread(target=self._await_draft, name="draft", daemon=True).start()
        except HandspokenError as error:
            self.fault = str(error)

    def _run(self) -> None:
        recorder = self.capture.recorder
        while recorder.state != "ended":
            time.sleep(_TICK_S)
            with self._lock:
                recorder.tick()
                if self._clock() - self._heard > GONE_S and recorder.state != "ended":
                    recorder.lost("the page that records is gone")
                    recorder.end("the page that recorded has stayed away")
        if not recorder.withdrawn:
            self.keep()

    def _await_draft(self) -> None:
        awaited = Awaited(self._config, self.capture.folder)
        while (drafted := awaited.look()) is None:
            time.sleep(_DRAFT_TICK_S)
        self.fault = drafted.fault
