"""One recording under way: samples in, what the person wants done, warnings out; whatever the samples come from.

Nothing here waits for anything but the disk, and nothing here listens to what is said.
"""

import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from pipeline.errors import InputError, StoreError
from pipeline.record.folder import ASKED, BYTES_A_MS, Ask, Samples
from pipeline.record.level import Level
from pipeline.record.writer import Writer

BYTES_A_MINUTE = 60_000 * BYTES_A_MS
_SEALED = 2.0  # the sealed copy and the record's own need about as much again
_KEPT_FREE = 64 << 20
LITTLE_MINUTES = 30
NEEDED_MINUTES = 5
_NO_SOUND_S = 2.5


@dataclass(frozen=True)
class Shown:
    """What a screen may show of the recording. ``waiting``: no sound has come yet; ``ended``: why, or ""."""

    state: str
    off_record: bool
    at_ms: int
    level_db: float
    faults: tuple[str, ...]
    minutes_left: int
    marks: int
    ended: str = ""


def minutes_of_room(folder: Path) -> int:
    """How many minutes of recording the disk under a folder holds, sealing included."""
    there = next(path for path in (folder, *folder.parents) if path.is_dir())
    return max(0, int((shutil.disk_usage(there).free - _KEPT_FREE) / (BYTES_A_MINUTE * _SEALED)))


class Recorder:
    """Takes samples as they come. ``silent_minutes``: ends by itself after so long without anything; 0 = never.

    ``state``: waiting, recording, paused, ended.
    """

    def __init__(
        self, writer: Writer, *, silent_minutes: float = 0.0, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.state = "waiting"
        self.ended = ""
        self.withdrawn = False
        self._writer, self._clock = writer, clock
        self._silent_s = 60 * silent_minutes
        self._level = Level()
        self._drop: int | None = None
        self._last_drop: tuple[int, int] | None = None
        self._marks = 0
        self._asked = 0
        self._came = clock()
        self._room, self._room_at = minutes_of_room(writer.folder), clock()

    @property
    def at_ms(self) -> int:
        return self._writer.at_ms

    def take(self, samples: Samples) -> None:
        """Keep a block of 16 kHz mono samples. A full disk ends the recording, nothing is raised."""
        if self.state == "ended" or not len(samples):
            return
        self._came = self._clock()
        self._level.take(samples)
        try:
            if self.state == "waiting":
                self._writer.log("start")
                self.state = "recording"
            if self.state == "recording":
                self._writer.write(samples)
        except StoreError as error:
            self._end(str(error))

    def sync(self) -> None:
        """Bring what was taken to the disk now; a disk that refuses ends the recording."""
        try:
            if self.state != "ended":
                self._writer.sync()
        except OSError as error:
            self._end(f"the disk refused ({error.strerror}); what was kept before is whole")

    def tick(self) -> None:
        """What is to be done from time to time, also when no sound comes: several times a second."""
        if self.state == "ended":
            return
        for asked in self._read_asked():
            self.do(asked)
        now = self._clock()
        if now - self._room_at > 5:
            self._room, self._room_at = minutes_of_room(self._writer.folder), now
        if self._silent_s and self.state == "recording" and self._level.silent_s >= self._silent_s:
            self._end(f"nothing was heard for {self._silent_s / 60:g} minutes")

    def do(self, asked: Ask) -> None:
        """Do what a key, a pedal, a page or a spoken phrase asks for. What makes no sense now is left undone."""
        if self.state == "ended":
            return
        try:
            self._do(asked)
        except StoreError as error:
            self._end(str(error))

    def _do(self, asked: Ask) -> None:
        at = self.at_ms if asked.at_ms is None else min(max(asked.at_ms, 0), self.at_ms)
        match asked.what:
            case "mark":
                self._writer.log("mark", at_ms=at)
                self._marks += 1
            case "pause" if self.state == "recording":
                self._writer.sync()
                self._writer.log("pause")
                self.state = "paused"
            case "resume" if self.state == "paused":
                self._writer.log("start")
                self.state = "recording"
            case "drop" if self._drop is None:
                self._writer.log("drop", at_ms=at)
                self._drop = at
            case "keep" if self._drop is not None:
                self._last_drop = (self._drop, max(at, self._drop))
                self._writer.log("drop", at_ms=self._drop, until_ms=self._last_drop[1])
                self._drop = None
            case "take_back" if self._drop is not None or self._last_drop is not None:
                start = self._drop if self._drop is not None else (self._last_drop or (0, 0))[0]
                self._writer.log("undrop", at_ms=start)
                self._drop, self._last_drop = None, None
            case "end":
                self._end("as asked")
            case "withdraw":
                self.withdrawn = True
                self._writer.log("consent", text="withdrawn")
                self._end("consent to record was withdrawn")
            case _:
                pass

    def lost(self, why: str) -> None:
        """The source has gone: a hole in the recording is noted."""
        if self.state in ("recording", "paused"):
            try:
                self._writer.log("gap", text=why)
            except StoreError as error:
                self._end(str(error))

    def end(self, why: str = "as asked") -> None:
        """Stop; all is kept."""
        if self.state != "ended":
            self._end(why)

    def _end(self, why: str) -> None:
        self.state, self.ended = "ended", why
        self._writer.close()

    def shown(self) -> Shown:
        """How the recording stands."""
        faults = list(self._level.faults) if self.state == "recording" else []
        if self.state in ("waiting", "recording") and self._clock() - self._came > _NO_SOUND_S:
            faults = ["no_sound"]
        if self._room < LITTLE_MINUTES:
            faults.append("little_room")
        return Shown(
            state=self.state,
            off_record=self._drop is not None,
            at_ms=self.at_ms,
            level_db=self._level.db,
            faults=tuple(faults),
            minutes_left=self._room,
            marks=self._marks,
            ended=self.ended,
        )

    def _read_asked(self) -> list[Ask]:
        try:
            with (self._writer.folder / ASKED).open("rb") as file:
                file.seek(self._asked)
                data = file.read()
        except FileNotFoundError:
            return []
        whole = data.rfind(b"\n") + 1
        self._asked += whole
        asks = []
        for line in data[:whole].splitlines():
            try:
                asks.append(Ask.model_validate_json(line))
            except ValidationError:
                continue
        return asks


def check_room(folder: Path) -> None:
    """Raises InputError where the disk holds too little for a visit."""
    if (room := minutes_of_room(folder)) < NEEDED_MINUTES:
        raise InputError(f"{folder}: the disk has room for {room} minutes of recording only. Free some space first.")
