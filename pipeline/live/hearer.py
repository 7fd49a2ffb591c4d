"""The hearer: one process, one speech model. What is said now is heard first; then chunks; then drafts of what ended.

Its queue are the folders of the recordings. Killed at any moment and started again, it goes on: chunk results are kept
under the hash of their samples, and a draft is on record whole or not at all.
"""

import os
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import date

from pipeline.capture import DONE, HEARER_LOCK, Drafted, Kept, discard_rest, kept
from pipeline.config import Config
from pipeline.errors import HandspokenError
from pipeline.files import private_folder, take_lock, write_atomic
from pipeline.live.follow import Follower
from pipeline.record import is_live, seal
from pipeline.stages import ShippedStages
from pipeline.vault import keys_of, stored
from pipeline.visits import draft
from pipeline.vocabulary import load_vocabulary

_NICE = 10  # after the recorder, the screen and whatever else the person does
_IDLE_S = 0.1


def work(config: Config, *, wait_s: float, note: Callable[[str], None]) -> None:
    """Hear and draft until nothing has come for ``wait_s`` seconds. Does nothing where another hearer is at work.

    ``note`` gets a line for each draft. Raises ModelError where there is no speech model, LockedError where the record
    is locked.
    """
    keys_of(config.home)
    private_folder(config.home)
    handle = take_lock(config.home / HEARER_LOCK)
    if handle is None:
        return
    try:
        with suppress(OSError):
            os.nice(_NICE)
        _Hearer(config, note).run(wait_s)
    finally:
        os.close(handle)


class _Hearer:
    def __init__(self, config: Config, note: Callable[[str], None]) -> None:
        self._config, self._note = config, note
        self._stages = ShippedStages(load_vocabulary(personal=config.own_words), config, between=self._between)
        self._follower: Follower | None = None
        self._passed_over: set[str] = set()
        self._busy = False
        self._looked = 0.0

    def run(self, wait_s: float) -> None:
        self._stages.hearer.load()
        idle = time.monotonic()
        while True:
            self._between()
            worked = self._work()
            if worked or self._follower is not None:
                idle = time.monotonic()  # also when a recording has just ended and is not sealed yet
            elif time.monotonic() - idle >= wait_s:
                return
            if not worked:
                time.sleep(_IDLE_S)

    def _work(self) -> bool:
        """One piece of work that may wait for what is said now; whether there was one."""
        if self._follower is not None and self._follower.hear():
            return True
        ended = next(
            (k for k in kept(self._config) if k.state == "sealed" and k.folder.name not in self._passed_over), None
        )
        if ended is None:
            return False
        self._draft(ended)
        return True

    def _between(self) -> None:
        """What does not wait: called before each step of the speech model."""
        if self._busy:
            return
        self._busy = True
        try:
            if self._follower is not None and not is_live(self._follower.folder):
                self._follower = None
            if self._follower is None and time.monotonic() - self._looked > 0.5:
                self._looked = time.monotonic()
                self._find()
            if self._follower is not None:
                self._follower.look()
        except (FileNotFoundError, HandspokenError):  # the recording was destroyed in this moment
            self._follower = None
        finally:
            self._busy = False

    def _find(self) -> None:
        for found in kept(self._config):
            if found.state == "live" and found.begun is not None:
                with suppress(HandspokenError):
                    self._follower = Follower(found, self._config, self._stages)

    def _draft(self, ended: Kept) -> None:
        try:
            sealed = seal(ended.folder)
            today = ended.begun.astimezone().date() if ended.begun else date.today()
            done = draft(sealed.path, ended.told, self._config, self._stages, today=today, log=sealed.log)
            drafted = Drafted(
                visit=done.record.visit,
                infant=done.record.infant.code_name,
                folder=str(done.folder or ""),
                lines=len(done.drafted.extraction.items),
                points=sum(len(s.lines) for s in done.drafted.note.sections if s.id == "check"),
            )
            self._note(f"drafted: {drafted.infant}, visit {drafted.visit}")
        except HandspokenError as error:
            drafted = Drafted(fault=str(error))
            self._note(f"{ended.folder}: {error}")
            self._passed_over.add(ended.folder.name)
        path = ended.folder / DONE
        write_atomic(path, stored(drafted.model_dump_json().encode(), path, keys_of(self._config.home)))
        if not drafted.fault:
            discard_rest(ended.folder)
