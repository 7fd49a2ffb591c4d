"""Read the sound of a file as 16 kHz mono, block by block, with memory flat.

wav, flac, mp3, m4a/aac, ogg/opus, webm and the audio track of a video, through PyAV (FFmpeg). Only these containers
are tried: play lists and other formats that name further files or addresses are refused.
"""

import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt
from av.audio.stream import AudioStream
from av.container import InputContainer
from av.error import FFmpegError

from pipeline.audio.torn import header_fault, length_fault
from pipeline.errors import InputError
from pipeline.vault import reading

RATE = 16_000  # samples a second
BLOCK = 10 * RATE
LONGEST_H = 24  # hours: a small file may claim years of silence, or one sample a second
_CONTAINERS = "wav,w64,flac,mp3,aac,ogg,matroska,webm,mov,mp4,m4a,3gp,3g2,mj2,avi,mpeg,mpegts,aiff,caf"
_MEDIA_TYPES = {
    "wav": "audio/wav",
    "flac": "audio/flac",
    "mp3": "audio/mpeg",
    "aac": "audio/aac",
    "ogg": "audio/ogg",
    "matroska,webm": "audio/webm",
    "mov,mp4,m4a,3gp,3g2,mj2": "audio/mp4",
}
_WHAT_IS_READ = "Give a wav, flac, mp3, m4a, ogg, opus or webm file, or a video with sound."

Samples = npt.NDArray[np.int16]


class Sound:
    """An audio file that was opened and can be decoded. Made by ``open_sound``.

    ``sha256`` is of the file's bytes. ``duration_ms`` is what the header says (0 where it says nothing) until the
    blocks were read to the end, then what was decoded. ``torn`` is filled then too: what is missing, or "".
    """

    def __init__(self, path: Path, sha256: str, state: tuple[int, int], container: str, header_s: float | None) -> None:
        self.path = path
        self.sha256 = sha256
        self.media_type = _MEDIA_TYPES.get(container, "application/octet-stream")
        self.duration_ms = round((header_s or 0.0) * 1000)
        self.torn = ""
        self._state = state
        self._container = container
        self._header_s = header_s

    def blocks(self) -> Iterator[Samples]:
        """Yield the sound as int16 arrays, 16 kHz mono, about ten seconds each; may be called again.

        Damaged stretches are left out and named in ``torn``. Raises InputError where nothing can be decoded or the
        file changes while it is read.
        """
        total, held, broken = 0, 0, 0
        waiting: list[Samples] = []
        with _opened(self.path) as container:
            stream = _audio_stream(container, self.path)
            for samples in _resampled(_frames(container, stream)):
                if samples is None:
                    broken += 1
                    continue
                waiting.append(samples)
                held += len(samples)
                if total + held > LONGEST_H * 3600 * RATE:
                    raise InputError(f"{self.path}: holds more than {LONGEST_H} hours of sound. Cut it by visits.")
                if held >= BLOCK:
                    yield np.concatenate(waiting)
                    total, held, waiting = total + held, 0, []
        if held:
            yield np.concatenate(waiting)
        self._finish(total + held, broken)

    def _finish(self, total: int, broken: int) -> None:
        if _state(self.path) != self._state:
            raise InputError(f"{self.path}: the file changed while it was read. Try again once it is complete.")
        if total == 0:
            raise InputError(f"{self.path}: no sound could be decoded from it. {_WHAT_IS_READ}")
        seconds = total / RATE
        self.duration_ms = round(seconds * 1000)
        faults = [header_fault(self.path, self._container)]
        faults += [length_fault(self.path, self._container, self._header_s, seconds)] if not faults[0] else []
        if broken and not any(faults):
            faults.append("damaged: a part of it could not be decoded")
        self.torn = "; ".join(fault for fault in faults if fault)


