"""The one writer of an open recording: whatever the sound comes from, it gets to disk here, within the second."""

import os
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Literal

from pipeline.errors import InputError, StoreError
from pipeline.files import private_folder, sync, take_lock
from pipeline.model import RecordingLogEntry
from pipeline.record.folder import BYTES_A_MS, LOCK, LOG, PCM, Samples, refuse_link
from pipeline.vault import Growing, Public

_SYNC_BYTES = 500 * BYTES_A_MS
_TRIES = 20  # somebody may look at the lock in this moment
Kind = Literal["start", "pause", "gap", "mark", "consent", "drop", "undrop"]


class Writer:
    """Appends samples and log lines to a recording. ``wall`` tells the time of day for the log.

    to: the public half of the keys that it is recorded under, which need not be unlocked; None: in clear.

    Raises InputError where the recording is being written by another recorder or its folder cannot be used.
    """

    def __init__(self, folder: Path, wall: Callable[[], datetime], to: Public | None = None) -> None:
        self.folder = private_folder(folder)
        for path in (folder, *(folder / name for name in (PCM, LOG, LOCK))):
            refuse_link(path)
        self._wall = wall
        self._lock = _locked(folder)
        try:
            if to is None:
                _end_whole(folder)
            self._pcm = Growing(folder / PCM, to)
            self._log = Growing(folder / LOG, to)
            sync(folder)
        except OSError as error:
            os.close(self._lock)
            raise InputError(f"{folder}: cannot be written ({error.strerror}).") from error
        self._unsynced = 0

    @property
    def at_ms(self) -> int:
        """How much sound was taken, in milliseconds."""
        return self._pcm.size // BYTES_A_MS

    def write(self, samples: Samples) -> None:
        """Append samples, and bring them to the disk every half second. Raises StoreError; what was kept is whole."""
        data = samples.astype("<i2").tobytes()
        try:
            for at in range(0, len(data), _SYNC_BYTES):
                part = data[at : at + _SYNC_BYTES]
                self._pcm.append(part)
                self._unsynced += len(part)
                if self._unsynced >= _SYNC_BYTES:
                    self.sync()
        except OSError as error:
            raise _full(self.folder, error, self.at_ms) from error

    def sync(self) -> None:
        """Bring everything to the disk now."""
        if self._unsynced:
            self._pcm.sync()
            self._unsynced = 0

    def log(self, kind: Kind, *, at_ms: int | None = None, until_ms: int | None = None, text: str = "") -> None:
        """Append a line to the log, on disk when this returns. Raises StoreError."""
        entry = RecordingLogEntry(
            kind=kind, at_ms=self.at_ms if at_ms is None else at_ms, until_ms=until_ms, wall=self._wall(), text=text
        )
        try:
            self._log.append(entry.model_dump_json().encode() + b"\n")
            self._log.sync()
        except OSError as error:
            raise _full(self.folder, error, self.at_ms) from error

    def close(self) -> None:
        """Bring everything to the disk and let go of the recording."""
        with suppress(OSError):
            self.sync()
        self._pcm.close()
        self._log.close()
        os.close(self._lock)


def _locked(folder: Path) -> int:
    for _ in range(_TRIES):
        if (handle := take_lock(folder / LOCK)) is not None:
            return handle
        time.sleep(0.01)
    raise InputError(f"{folder}: is being recorded already. End that recording first.")


def _end_whole(folder: Path) -> None:
    """Cut off half a sample, or a last line, that a crash left unfinished."""
    pcm, log = folder / PCM, folder / LOG
    if pcm.exists():
        os.truncate(pcm, pcm.stat().st_size // 2 * 2)
    if log.exists():
        os.truncate(log, log.read_bytes().rfind(b"\n") + 1)


def _full(folder: Path, error: OSError, at_ms: int) -> StoreError:
    return StoreError(
        f"{folder}: the disk took no more ({error.strerror}). The recording has stopped; all of its {at_ms / 1000:.1f} "
        "seconds are kept. Free some space, then run: handspoken recover"
    )
