"""Sealing: what was off the record becomes silence, the sound becomes a FLAC file; only then is it immutable.

Recovery after a crash is the same: whatever is on disk is sealed.
"""

import hashlib
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np

from pipeline.errors import InputError, StoreError
from pipeline.files import new_file, sync
from pipeline.model import RecordingLogEntry
from pipeline.record.folder import (
    BYTES_A_MS,
    FLAC,
    PCM,
    RATE,
    Range,
    Samples,
    is_live,
    length_ms,
    read_log,
    read_sound,
    refuse_link,
    summed_up,
)
from pipeline.vault import grown_keys, make_unreadable, reading, sealing

_BLOCK = 10 * RATE


@dataclass(frozen=True)
class Sealed:
    """A sealed recording: its file, and its log, in which an open stretch off the record has got its end."""

    path: Path
    log: tuple[RecordingLogEntry, ...]


def seal(folder: Path) -> Sealed:
    """Seal an open recording; one that is sealed already stays as it is. Killed at any moment, it may be run again.

    Raises InputError where it is still being recorded or holds no sound, LockedError where it is encrypted and its keys
    are not at hand, StoreError where there is no room or it was altered: the open recording is then still whole.
    """
    if is_live(folder):
        raise InputError(f"{folder}: is still being recorded. End the recording first.")
    sealed = folder / FLAC
    end_ms = length_ms(folder)
    entries = _closed(read_log(folder), end_ms)
    if not sealed.exists():
        if end_ms == 0:
            raise InputError(f"{folder}: no sound was recorded.")
        drops = summed_up(entries).dropped(end_ms)
        part = sealed.with_suffix(".part")
        try:
            wanted = _encode(folder, part, drops)
            if _decoded(part, sealed) != wanted:
                raise StoreError(f"{part}: the sealed sound is not what was recorded; the open recording is kept.")
            sync(part)
            part.replace(sealed)
            sync(folder)
        except OSError as error:
            part.unlink(missing_ok=True)
            raise StoreError(
                f"{sealed}: not written ({error.strerror}); the open recording is kept whole. Free some space, then "
                "run: handspoken recover"
            ) from error
        _silence(folder / PCM, drops)
    (folder / PCM).unlink(missing_ok=True)
    return Sealed(sealed, entries)


def destroy(folder: Path) -> None:
    """Overwrite and remove all that was recorded (consent withdrawn). The folder goes too. Raises InputError."""
    if is_live(folder):
        raise InputError(f"{folder}: is still being recorded. End the recording first.")
    refuse_link(folder)
    for path in sorted(folder.iterdir(), key=lambda p: p.name != PCM):  # the sound goes first
        if path.name == PCM:
            _silence(path, [(0, length_ms(folder) + 1)])
        path.unlink()
    folder.rmdir()


def _closed(entries: tuple[RecordingLogEntry, ...], end_ms: int) -> tuple[RecordingLogEntry, ...]:
    """The log with an end for a stretch that was still off the record when the recording ended."""
    ended = {e.at_ms for e in entries if e.kind == "drop" and e.until_ms is not None}
    return tuple(
        e.model_copy(update={"until_ms": end_ms})
        if e.kind == "drop" and e.until_ms is None and e.at_ms not in ended
        else e
        for e in entries
    )


def _blocks(folder: Path, drops: list[Range]) -> Iterator[Samples]:
    at = 0
    while len(block := read_sound(folder, at, at + _BLOCK, drops)):
        yield block
        at += len(block)


def _encode(folder: Path, path: Path, drops: list[Range]) -> str:
    """Write FLAC, under the keys of the open recording; returns the hash of the samples that went in."""
    digest, at = hashlib.sha256(), 0
    keys = grown_keys(folder / PCM)
    with (
        new_file(path) as file,
        sealing(file, folder / FLAC, keys) as out,
        av.open(out, mode="w", format="flac") as container,
    ):
        stream = container.add_stream("flac", rate=RATE, layout="mono")
        for block in _blocks(folder, drops):
            digest.update(block.tobytes())
            frame = av.AudioFrame.from_ndarray(block.reshape(1, -1), format="s16", layout="mono")
            frame.sample_rate, frame.pts = RATE, at
            at += len(block)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return digest.hexdigest()


def _decoded(path: Path, as_at: Path) -> str:
    """The hash of the samples that come out of a FLAC file made for ``as_at``."""
    digest = hashlib.sha256()
    with reading(path, as_at=as_at) as file, av.open(file, mode="r", format="flac") as container:
        for frame in container.decode(audio=0):
            digest.update(frame.to_ndarray().reshape(-1).astype(np.int16, copy=False).tobytes())
    return digest.hexdigest()


def _silence(path: Path, drops: list[Range]) -> None:
    """Overwrite stretches of the open recording with zeros; of an encrypted one all becomes unreadable.

    What a link leads to is none of ours and stays.
    """
    if path.is_symlink() or not path.exists() or make_unreadable(path):
        return
    size = path.stat().st_size
    with path.open("r+b") as file:
        for low, high in drops:
            at, end = low * BYTES_A_MS, min(high * BYTES_A_MS, size)
            file.seek(at)
            while at < end:
                at += file.write(bytes(min(end - at, 1 << 20)))
        file.flush()
        os.fsync(file.fileno())