def open_sound(path: Path) -> Sound:
    """Open an audio or video file for reading.

    Raises InputError, in one sentence, where it is missing, a folder, not permitted, empty, no audio at all, or so
    badly cut off that nothing can be read.
    """
    try:
        if path.is_dir():
            raise InputError(f"{path}: is a folder. Name one audio file in it.")
        state = _state(path)
        if state[0] == 0:
            raise InputError(f"{path}: the file is empty (0 bytes). Copy or record it again.")
        if not path.is_file():
            raise InputError(f"{path}: is not an ordinary file. {_WHAT_IS_READ}")
        with reading(path) as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        why = error.strerror or str(error)
        raise InputError(f"{path}: cannot be read ({why}). Check the name and who may read it.") from error
    with _opened(path) as container:
        stream = _audio_stream(container, path)
        return Sound(path, digest, state, container.format.name, _header_seconds(container, stream))


def _state(path: Path) -> tuple[int, int]:
    found = path.stat()
    return found.st_size, found.st_mtime_ns


@contextmanager
def _opened(path: Path) -> Iterator[InputContainer]:
    """The container behind a path. Opened as a file object, so that a name can never be taken for an address."""
    options = {"format_whitelist": _CONTAINERS}
    try:
        with reading(path) as file, av.open(file, mode="r", options=options, metadata_errors="replace") as container:
            yield container
    except FFmpegError as error:
        hint = _unfinished_mp4(path) or f"not an audio file that can be read ({error.strerror}). {_WHAT_IS_READ}"
        raise InputError(f"{path}: {hint}") from error
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror or error}).") from error


def _unfinished_mp4(path: Path) -> str:
    """MP4 keeps its index (moov) at the end by default: a cut file has none and holds nothing that can be found."""
    with reading(path) as file:
        if file.read(8)[4:] != b"ftyp":
            return ""
        file.seek(0, os.SEEK_SET)
        has_index = any(b"moov" in block for block in iter(lambda: file.read(1 << 20), b""))
    if has_index:
        return ""
    return "the recording was cut off before its index was written, so nothing of it can be read. Use another copy."


def _audio_stream(container: InputContainer, path: Path) -> AudioStream:
    if not container.streams.audio:
        raise InputError(f"{path}: holds no sound track. {_WHAT_IS_READ}")
    return container.streams.audio[0]


def _header_seconds(container: InputContainer, stream: AudioStream) -> float | None:
    """Length of the sound by the header, in seconds; None where it says nothing of the sound itself."""
    if stream.duration is not None and stream.time_base is not None:
        return float(stream.duration * stream.time_base)
    if stamp := stream.metadata.get("DURATION", ""):  # Matroska tag, "00:01:02.345000000"
        with suppress(ValueError, OverflowError):  # anything may stand in a tag
            hours, minutes, seconds = stamp.split(":")
            return int(hours) * 3600 + int(minutes) * 60 + float(seconds)
    if container.duration is not None and not container.streams.video:
        return container.duration / av.time_base
    return None


def _frames(container: InputContainer, stream: AudioStream) -> Iterator[av.AudioFrame | None]:
    """Decoded frames in order; None for each packet that could not be decoded, and for a container that breaks off."""
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets)
        except StopIteration:
            return
        except FFmpegError:
            yield None
            return
        try:
            yield from packet.decode()
        except FFmpegError:
            yield None


def _resampled(frames: Iterator[av.AudioFrame | None]) -> Iterator[Samples | None]:
    """16 kHz mono samples of the frames; None is passed on."""

    def new() -> av.AudioResampler:
        return av.AudioResampler(format="s16", layout="mono", rate=RATE)

    resampler = new()
    for frame in frames:
        if frame is None:
            yield None
            continue
        try:
            done = resampler.resample(frame)
        except ValueError:  # rate or channels change inside the stream (chained Ogg, AAC): go on with a new one
            yield from map(_samples, resampler.resample(None))
            resampler = new()
            done = resampler.resample(frame)
        yield from map(_samples, done)
    yield from map(_samples, resampler.resample(None))


def _samples(frame: av.AudioFrame) -> Samples:
    return frame.to_ndarray().reshape(-1).astype(np.int16, copy=False)
