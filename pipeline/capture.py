"""Recordings of this computer: begun, ended, sealed, found again after a crash, destroyed when consent is withdrawn.

Each has a folder under ``home/recordings`` until its draft is on record; the folders are also the queue of the hearer.
"""

import os
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Literal

from pydantic import TypeAdapter, ValidationError

from pipeline.config import HOME_VARIABLE, Config, cache_folder
from pipeline.errors import HandspokenError, InputError, LockedError
from pipeline.files import FILE_MODE, private_folder, write_atomic
from pipeline.hear import forget_chunks
from pipeline.model import Frozen
from pipeline.record import (
    FLAC,
    Ask,
    Microphone,
    Recorder,
    Sealed,
    Shown,
    Source,
    Writer,
    check_room,
    destroy,
    is_live,
    length_ms,
    look_again,
    microphones,
    record,
    seal,
)
from pipeline.store import new_id
from pipeline.vault import clear_bytes, keys_of, locked, pass_on, public_of, read_grown, stored_locked
from pipeline.visits import Told, expected

VISIT, DONE = "visit.json", "done.json"
HEARER_LOCK, HEARER_LOG = "hearer.lock", "hearer.log"
_START_S = 20.0  # within this a started hearer is at work, on a slow machine too
_STARTS = 3
State = Literal["live", "open", "sealed", "done"]
__all__ = [
    "Ask",
    "Awaited",
    "Capture",
    "Drafted",
    "Kept",
    "Shown",
    "another_microphone",
    "begin",
    "discard",
    "discard_rest",
    "find",
    "hearer_at_work",
    "kept",
    "list_microphones",
    "live",
    "microphone",
    "recover",
    "start_hearer",
]


class Begun(Frozen):
    """``visit.json`` of a recording: whose visit it is, and when it was begun."""

    told: Told
    begun: datetime


class Drafted(Frozen):
    """``done.json``: the draft that a recording led to, or why there is none."""

    visit: str = ""
    infant: str = ""
    folder: str = ""
    lines: int = 0
    points: int = 0
    fault: str = ""


_BEGUN = TypeAdapter(Begun)


@dataclass(frozen=True)
class Kept:
    """A recording that has not become a draft yet, or only just has (``done``)."""

    folder: Path
    told: Told
    begun: datetime | None
    state: State

    @property
    def length_ms(self) -> int:
        """Of an open recording."""
        return length_ms(self.folder)

    def drafted(self) -> Drafted | None:
        """What became of it, once it was heard."""
        try:
            return Drafted.model_validate_json(clear_bytes(self.folder / DONE))
        except (OSError, ValidationError, HandspokenError):
            return None


class Capture:
    """A recording being made. ``recorder`` takes samples; ``ask`` may be called from any thread while ``run`` runs."""

    def __init__(self, folder: Path, recorder: Recorder) -> None:
        self.folder, self.recorder = folder, recorder
        self._asks: queue.SimpleQueue[Ask] = queue.SimpleQueue()

    def ask(self, asked: Ask) -> None:
        """Have the recorder do something; done within a tenth of a second."""
        self._asks.put(asked)

    def run(self, source: Source, again: Callable[[], Source] | None = None) -> threading.Thread:
        """Record from a source in a thread of its own, so that no screen and no key can hold it up."""
        thread = threading.Thread(
            target=record, args=(self.recorder, source, self._asks), kwargs={"again": again}, name="recorder"
        )
        thread.start()
        return thread

    def finish(self) -> Sealed:
        """Seal what was recorded: from here on the hearer drafts it. Raises InputError, LockedError, StoreError."""
        _unlock(self.folder)
        return seal(self.folder)


def begin(
    config: Config,
    told: Told,
    consent: str,
    *,
    today: date,
    silent_minutes: float = 0.0,
    now: Callable[[], datetime] = lambda: datetime.now(UTC),
) -> Capture:
    """Make a new open recording. ``consent``: who agreed to being recorded, and in what role.

    An encrypted record need not be unlocked; whether the visit can be filed is then not looked at. Raises InputError
    where another is being made, the visit could not be filed, nobody agreed, or the disk is full.
    """
    if not consent.strip() or len(consent) > 200 or not consent.isprintable():
        raise InputError("consent to record: say who agreed, and in what role (mother, father, guardian).")
    with suppress(LockedError):  # a passphrase that was forgotten must lose no visit
        if not locked(config.home):
            expected(told, config, today=today)
    home = private_folder(config.home / "recordings")
    check_room(home)
    if (other := live(config)) is not None:
        raise InputError(f"{other.folder}: a recording is running already. End it before another is begun.")
    folder = private_folder(home / new_id())
    to = public_of(config.home)
    writer = Writer(folder, now, to)
    path, begun = folder / VISIT, _BEGUN.dump_json(Begun(told=told, begun=now()))
    write_atomic(path, stored_locked(begun, path, to))
    writer.log("consent", text=f"given: {consent.strip()}")
    return Capture(folder, Recorder(writer, silent_minutes=silent_minutes))


