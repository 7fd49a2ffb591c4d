"""Files that grow under encryption, while the folder may be locked: an open recording and its log.

    magic (8) | id of the keys (16) | public half of a pair of this file (32) | frames: length (4) | bytes and tag (16)

The key of the file comes from an exchange (X25519, RFC 7748) between a pair made for it, whose private half is
forgotten when it is closed, and the folder's public half: whoever writes needs no passphrase, whoever reads needs it.
Each frame is sealed by itself (ChaCha20-Poly1305, its number the nonce, its length bound): what a crash left of the
last one is passed over; one that is missing, moved or altered is noticed. Lengths are in clear, so that a locked
program can tell how much was recorded.
"""

import os
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.files import FILE_MODE
from pipeline.vault.keys import Keys, Public
from pipeline.vault.stream import ID_BYTES, TAG, altered, cipher_for, place

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

MAGIC = b"hsGROWS1"
PUBLIC = 32
HEADER = len(MAGIC) + ID_BYTES + PUBLIC
LONGEST = 1 << 22  # bytes of one frame
_LENGTH = 4


def growing_id(header: bytes) -> str | None:
    """Whose keys a file is under, by its first bytes; None where it is not of this form."""
    return header[len(MAGIC) : len(MAGIC) + ID_BYTES].hex() if header.startswith(MAGIC) else None


class Growing:
    """Appends to a file: each call one frame, whole or not at all. ``to`` None: in clear, as it is.

    A file in clear may be gone on with; a sealed one only by whoever began it. ``size``: clear bytes in it.
    """

    def __init__(self, path: Path, to: Public | None) -> None:
        """Raises OSError; FileExistsError where a sealed file is there already."""
        new = os.O_CREAT | (0 if to is None else os.O_EXCL)
        self._handle = os.open(path, os.O_RDWR | os.O_APPEND | new, FILE_MODE)
        self._cipher: ChaCha20Poly1305 | None = None
        self._frames = 0
        self.size = self._stored = os.fstat(self._handle).st_size
        if to is not None:
            header, self._cipher = _begun(to, place(path))
            self._append(header)

    def append(self, data: bytes) -> None:
        """Append and count ``data``, up to ``LONGEST`` bytes. Raises OSError; nothing of it is in the file then."""
        stored = data
        if self._cipher is not None:
            length = len(data).to_bytes(_LENGTH, "little")
            stored = length + self._cipher.encrypt(_nonce(self._frames), data, length)
        self._append(stored)
        self.size += len(data)
        self._frames += 1

    def sync(self) -> None:
        """Bring all of it to the disk."""
        os.fdatasync(self._handle)

    def close(self) -> None:
        os.close(self._handle)

    def _append(self, stored: bytes) -> None:
        left = memoryview(stored)
        try:
            while left:
                left = left[os.write(self._handle, left) :]
        except OSError:
            with suppress(OSError):
                os.ftruncate(self._handle, self._stored)
                os.fsync(self._handle)
            raise
        self._stored += len(stored)


class Grown:
    """Reads a sealed file that may still grow. Knows where its frames lie as far as it has looked."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._frames: list[tuple[int, int, int]] = []  # where it is stored, where its clear bytes begin, how many
        self._next, self._size = HEADER, 0

    @property
    def size(self) -> int:
        """How many clear bytes there are by now; needs no key. Raises OSError."""
        handle = os.open(self._path, os.O_RDONLY)
        try:
            end = os.fstat(handle).st_size
            if end < self._next:  # cut off since it was last looked at
                self._frames.clear()
                self._next, self._size = HEADER, 0
            while self._next + _LENGTH + TAG <= end:
                length = int.from_bytes(os.pread(handle, _LENGTH, self._next), "little")
                if length > LONGEST:
                    raise altered(self._path)
                if self._next + _LENGTH + length + TAG > end:
                    break  # still being written, or torn by a crash
                self._frames.append((self._next, self._size, length))
                self._next += _LENGTH + length + TAG
                self._size += length
        finally:
            os.close(handle)
        return self._size

    def read(self, keys: Keys, at: int, count: int) -> bytes:
        """``count`` clear bytes from ``at`` on, as far as there are any; -1: all.

        Raises OSError, StoreError where a frame was altered.
        """
        from cryptography.exceptions import InvalidTag

        end = self.size if count < 0 else min(at + count, self.size)
        found = bytearray()
        with self._path.open("rb") as file:
            cipher = _reading(file.read(HEADER), keys, place(self._path))
            number = _first(self._frames, at)
            while number < len(self._frames) and self._frames[number][1] < end:
                stored, begins, length = self._frames[number]
                file.seek(stored)
                bound = file.read(_LENGTH)
                try:
                    clear = cipher.decrypt(_nonce(number), file.read(length + TAG), bound)
                except InvalidTag as error:
                    raise altered(self._path) from error
                found += clear[max(0, at - begins) : end - begins]
                number += 1
        return bytes(found)


def one_frame(data: bytes, to: Public, at: str) -> bytes:
    """A whole file of this form with one frame: what is written while the folder may be locked."""
    header, cipher = _begun(to, at)
    length = len(data).to_bytes(_LENGTH, "little")
    return header + length + cipher.encrypt(_nonce(0), data, length)


def make_unreadable(path: Path) -> None:
    """Overwrite the public half that the key of a file comes from: nothing opens it then. Raises OSError."""
    with path.open("r+b") as file:
        file.seek(HEADER - PUBLIC)
        file.write(bytes(PUBLIC))
        file.flush()
        os.fsync(file.fileno())


@lru_cache(maxsize=8)
def _grown(path: Path, _made: tuple[int, int]) -> Grown:
    """Another file made under the same name is another entry."""
    return Grown(path)


def grown(path: Path) -> Grown:
    """The reader of a sealed file; what it knows is kept for the next call. Raises OSError."""
    found = path.stat()
    return _grown(path, (found.st_dev, found.st_ino))


def _first(frames: list[tuple[int, int, int]], at: int) -> int:
    """The frame that holds the clear byte ``at``."""
    low, high = 0, len(frames)
    while low < high:
        middle = (low + high) // 2
        if frames[middle][1] + frames[middle][2] <= at:
            low = middle + 1
        else:
            high = middle
    return low


def _begun(to: Public, at: str) -> "tuple[bytes, ChaCha20Poly1305]":
    from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey, X25519PublicKey

    own = X25519PrivateKey.generate()
    header = MAGIC + bytes.fromhex(to.id) + own.public_key().public_bytes_raw()
    shared = own.exchange(X25519PublicKey.from_public_bytes(to.public))
    return header, cipher_for(shared, header + to.public, at)


def _reading(header: bytes, keys: Keys, at: str) -> "ChaCha20Poly1305":
    from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey, X25519PublicKey

    theirs = X25519PublicKey.from_public_bytes(header[-PUBLIC:])
    shared = X25519PrivateKey.from_private_bytes(keys.private).exchange(theirs)
    return cipher_for(shared, header + keys.public, at)


def _nonce(number: int) -> bytes:
    return number.to_bytes(12, "big")
