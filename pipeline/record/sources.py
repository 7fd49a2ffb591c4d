"""Where samples come from: a microphone through PortAudio, a file played in real time (tests), and other rates.

PortAudio is found when a microphone is opened, not before (Debian: apt-get install libportaudio2).
"""

import queue
import time
from collections.abc import Callable, Iterator
from typing import Any, Protocol

import av
import numpy as np

from pipeline.errors import InputError
from pipeline.record.folder import RATE, Samples

_BLOCK = RATE // 10
_QUIET = np.zeros(0, dtype=np.int16)


class SourceGoneError(Exception):
    """The source gives no more samples; the message says why."""


class Source(Protocol):
    """Gives 16 kHz mono samples as they come."""

    name: str

    def read(self, timeout_s: float) -> Samples:
        """What has come since; empty where nothing did in ``timeout_s``. Raises SourceGoneError."""

    def close(self) -> None:
        """Let go of the device."""


class Microphone:
    """An input device; the system's default one where none is named (by number or a part of its name).

    Raises InputError where there is no PortAudio, no such device, or it does not open.
    """

    def __init__(self, device: str | None = None) -> None:
        sounddevice = _portaudio()
        chosen: Any = int(device) if device is not None and device.isdigit() else device
        self._came: queue.SimpleQueue[bytes] = queue.SimpleQueue()
        self._gone = False
        self.overflows = 0
        try:
            found = sounddevice.query_devices(chosen, "input")
            self.name = str(found["name"])
            self._resample: Resampler | None = None
            try:
                self._stream = self._open(sounddevice, chosen, RATE)
            except sounddevice.PortAudioError:
                rate = int(found["default_samplerate"])
                self._resample = Resampler(rate)
                self._stream = self._open(sounddevice, chosen, rate)
        except (sounddevice.PortAudioError, ValueError) as error:
            raise InputError(
                f"microphone {device or '(default)'}: cannot be opened ({' '.join(map(str, error.args[:1]))}). "
                "Plug it in, or see handspoken record --devices."
            ) from error

    def _open(self, sounddevice: Any, device: Any, rate: int) -> Any:
        stream = sounddevice.RawInputStream(
            samplerate=rate,
            channels=1,
            dtype="int16",
            device=device,
            blocksize=rate // 10,
            callback=self._take,
            finished_callback=self._finished,
        )
        stream.start()
        return stream

    def _take(self, data: Any, _frames: int, _when: Any, status: Any) -> None:
        if status.input_overflow:
            self.overflows += 1
        self._came.put(bytes(data))

    def _finished(self) -> None:
        self._gone = True

    def read(self, timeout_s: float) -> Samples:
        parts = []
        try:
            parts.append(self._came.get(timeout=timeout_s))
            while True:
                parts.append(self._came.get_nowait())
        except queue.Empty:
            pass
        if not parts and (self._gone or not self._stream.active):
            raise SourceGoneError(f"the microphone {self.name} is gone")
        samples = np.frombuffer(b"".join(parts), dtype=np.int16)
        return self._resample(samples) if self._resample is not None and len(samples) else samples

    def close(self) -> None:
        self._stream.close(ignore_errors=True)


class Played:
    """Given samples, as if they came from a microphone: ``speed`` times as fast as real time, 0 = at once."""

    name = "given samples"

    def __init__(self, samples: Samples, *, speed: float = 1.0, clock: Callable[[], float] = time.monotonic) -> None:
        self._samples, self._speed, self._clock = samples, speed, clock
        self._begun = clock()
        self._at = 0

    def read(self, timeout_s: float) -> Samples:
        if self._at >= len(self._samples):
            raise SourceGoneError("the given samples are at their end")
        due = self._at + _BLOCK
        if self._speed:
            due = int((self._clock() - self._begun) * RATE * self._speed)
            if due < self._at + _BLOCK:
                time.sleep(min(timeout_s, (self._at + _BLOCK - due) / RATE / self._speed))
                return _QUIET
        part = self._samples[self._at : due]
        self._at += len(part)
        return part

    def close(self) -> None:
        self._at = len(self._samples)


class Resampler:
    """A stream of mono int16 samples of another rate, made 16 kHz; holds what it needs between blocks."""

    def __init__(self, rate: int) -> None:
        self._rate, self._at = rate, 0
        self._resampler = av.AudioResampler(format="s16", layout="mono", rate=RATE)

    def __call__(self, samples: Samples) -> Samples:
        frame = av.AudioFrame.from_ndarray(samples.reshape(1, -1), format="s16", layout="mono")
        frame.sample_rate, frame.pts = self._rate, self._at
        self._at += len(samples)
        return _joined(self._resampler.resample(frame))

    def end(self) -> Samples:
        """What the filter still held."""
        return _joined(self._resampler.resample(None))


def _joined(frames: list[Any]) -> Samples:
    parts = [frame.to_ndarray().reshape(-1).astype(np.int16, copy=False) for frame in frames]
    return np.concatenate(parts) if parts else _QUIET


def microphones() -> Iterator[tuple[int, str, bool]]:
    """Number, name, and whether it is the default, of every input device. Raises InputError."""
    sounddevice = _portaudio()
    default = sounddevice.default.device[0]
    for number, device in enumerate(sounddevice.query_devices()):
        if device["max_input_channels"] > 0:
            yield number, str(device["name"]), number == default


def look_again() -> None:
    """Have PortAudio look for devices anew: it knows only those that were there when it was first used."""
    sounddevice = _portaudio()
    sounddevice._terminate()
    sounddevice._initialize()


def _portaudio() -> Any:
    try:
        import sounddevice
    except OSError as error:
        raise InputError(
            "PortAudio is not installed, so no microphone can be used (Debian: apt-get install libportaudio2). "
            "Recording in the browser needs none."
        ) from error
    return sounddevice