def microphone(device: str | None) -> Source:
    """The microphone to record from. Raises InputError."""
    return Microphone(device)


def another_microphone() -> Source:
    """Whatever microphone is the system's own choice now, looked for anew. Raises InputError where there is none."""
    look_again()
    return Microphone()


def list_microphones() -> list[tuple[int, str, bool]]:
    """Number, name, and whether it is the system's choice, of every microphone. Raises InputError."""
    return list(microphones())


def find(folder: Path) -> Kept:
    """A recording by its folder."""
    return _kept(folder)


def kept(config: Config) -> Iterator[Kept]:
    """Every recording that has a folder, oldest first."""
    home = config.home / "recordings"
    for folder in sorted(home.iterdir()) if home.is_dir() else ():
        if folder.is_dir() and not folder.is_symlink():
            yield _kept(folder)


def live(config: Config) -> Kept | None:
    """The recording that is being made now."""
    return next((found for found in kept(config) if found.state == "live"), None)


def _kept(folder: Path) -> Kept:
    try:
        begun = _BEGUN.validate_json(read_grown(folder / VISIT))
    except (OSError, ValidationError, HandspokenError):
        begun = None
    state: State = "open"
    if is_live(folder):
        state = "live"
    elif (folder / DONE).exists():
        state = "done"
    elif (folder / FLAC).exists():
        state = "sealed"
    return Kept(folder, begun.told if begun else Told(), begun.begun if begun else None, state)


def recover(found: Kept) -> bool:
    """Seal what a crash left open; False where nothing had been recorded: that is removed.

    Raises LockedError, StoreError.
    """
    if length_ms(found.folder) == 0 and not (found.folder / FLAC).exists():
        destroy(found.folder)
        return False
    _unlock(found.folder)
    seal(found.folder)
    return True


def _unlock(folder: Path) -> None:
    """Have the keys of the record that a recording belongs to. Raises LockedError."""
    keys_of(folder.parent.parent)


def discard_rest(folder: Path) -> None:
    """Remove what is on record now: the sealed sound, the log and the board. What became of it stays to be told."""
    for path in folder.iterdir():
        if path.name not in (DONE, VISIT):
            path.unlink(missing_ok=True)


def discard(found: Kept) -> None:
    """Destroy a recording and whatever was heard of it (consent withdrawn). Raises InputError."""
    destroy(found.folder)
    forget_chunks(cache_folder())


def hearer_at_work(config: Config) -> bool:
    """Whether a hearer runs now."""
    return is_live(config.home, HEARER_LOCK)


def _private(path: str, flags: int) -> int:
    return os.open(path, flags | os.O_NOFOLLOW, FILE_MODE)


def start_hearer(config: Config) -> None:
    """Start the hearer unless it is at work: a process of its own that outlives this one.

    A locked record has none: what was recorded waits. What a hearer of an encrypted one says is not kept: it may name
    an infant.
    """
    if locked(config.home) or hearer_at_work(config):
        return
    keys, log = keys_of(config.home), config.home / HEARER_LOG
    with ExitStack() as stack:
        passed: tuple[int, ...] = ()
        env = {**os.environ, HOME_VARIABLE: str(config.home)}
        if keys is not None:
            pipe, told = pass_on(keys)
            stack.callback(os.close, pipe)
            passed, env = (pipe,), env | told
        subprocess.Popen(
            [sys.executable, "-m", "pipeline", "listen"],
            env=env,
            pass_fds=passed,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL if keys else stack.enter_context(open(log, "w", opener=_private)),
            start_new_session=True,
        )


class Awaited:
    """The draft of a sealed recording that is waited for. A hearer that ended before it was made is started again."""

    def __init__(self, config: Config, folder: Path, clock: Callable[[], float] = time.monotonic) -> None:
        self._config, self._folder, self._clock = config, folder, clock
        self._started, self._again = clock(), 0

    def look(self) -> Drafted | None:
        """What became of the recording; None while it is heard, or while the record is locked.

        A hearer that ends again and again is given up, which the fault says.
        """
        drafted = find(self._folder).drafted()
        if drafted is not None or self._clock() - self._started < _START_S:
            return drafted
        if locked(self._config.home) or hearer_at_work(self._config):
            return None
        if self._again == _STARTS:
            return Drafted(
                fault="The recording is kept whole, but hearing it has ended again and again before there was a draft. "
                "What stands in the way is told by: handspoken listen"
            )
        self._again, self._started = self._again + 1, self._clock()
        start_hearer(self._config)
        return None
