"""One recording followed while it is made: first hearings at once, chunks behind them, the board after each."""

import subprocess
import time
from collections import deque
from contextlib import suppress
from dataclasses import replace
from shutil import which

from pipeline.capture import Kept
from pipeline.commands import Commands
from pipeline.config import Config
from pipeline.hear import Cutter, Pieces, Preview, SoundChunk, utterances
from pipeline.live.board import BoardView, shown, write_board
from pipeline.live.fold import LiveFold
from pipeline.model import Dropped, Word
from pipeline.record import RATE, Ask, Log, ask, length_ms, read_log, read_sound, summed_up
from pipeline.stages import ShippedStages
from pipeline.vault import keys_of
from pipeline.visits import expected

_LOOK_S = 0.15  # the recording is looked at so often
_STALE_MS = 30_000  # what is older is not heard at first any more: its chunk comes
_LOST_MS, _LOST_FOR_MS = 4_000, 20_000
_LOUD_MS = 5_000  # crying for so long has covered what was said
_ANSWER_MS = 20_000
_ASKED = {"mark": "mark", "off": "drop", "on": "keep", "end": "end"}
_SAMPLES = RATE // 1000


class Follower:
    """Follows one open recording. ``look`` must be called often; ``hear`` does one chunk of the full hearing."""

    def __init__(self, kept: Kept, config: Config, stages: ShippedStages) -> None:
        self.folder = kept.folder
        begun = kept.begun.astimezone().date() if kept.begun else None
        if begun is None:
            raise ValueError("a recording without its visit is not followed")
        self._record = expected(kept.told, config, today=begun)
        self._stages, self._settings = stages, config.settings
        self._keys = keys_of(config.home)
        self._commands = Commands(stages.vocab)
        base = self._record.transcript.model_copy(update={"recording": kept.folder.name})
        self._fold = LiveFold(stages.extractor, base, self._record.age)
        now = max(0, length_ms(self.folder) - 2_000)
        self._pieces, self._seen = Pieces(start_ms=now), now * _SAMPLES
        self._waiting: deque[SoundChunk] = deque()
        self._cutter, self._cut = Cutter(), 0
        self._chunks: deque[SoundChunk] = deque()
        self._dropped: list[Dropped] = []
        self._lost: tuple[int, int] | None = None
        self._answer_until = -1
        self._hold: int | None = None
        self._log, self._log_size = Log(), -1
        self._looked = 0.0
        self._view = BoardView()
        self._show()

    # ------------------------------------------------------------ at once

    def look(self) -> None:
        """Take what has come; hear at first what ended."""
        if time.monotonic() - self._looked < _LOOK_S:
            return
        self._looked = time.monotonic()
        self._read_log()
        end = length_ms(self.folder) * _SAMPLES
        if end > self._seen:
            sound = read_sound(self.folder, self._seen, end, ())
            self._seen += len(sound)
            self._waiting.extend(self._pieces.take(sound))
        while self._waiting and end // _SAMPLES - self._waiting[0].end_ms > _STALE_MS:
            self._waiting.popleft()
        if self._waiting:
            piece = self._waiting.popleft()
            self._take(self._stages.hearer.preview(piece))
            self._looked = 0.0  # what came meanwhile is looked at without a wait
        else:
            self._tell_noise()

    def _read_log(self) -> None:
        with suppress(OSError):
            size = (self.folder / "rec.log").stat().st_size
            if size != self._log_size:
                self._log, self._log_size = summed_up(read_log(self.folder)), size

    def _take(self, heard: Preview) -> None:
        words = list(heard.words)
        open_record = not any(a < heard.end_ms and (b is None or b > heard.start_ms) for a, b in self._log.drops)
        said: list[Word] = []
        for a, b in utterances([(w.text, w.start_ms, w.end_ms) for w in words]):
            command = self._commands.of(word.text for word in words[a:b])
            self._do(command, words[a].start_ms, words[b - 1].end_ms)
            if command is None and open_record:
                said += words[a:b]
            open_record = command != "off" and (open_record or command == "on")
        if heard.why and open_record and heard.end_ms - heard.start_ms >= _LOST_MS:
            self._lost = (heard.start_ms, heard.end_ms)
        elif said:
            self._lost = None
            self._fold.preview(said)
        self._show()

    def _do(self, command: str | None, start_ms: int, end_ms: int) -> None:
        if command == "left":
            self._answer_until = self._seen // _SAMPLES + _ANSWER_MS
            self._speak()
        elif command in _ASKED:
            at = end_ms if command == "on" else start_ms
            self._hold = at if command == "off" else None if command == "on" else self._hold
            ask(self.folder, Ask.model_validate({"what": _ASKED[command], "at_ms": at}))

    def _tell_noise(self) -> None:
        loud = self._pieces.loud_ms
        if loud >= _LOUD_MS:
            now = self._pieces.at_ms
            self._lost = (now - loud, now)
        self._show()

    # ------------------------------------------------------------ behind

    def hear(self) -> bool:
        """Hear one chunk in full, if one is closed; whether there was one.

        Nothing is heard that may yet turn out to be off the record: only what was heard at first, up to an open
        stretch.
        """
        drops = self._log.dropped(1 << 60)
        holds = [a for a, b in self._log.drops if b is None]
        if self._hold is not None and self._hold not in (a for a, _ in self._log.drops):
            holds.append(self._hold)  # asked for, and not yet in the log
        until = min([self._heard_ms(), *holds]) * _SAMPLES
        if until - self._cut >= RATE:
            self._chunks.extend(self._cutter.take(read_sound(self.folder, self._cut, until, drops)))
            self._cut = until
        if not self._chunks:
            return False
        chunk = self._chunks.popleft()
        for _, result in self._stages.hearer.results([chunk]):
            words = [_moved(word, chunk.start_ms) for word in result.words]
            self._dropped += [Dropped(start_ms=a, end_ms=b, reason="noise") for a, b in chunk.masked]
            self._dropped += [
                d.model_copy(update={"start_ms": d.start_ms + chunk.start_ms, "end_ms": d.end_ms + chunk.start_ms})
                for d in result.dropped
            ]
            self._fold.confirm(words, chunk.end_ms)
        self._show()
        return True

    def _heard_ms(self) -> int:
        """Up to where everything was heard at first."""
        return self._waiting[0].start_ms if self._waiting else self._pieces.open_ms

    # ------------------------------------------------------------ the board

    def _show(self) -> None:
        words, extraction, early = self._fold.heard()
        now = self._seen // _SAMPLES
        view = shown(
            self._record,
            words,
            extraction,
            early,
            self._dropped,
            self._stages,
            in_words=self._settings.board == "words",
        )
        lost = self._lost is not None and now - self._lost[1] < _LOST_FOR_MS
        view = view.model_copy(
            update={
                "lost_ms": now - self._lost[0] if lost and self._lost is not None else 0,
                "behind_ms": max(0, now - self._heard_ms() - 3_000) if self._waiting else 0,
                "answer": now < self._answer_until,
                "heard_ms": self._heard_ms(),
            }
        )
        if view.model_copy(update={"heard_ms": 0, "lost_ms": 0}) != self._view.model_copy(
            update={"heard_ms": 0, "lost_ms": 0}
        ) or bool(view.lost_ms) != bool(self._view.lost_ms):
            write_board(self.folder, view, self._keys)
            self._view = view

    def _speak(self) -> None:
        """Say what is left, where the person has switched it on and the synthesiser is there."""
        program = which("espeak-ng")
        if not self._settings.speak or program is None:
            return
        left = self._view.open[:5]
        more = len(self._view.open) - len(left)
        text = f"Still open: {', '.join(left)}{f', and {more} more' if more else ''}." if left else "Nothing is left."
        subprocess.Popen([program, "--", text], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def _moved(word: Word, by_ms: int) -> Word:
    return replace(word, start_ms=word.start_ms + by_ms, end_ms=word.end_ms + by_ms)
