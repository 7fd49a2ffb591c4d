"""Cut a stream of sound into chunks of at most 28 s at pauses, by voice activity, with memory flat.

Silero's voice detector as carried by faster-whisper. It is run over blocks of ten seconds with a lead-in, always at
the same places of the recording, so that a file and a live stream give the same chunks; and a live stream gives them
soon after they end.
"""

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

import numpy as np
import numpy.typing as npt

RATE = 16_000
FRAME = 512  # samples per voice-activity value (32 ms)
FRAME_MS = 32
_BLOCK = 312  # frames: ten seconds
_LEAD = 188  # frames: six seconds, in which the detector settles
_ON, _OFF = 0.35, 0.20  # quiet speech is lost at the usual 0.5
_MIN_PAUSE = 7  # frames: 0.22 s, the pause between two sentences of a fast speaker
_PAD = 12  # frames kept on each side of speech
_MAX = 28_000 // FRAME_MS  # frames in a chunk
_WISH = 20_000 // FRAME_MS  # from here on the longest pause ends the chunk
_MAX_GAP = 3_000 // FRAME_MS  # a longer pause always ends it: the model invents words in long silence
_CEILING_DB = 60.0
_LOUD = 150.0**2  # mean square of a frame: -47 dB of full scale
_MASKED, _BREATH = 62, 25  # frames: two seconds; a crying infant draws breath for less than one
_NEAR = 10**-1.5  # of the power of the speech: 15 dB below it

Samples = npt.NDArray[np.int16]
Range = tuple[int, int]


@dataclass(frozen=True)
class SoundChunk:
    """A stretch to be heard in one piece. ``speech`` are its stretches of voice, in milliseconds of the recording.

    ``masked``: stretches since the chunk before that are nearly as loud as the speech and hold no voice (crying, a
    tap): what was said there could not be heard.
    """

    start_ms: int
    end_ms: int
    pcm: Samples = field(repr=False)
    speech: tuple[Range, ...]
    snr_db: float
    masked: tuple[Range, ...] = ()

    @cached_property
    def pcm_sha256(self) -> str:
        """Of the samples; names the chunk where results are kept."""
        return hashlib.sha256(self.pcm.tobytes()).hexdigest()


