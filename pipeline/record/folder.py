"""An open recording on disk: ``rec.pcm`` (s16le, 16 kHz, mono), ``rec.log`` (JSON lines), and what the two say.

In an encrypted folder both are files that grow under encryption (``vault.growing``).

Everything that is shown of a recording is read from here: what is not on disk was not recorded.
"""

import fcntl
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import ValidationError

from pipeline.errors import InputError
from pipeline.model import Frozen, RecordingLogEntry
from pipeline.vault import grown_size, read_grown

RATE = 16_000
BYTES_A_MS = 2 * RATE // 1000
PCM, LOG, LOCK, ASKED, FLAC = "rec.pcm", "rec.log", "rec.lock", "rec.asked", "rec.flac"

Samples = npt.NDArray[np.int16]
Range = tuple[int, int]


class Ask(Frozen):
    """What the recorder is asked to do by another process: one line of ``rec.asked``. ``at_ms``: None = now."""

    what: Literal["mark", "pause", "resume", "drop", "keep", "take_back", "end", "withdraw"]
    at_ms: int | None = None


@dataclass(frozen=True)
class Log:
    """What the lines of ``rec.log`` come to. ``drops``: stretches off the record; the end of an open one is None."""

    begun: bool = False
    paused: bool = False
    drops: tuple[tuple[int, int | None], ...] = ()
    marks: tuple[int, ...] = ()
    gaps: tuple[RecordingLogEntry, ...] = ()
    consent: tuple[RecordingLogEntry, ...] = ()

    @property
    def off_record(self) -> bool:
        return any(until is None for _, until in self.drops)

    def dropped(self, end_ms: int) -> list[Range]:
        """Stretches off the record, an open one up to ``end_ms``."""
        return [(a, end_ms if b is None else b) for a, b in self.drops]


def summed_up(entries: Iterable[RecordingLogEntry]) -> Log:
    """The state that the lines lead to, in their order."""
    drops: dict[int, int | None] = {}
    begun = paused = False
    marks, gaps, consent = [], [], []
    for entry in entries:
        match entry.kind:
            case "start":
                begun, paused = True, False
            case "pause":
                paused = True
            case "mark":
                marks.append(entry.at_ms)
            case "gap":
                gaps.append(entry)
            case "consent":
                consent.append(entry)
            case "drop":
                drops[entry.at_ms] = entry.until_ms
            case "undrop":
                drops.pop(entry.at_ms, None)
    return Log(begun, paused, tuple(sorted(drops.items())), tuple(marks), tuple(gaps), tuple(consent))


def read_log(folder: Path) -> tuple[RecordingLogEntry, ...]:
    """The whole lines of the log in order; a last line that was cut off by a crash is left out.

    Raises InputError where it cannot be read, StoreError where it was altered, LockedError.
    """
    try:
        data = read_grown(folder / LOG)
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise InputError(f"{folder / LOG}: cannot be read ({error.strerror}).") from error
    return tuple(_entries(data))


def _entries(data: bytes) -> Iterator[RecordingLogEntry]:
    for line in data.split(b"\n")[:-1]:
        try:
            yield RecordingLogEntry.model_validate_json(line)
        except ValidationError:
            continue  # torn by a crash and written over: the sound is what counts


def length_ms(folder: Path) -> int:
    """How much sound is on disk, in milliseconds; told while the record is locked too."""
    try:
        return grown_size(folder / PCM) // BYTES_A_MS
    except OSError:
        return 0


def read_sound(folder: Path, low: int, high: int, drops: Iterable[Range]) -> Samples:
    """Samples ``low..high`` of an open recording, those off the record (ranges in ms) as silence.

    Raises InputError where they cannot be read, StoreError where they were altered, LockedError.
    """
    try:
        data = read_grown(folder / PCM, 2 * low, 2 * (high - low))
    except OSError as error:
        raise InputError(f"{folder / PCM}: cannot be read ({error.strerror}).") from error
    pcm = np.frombuffer(data[: len(data) // 2 * 2], dtype="<i2").astype(np.int16)
    for a, b in drops:
        pcm[max(0, a * RATE // 1000 - low) : max(0, b * RATE // 1000 - low)] = 0
    return pcm


def is_live(folder: Path, lock: str = LOCK) -> bool:
    """Whether a recorder is at work on it now: whoever writes there holds the lock."""
    try:
        handle = os.open(folder / lock, os.O_RDONLY)
    except OSError:
        return False
    try:
        fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    finally:
        os.close(handle)
    return False


def refuse_link(path: Path) -> None:
    """Raises InputError where a link stands in the place of a recording or of a file of one: none is followed."""
    if path.is_symlink():
        raise InputError(f"{path}: is a link to another place, and a recording holds none. Remove the link.")


def ask(folder: Path, what: Ask) -> None:
    """Ask the recorder of a recording to do something."""
    handle = os.open(folder / ASKED, os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_NOFOLLOW, 0o600)
    try:
        os.write(handle, what.model_dump_json().encode() + b"\n")
    finally:
        os.close(handle)
