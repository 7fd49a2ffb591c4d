"""Utterances as they end, for a quick first hearing while a person still speaks.

A piece is what was said between two short pauses. What stands on the board until the chunk is heard rests on pieces;
the transcript never does.
"""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from pipeline.hear.chunks import FRAME, FRAME_MS, RATE, Range, Samples, SoundChunk, speech_probabilities, speech_ranges

_STEP = 8  # frames looked at in one go: a quarter of a second
_LEAD = 60  # frames: two seconds in which the detector settles
_PAUSE = 13  # frames: 0.4 s without voice end a piece
_PAD = 9  # frames kept on each side
_MAX = 15_000 // FRAME_MS  # a longer one is cut at its longest pause
_LOUD = 300.0**2  # mean square of a frame: -41 dB of full scale, a loud room


class Pieces:
    """Takes a stream of 16 kHz mono samples from ``start_ms`` on, and gives each piece as soon as its pause is there.

    ``loud_ms``: how long it has been loud without a voice up to now (crying), 0 where it is not.
    """

    def __init__(self, start_ms: int = 0) -> None:
        self._base_ms = start_ms
        self._pcm: Samples = np.zeros(0, dtype=np.int16)
        self._voice = np.zeros(0, dtype=np.float32)
        self.loud_ms = 0

    @property
    def at_ms(self) -> int:
        """Up to where the stream was looked at."""
        return self._base_ms + len(self._voice) * FRAME_MS

    @property
    def open_ms(self) -> int:
        """Up to where all that was said has come as a piece."""
        ranges = speech_ranges(self._voice)
        return self._base_ms + (ranges[0][0] if ranges else len(self._voice)) * FRAME_MS

    def take(self, samples: Samples) -> Iterator[SoundChunk]:
        """The pieces that ended with these samples."""
        self._pcm = np.concatenate([self._pcm, samples])
        while (len(self._pcm) // FRAME) - len(self._voice) >= _STEP:
            done = len(self._voice)
            lead = min(_LEAD, done)
            part = self._pcm[(done - lead) * FRAME : (done + _STEP) * FRAME]
            self._voice = np.concatenate([self._voice, speech_probabilities(part, lead)])
            self._listen_for_noise(part[lead * FRAME :])
            yield from self._cut()

    def end(self) -> Iterator[SoundChunk]:
        """What is left when nothing follows."""
        ranges = speech_ranges(self._voice)
        if ranges:
            yield self._piece(ranges)

    def _cut(self) -> Iterator[SoundChunk]:
        ranges = speech_ranges(self._voice)
        if not ranges:
            self._drop(len(self._voice) - _LEAD)
        elif len(self._voice) - ranges[-1][1] >= _PAUSE:
            yield self._piece(ranges)
            self._drop(ranges[-1][1])
        elif len(self._voice) - ranges[0][0] >= _MAX:
            gaps = [(b[0] - a[1], k + 1) for k, (a, b) in enumerate(pairwise(ranges))]
            kept = ranges[: max(gaps)[1]] if gaps else ranges
            yield self._piece(kept)
            self._drop(kept[-1][1])

    def _piece(self, ranges: list[Range]) -> SoundChunk:
        low, high = max(0, ranges[0][0] - _PAD), min(len(self._voice), ranges[-1][1] + _PAD)
        pcm = self._pcm[low * FRAME : high * FRAME].copy()
        start = self._base_ms + low * FRAME_MS
        return SoundChunk(
            start_ms=start,
            end_ms=start + len(pcm) * 1000 // RATE,
            pcm=pcm,
            speech=tuple((self._base_ms + a * FRAME_MS, self._base_ms + b * FRAME_MS) for a, b in ranges),
            snr_db=0.0,  # not measured: a piece is heard once and thrown away
        )

    def _listen_for_noise(self, samples: Samples) -> None:
        loud = float(np.mean(samples.astype(np.float32) ** 2)) > _LOUD
        voiced = float(np.max(self._voice[-_STEP:])) >= 0.5
        if loud and not voiced:
            self.loud_ms += _STEP * FRAME_MS
        else:
            self.loud_ms = 0

    def _drop(self, frames: int) -> None:
        if frames > 0:
            self._pcm, self._voice = self._pcm[frames * FRAME :], self._voice[frames:]
            self._base_ms += frames * FRAME_MS
