"""Files under encryption: written once, read from anywhere, in chunks, so that memory stays flat.

    magic (8) | id of the keys (16) | salt (32) | chunks of 64 KiB, each with its tag (16)

The chunks are as in the payload of age (age-encryption.org/v1): ChaCha20-Poly1305 (RFC 8439) under a key of this file
alone, the nonce eleven bytes of counter and one that marks the last chunk (the STREAM construction: Hoang,
Reyhanitabar, Rogaway, Vizar 2015), so that none can be left out, moved or cut off unnoticed. The key of a file is made
by HKDF-SHA256 (RFC 5869) from the folder's, the salt, and the file's name and folder: put in another's place, a file
does not open.
"""

import io
import os
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from pipeline.errors import StoreError
from pipeline.vault.keys import KEY_BYTES, KEYS, Keys

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

MAGIC = b"hsSEALD1"
ID_BYTES, SALT, TAG = 16, 32, 16
HEADER = len(MAGIC) + ID_BYTES + SALT
CHUNK = 1 << 16
_STORED = CHUNK + TAG


def place(path: Path) -> str:
    """What a file's key is bound to: its name and that of its folder; the data folder itself may be renamed."""
    return path.name if (path.parent / KEYS).exists() else f"{path.parent.name}/{path.name}"


def sealed_blocks(data: bytes | Iterable[bytes], keys: Keys, at: str) -> Iterator[bytes]:
    """The bytes of a file that opens at ``at`` (``place`` of its path) alone."""
    header = _header(keys)
    cipher = _cipher(keys, header, at)
    yield header
    waiting, number = bytearray(), 0
    for block in (data,) if isinstance(data, bytes) else data:
        waiting += block
        while len(waiting) > CHUNK:  # a chunk is the last one or has one behind it
            yield cipher.encrypt(_nonce(number, last=False), bytes(waiting[:CHUNK]), None)
            del waiting[:CHUNK]
            number += 1
    yield cipher.encrypt(_nonce(number, last=True), bytes(waiting), None)


def key_id(header: bytes) -> str | None:
    """Whose keys a file is under, by its first bytes; None where it is not of this form."""
    return header[len(MAGIC) : len(MAGIC) + ID_BYTES].hex() if header.startswith(MAGIC) else None


class SealedReader(io.RawIOBase):
    """The clear bytes of a sealed file, from anywhere. Raises StoreError where it was altered, cut off or moved."""

    def __init__(self, path: Path, keys: Keys, at: str) -> None:
        self._path = path
        self._file: BinaryIO = path.open("rb")
        try:
            header = self._file.read(HEADER)
            if len(header) < HEADER or key_id(header) != keys.id:
                raise altered(path)
            self._cipher = _cipher(keys, header, at)
            stored = os.fstat(self._file.fileno()).st_size - HEADER
            self._chunks = max(1, -(-stored // _STORED))
            self._size = stored - self._chunks * TAG
            self._at, self._held = 0, (-1, b"")
            self._chunk(self._chunks - 1)  # only the last chunk proves how long the file is
        except BaseException:
            self._file.close()
            raise

    @property
    def size(self) -> int:
        """How many clear bytes there are."""
        return self._size

    def close(self) -> None:
        self._file.close()
        super().close()

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        base = {os.SEEK_SET: 0, os.SEEK_CUR: self._at, os.SEEK_END: self._size}[whence]
        if base + offset < 0:
            raise OSError(22, "before the start of the file")
        self._at = base + offset
        return self._at

    def tell(self) -> int:
        return self._at

    def readinto(self, buffer: "bytearray | memoryview") -> int:  # type: ignore[override]
        if self._at >= self._size:
            return 0
        number, inside = divmod(self._at, CHUNK)
        part = self._chunk(number)[inside : inside + len(buffer)]
        buffer[: len(part)] = part
        self._at += len(part)
        return len(part)

    def _chunk(self, number: int) -> bytes:
        from cryptography.exceptions import InvalidTag

        if self._held[0] != number:
            self._file.seek(HEADER + number * _STORED)
            nonce = _nonce(number, last=number == self._chunks - 1)
            try:
                self._held = number, self._cipher.decrypt(nonce, self._file.read(_STORED), None)
            except InvalidTag as error:
                raise altered(self._path) from error
        return self._held[1]


class SealingWriter(io.RawIOBase):
    """Seals what is written to ``out``. An encoder may come back to the first chunk until it is closed: that is written
    last. ``close`` must be called, else nothing can be read."""

    def __init__(self, out: BinaryIO, keys: Keys, at: str) -> None:
        self._out = out
        self._header = _header(keys)
        self._cipher = _cipher(keys, self._header, at)
        self._first, self._waiting = bytearray(), bytearray()
        self._written = 1  # chunks, the first one counted
        self._at = self._size = 0

    def writable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        at = {os.SEEK_SET: 0, os.SEEK_CUR: self._at, os.SEEK_END: self._size}[whence] + offset
        if not (0 <= at <= min(self._size, CHUNK) or at == self._size):
            raise OSError(29, "only the first chunk may be written again")
        self._at = at
        return at

    def write(self, data: "bytes | bytearray | memoryview") -> int:  # type: ignore[override]
        block = bytes(data)
        early = block[: max(0, CHUNK - self._at)]
        self._first[self._at : self._at + len(early)] = early
        if late := block[len(early) :]:
            if self._at + len(early) != self._size and self._size > CHUNK:
                raise OSError(29, "only the first chunk may be written again")
            self._waiting += late
            while len(self._waiting) > CHUNK:
                self._put(self._written, bytes(self._waiting[:CHUNK]), last=False)
                del self._waiting[:CHUNK]
                self._written += 1
        self._at += len(block)
        self._size = max(self._size, self._at)
        return len(block)

    def close(self) -> None:
        if not self.closed:
            if self._size > CHUNK:
                self._put(self._written, bytes(self._waiting), last=True)
            self._put(0, bytes(self._first), last=self._size <= CHUNK)
            self._out.seek(0)
            self._out.write(self._header)
            self._out.flush()
        super().close()

    def _put(self, number: int, clear: bytes, *, last: bool) -> None:
        self._out.seek(HEADER + number * _STORED)
        self._out.write(self._cipher.encrypt(_nonce(number, last=last), clear, None))


def altered(path: Path) -> StoreError:
    """Of a file that does not open."""
    return StoreError(f"{path}: was altered, damaged, cut off, or put in another's place; restore a backup.")


def _header(keys: Keys) -> bytes:
    return MAGIC + bytes.fromhex(keys.id) + os.urandom(SALT)


def _cipher(keys: Keys, header: bytes, at: str) -> "ChaCha20Poly1305":
    return cipher_for(keys.files, header, at)


def cipher_for(secret: bytes, header: bytes, at: str) -> "ChaCha20Poly1305":
    """The cipher of one file: from a secret, the file's header and its place."""
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
    from cryptography.hazmat.primitives.hashes import SHA256
    from cryptography.hazmat.primitives.kdf.hkdf import HKDF

    key = HKDF(algorithm=SHA256(), length=KEY_BYTES, salt=header, info=b"handspoken file " + at.encode()).derive(secret)
    return ChaCha20Poly1305(key)


def _nonce(number: int, *, last: bool) -> bytes:
    return number.to_bytes(11, "big") + bytes([last])