def part(chunk: SoundChunk, low_ms: int, high_ms: int) -> SoundChunk:
    """The stretch ``low_ms..high_ms`` (ms of the recording) of a chunk, as a chunk of its own."""
    low, high = max(low_ms, chunk.start_ms), min(high_ms, chunk.end_ms)
    pcm = chunk.pcm[(low - chunk.start_ms) * RATE // 1000 : (high - chunk.start_ms) * RATE // 1000]
    return SoundChunk(
        start_ms=low,
        end_ms=high,
        pcm=pcm,
        speech=tuple((max(a, low), min(b, high)) for a, b in chunk.speech if a < high and b > low),
        snr_db=chunk.snr_db,
    )


def halves(chunk: SoundChunk) -> tuple[SoundChunk, SoundChunk]:
    """A chunk cut in two at the longest pause in its middle half, else in the middle."""
    length = chunk.end_ms - chunk.start_ms
    low, high = chunk.start_ms + length // 4, chunk.end_ms - length // 4
    pauses = [(b[0] - a[1], (a[1] + b[0]) // 2) for a, b in pairwise(chunk.speech)]
    middle = max((p for p in pauses if low < p[1] < high), default=(0, chunk.start_ms + length // 2))[1]
    return part(chunk, chunk.start_ms, middle), part(chunk, middle, chunk.end_ms)


def speech_probabilities(pcm: Samples, lead: int = 0) -> npt.NDArray[np.float32]:
    """Probability of voice for each 32 ms frame after ``lead`` frames of lead-in."""
    from faster_whisper.vad import get_vad_model

    whole = -(-len(pcm) // FRAME) * FRAME
    sound = np.zeros(whole, dtype=np.float32)
    sound[: len(pcm)] = pcm.astype(np.float32) / 32768.0
    values = np.asarray(get_vad_model()(sound), dtype=np.float32)
    return values.reshape(-1)[lead:]


def cut(blocks: Iterable[Samples]) -> Iterator[SoundChunk]:
    """Yield the chunks of a stream of int16 blocks (16 kHz mono), each as soon as its end is certain."""
    cutter = Cutter()
    for block in blocks:
        yield from cutter.take(block)
    yield from cutter.end()


class Cutter:
    """Takes a stream as it comes; holds the samples and voice values from the end of the last chunk on."""

    def __init__(self) -> None:
        self._waiting: Samples = np.zeros(0, dtype=np.int16)
        self._pcm: Samples = np.zeros(0, dtype=np.int16)
        self._voice: npt.NDArray[np.float32] = np.zeros(0, dtype=np.float32)
        self._level: npt.NDArray[np.float32] = np.zeros(0, dtype=np.float32)
        self._base = 0  # frame number of the first sample held
        self._scanned = 0  # frame number up to which loud stretches were looked for
        self._loud: list[tuple[Range, float]] = []  # frames of the recording, mean square

    def take(self, samples: Samples) -> Iterator[SoundChunk]:
        """The chunks whose end became certain with these samples; their number does not matter."""
        self._waiting = np.concatenate([self._waiting, samples])
        while len(self._waiting) >= _BLOCK * FRAME:
            block, self._waiting = self._waiting[: _BLOCK * FRAME], self._waiting[_BLOCK * FRAME :]
            yield from self._block(block, last=False)

    def end(self) -> Iterator[SoundChunk]:
        """The chunks that are left when nothing follows."""
        yield from self._block(self._waiting, last=True)

    def _block(self, samples: Samples, *, last: bool) -> Iterator[SoundChunk]:
        if len(samples):
            lead = min(_LEAD, len(self._voice))
            joined = np.concatenate([self._pcm[len(self._pcm) - lead * FRAME :] if lead else self._pcm[:0], samples])
            self._voice = np.concatenate([self._voice, speech_probabilities(joined, lead)])
            self._level = np.concatenate([self._level, _levels(samples)])
            self._pcm = np.concatenate([self._pcm, samples])
        while (ranges := self._next(last)) is not None:
            self._scan(ranges[-1][1])
            yield self._chunk(ranges)
            self._drop(ranges[-1][1])
        if not last:
            ranges = speech_ranges(self._voice)
            keep_from = ranges[0][0] - _PAD if ranges else len(self._voice) - _PAD
            frames = min(max(0, keep_from), max(0, len(self._voice) - _LEAD))
            self._scan(frames)
            self._drop(frames)

    def _next(self, last: bool) -> list[Range] | None:
        """The stretches of voice (frames held) of the next chunk; None where more sound is needed or none is left."""
        ranges = speech_ranges(self._voice)
        if not ranges:
            return None
        first = _first_chunk(ranges, self._voice)
        follows = ranges[len(first)][0] if len(first) < len(ranges) else len(self._voice)
        whole = last or follows - first[-1][1] > _MAX_GAP or len(self._voice) - ranges[0][0] >= _MAX + _MIN_PAUSE
        return first if whole else None

    def _chunk(self, ranges: list[Range]) -> SoundChunk:
        first, end = ranges[0][0], ranges[-1][1]
        following = speech_ranges(self._voice[end:])
        room = following[0][0] if following else len(self._voice) - end
        low = max(0, first - _PAD)
        high = min(end + min(_PAD, (room + 1) // 2), len(self._voice))
        pcm = self._pcm[low * FRAME : min(high * FRAME, len(self._pcm))].copy()
        start = (self._base + low) * FRAME_MS
        return SoundChunk(
            start_ms=start,
            end_ms=start + round(len(pcm) * 1000 / RATE),
            pcm=pcm,
            speech=tuple(((self._base + a) * FRAME_MS, (self._base + b) * FRAME_MS) for a, b in ranges),
            snr_db=self._snr(ranges),
            masked=self._masked(ranges),
        )

    def _scan(self, frames: int) -> None:
        """Remember the loud stretches without voice among the first ``frames`` held."""
        low = max(0, self._scanned - self._base)
        loud = self._level[low:frames] > _LOUD
        for a, b in speech_ranges(self._voice[:frames]):
            loud[max(0, a - _PAD - low) : max(0, b + _PAD - low)] = False
        for a, b in _runs(loud):
            if b - a >= _MASKED:
                at = self._base + low
                self._loud.append(((at + a, at + b), float(np.mean(self._level[low + a : low + b]))))
        self._scanned = self._base + max(low, frames)

    def _masked(self, ranges: list[Range]) -> tuple[Range, ...]:
        speech = float(np.mean(self._level[ranges[0][0] : ranges[-1][1]]))
        found = [(a * FRAME_MS, b * FRAME_MS) for (a, b), level in self._loud if level >= speech * _NEAR]
        self._loud.clear()
        return tuple(found)

    def _snr(self, ranges: list[Range]) -> float:
        """Speech level over the level in the pauses around and inside the chunk, in decibel, at most 60."""
        low, high = max(0, ranges[0][0] - 60), ranges[-1][1] + 60
        voiced = np.zeros(len(self._level), dtype=bool)
        for a, b in speech_ranges(self._voice):
            voiced[max(0, a - 2) : b + 3] = True
        level, inside = self._level[low:high], voiced[low:high]
        speech = self._level[ranges[0][0] : ranges[-1][1]]
        pause = level[~inside]
        noise = float(np.mean(pause)) if len(pause) >= 8 else float(np.percentile(speech, 5))
        clean = max(float(np.mean(speech)) - noise, 1e-3)
        return round(min(_CEILING_DB, 10 * float(np.log10(clean / max(noise, 1e-3)))), 1)

    def _drop(self, frames: int) -> None:
        self._pcm, self._voice = self._pcm[frames * FRAME :], self._voice[frames:]
        self._level = self._level[frames:]
        self._base += frames


def _runs(flags: npt.NDArray[np.bool_]) -> list[Range]:
    """Half-open ranges of True; gaps of at most ``_BREATH`` frames do not end one."""
    ranges: list[Range] = []
    for k in np.flatnonzero(flags):
        if ranges and k - ranges[-1][1] <= _BREATH:
            ranges[-1] = (ranges[-1][0], int(k) + 1)
        else:
            ranges.append((int(k), int(k) + 1))
    return ranges


def _levels(samples: Samples) -> npt.NDArray[np.float32]:
    """Mean square of each 32 ms frame."""
    whole = np.zeros(-(-len(samples) // FRAME) * FRAME, dtype=np.float32)
    whole[: len(samples)] = samples
    return np.asarray(np.mean(whole.reshape(-1, FRAME) ** 2, axis=1), dtype=np.float32)


def speech_ranges(voice: Sequence[float] | npt.NDArray[np.float32]) -> list[Range]:
    """Stretches of voice as half-open frame ranges: begun at 0.35, ended by 0.22 s below 0.20."""
    ranges: list[Range] = []
    start, quiet = -1, 0
    for k, value in enumerate(voice):
        if start < 0:
            if value >= _ON:
                start, quiet = k, 0
        elif value >= _OFF:
            quiet = 0
        else:
            quiet += 1
            if quiet >= _MIN_PAUSE:
                ranges.append((start, k + 1 - quiet))
                start = -1
    if start >= 0:
        ranges.append((start, len(voice) - quiet))
    return ranges


def _first_chunk(ranges: list[Range], voice: npt.NDArray[np.float32]) -> list[Range]:
    """The first chunk's stretches: as many as fit into 28 s, ended at the longest pause after 20 s if there is one."""
    start = ranges[0][0]
    if ranges[0][1] - start > _MAX:
        return [(start, _quietest(voice, start + _WISH // 2, start + _MAX))]
    taken = 1
    while taken < len(ranges) and ranges[taken][1] - start <= _MAX and not _far(ranges, taken):
        taken += 1
    if taken == len(ranges) or _far(ranges, taken):
        return ranges[:taken]
    late = [k for k in range(1, taken + 1) if ranges[k - 1][1] - start >= _WISH]
    if late:
        taken = max(late, key=lambda k: (ranges[k][0] - ranges[k - 1][1], k))
    return ranges[:taken]


def _far(ranges: list[Range], k: int) -> bool:
    return ranges[k][0] - ranges[k - 1][1] > _MAX_GAP


def _quietest(voice: npt.NDArray[np.float32], low: int, high: int) -> int:
    """Where to cut speech without a pause: the frame with the least voice about it."""
    smooth = np.convolve(voice[low:high], np.ones(7) / 7, mode="same")
    return low + int(np.argmin(smooth))
