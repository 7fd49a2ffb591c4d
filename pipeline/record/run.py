"""The loop of a recorder with a source of its own: samples kept, asks done, a lost source replaced."""

import queue
import time
from collections.abc import Callable

from pipeline.errors import InputError
from pipeline.record.folder import Ask
from pipeline.record.recorder import Recorder
from pipeline.record.sources import Source, SourceGoneError

_READ_S = 0.1
_AGAIN_S = 1.0


def record(
    recorder: Recorder,
    source: Source,
    asks: "queue.SimpleQueue[Ask]",
    *,
    again: Callable[[], Source] | None = None,
    patience_s: float = 20.0,
    clock: Callable[[], float] = time.monotonic,
) -> None:
    """Record until the recorder has ended. ``again``: opens a source in the place of one that is gone.

    Where none is found in ``patience_s`` the recording ends, and all is kept.
    """
    while recorder.state != "ended":
        try:
            recorder.take(source.read(_READ_S))
        except SourceGoneError as error:
            source.close()
            recorder.lost(str(error))
            other = _other(recorder, again, patience_s, clock) if again is not None else None
            if other is None:
                recorder.end(f"{error}, and no other was found" if again is not None else str(error))
                break
            source = other
        _tick(recorder, asks)
    source.close()


def _tick(recorder: Recorder, asks: "queue.SimpleQueue[Ask]") -> None:
    while not asks.empty():
        recorder.do(asks.get_nowait())
    recorder.tick()


def _other(
    recorder: Recorder, again: Callable[[], Source], patience_s: float, clock: Callable[[], float]
) -> Source | None:
    """Another source, looked for again and again; None where there is none."""
    until = clock() + patience_s
    while recorder.state != "ended" and clock() < until:
        try:
            return again()
        except InputError:
            time.sleep(_AGAIN_S)
    return None
