"""One layer for all files that hold what was said: read and written through here, sealed or not."""

import io
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, BinaryIO, cast

from pipeline.errors import InputError
from pipeline.vault import growing, stream
from pipeline.vault.keys import Keys, Public
from pipeline.vault.opened import keys_by_id

BLOCK = 1 << 20


def stored(data: bytes | Iterable[bytes], path: Path, keys: Keys | None) -> bytes | Iterator[bytes]:
    """What is to be written so that ``data`` can be read at ``path``: as it is, or sealed under ``keys``."""
    if keys is not None:
        return stream.sealed_blocks(data, keys, stream.place(path))
    return data if isinstance(data, bytes) else iter(data)


def reading(path: Path, *, as_at: Path | None = None) -> io.BufferedReader:
    """The clear bytes of a file, sealed or not, from anywhere. ``as_at``: the path that it was sealed for, if another.

    Raises OSError, StoreError where a sealed file was altered or moved, LockedError where its keys are not at hand.
    """
    file = path.open("rb")
    try:
        key_id = stream.key_id(file.read(stream.HEADER))
        file.seek(0)
    except BaseException:
        file.close()
        raise
    if key_id is None:
        return file
    file.close()
    sealed = stream.SealedReader(path, keys_by_id(key_id, path), stream.place(as_at or path))
    return io.BufferedReader(sealed, buffer_size=stream.CHUNK)


def stored_locked(data: bytes, path: Path, to: Public | None) -> bytes:
    """What is to be written so that ``read_grown`` gives ``data``, while the folder may be locked; None: as it is."""
    return data if to is None else growing.one_frame(data, to, stream.place(path))


@contextmanager
def sealing(out: BinaryIO, path: Path, keys: Keys | None) -> Iterator[IO[bytes]]:
    """``out``, or what seals for ``path`` whatever is written to it; an encoder may come back to the first 64 KiB."""
    if keys is None:
        yield out
        return
    with stream.SealingWriter(out, keys, stream.place(path)) as sealing:
        yield cast(IO[bytes], sealing)


def is_sealed(path: Path) -> bool:
    """Whether a file is sealed. Raises OSError."""
    with path.open("rb") as file:
        return stream.key_id(file.read(stream.HEADER)) is not None


def clear_blocks(path: Path) -> Iterator[bytes]:
    """The clear bytes of a file in blocks. Raises InputError where it cannot be read, and as ``reading`` does."""
    try:
        with reading(path) as file:
            while block := file.read(BLOCK):
                yield block
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}).") from error


def clear_bytes(path: Path) -> bytes:
    """All clear bytes of a file. Raises as ``reading`` does."""
    with reading(path) as file:
        return file.read()


def grown_size(path: Path) -> int:
    """How many clear bytes a growing file holds by now; needs no key. Raises OSError."""
    with path.open("rb") as file:
        if growing.growing_id(file.read(growing.HEADER)) is None:
            return path.stat().st_size
    return growing.grown(path).size


def grown_keys(path: Path) -> Keys | None:
    """The keys that a growing file is under; None where it is in clear. Raises OSError, LockedError."""
    with path.open("rb") as file:
        key_id = growing.growing_id(file.read(growing.HEADER))
    return keys_by_id(key_id, path) if key_id is not None else None


def make_unreadable(path: Path) -> bool:
    """Have nothing open a growing file any more; False where it is in clear. Raises OSError."""
    with path.open("rb") as file:
        if growing.growing_id(file.read(growing.HEADER)) is None:
            return False
    growing.make_unreadable(path)
    return True


def read_grown(path: Path, at: int = 0, count: int = -1) -> bytes:
    """``count`` clear bytes of a growing file from ``at`` on, as far as there are any; -1: all of them.

    Raises OSError, StoreError where a frame was altered or left out, LockedError where its keys are not at hand.
    """
    with path.open("rb") as file:
        key_id = growing.growing_id(file.read(growing.HEADER))
        if key_id is None:
            file.seek(at)
            return file.read(count)
    return growing.grown(path).read(keys_by_id(key_id, path), at, count)
