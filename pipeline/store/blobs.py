"""Sealed recordings and transcripts as files beside the database, each known by the SHA-256 of its clear bytes.

In an encrypted folder the name is a keyed hash of that: whoever holds a copy of a file could else see whether it is on
record here.
"""

import hashlib
import hmac
from collections.abc import Iterable, Iterator
from contextlib import suppress
from io import BufferedReader
from pathlib import Path

from pipeline.errors import InputError, StoreError
from pipeline.files import Staged, shred
from pipeline.vault import Keys, clear_blocks, is_sealed, reading, stored


class Blobs:
    """The folder of blobs. A blob never changes, so one that is there is not written again."""

    def __init__(self, folder: Path, keys: Keys | None) -> None:
        self.folder, self._keys = folder, keys

    def path(self, sha256: str) -> Path:
        """Where the blob of this hash lies, or would lie."""
        name = sha256
        if self._keys is not None:
            name = hmac.new(self._keys.names, sha256.encode(), hashlib.sha256).hexdigest()
        return self.folder / name[:2] / name

    def open(self, sha256: str) -> BufferedReader:
        """The clear bytes of a blob, from anywhere. Raises OSError, StoreError where it was altered or moved."""
        path = self.path(sha256)
        if self._keys is not None and not is_sealed(path):
            raise StoreError(f"{path}: a stored file was put there from outside; restore a backup.")
        return reading(path)

    def blocks(self, sha256: str) -> Iterator[bytes]:
        """The clear bytes in blocks. Raises InputError where it cannot be read, StoreError where it was altered."""
        try:
            with self.open(sha256) as file:
                while block := file.read(1 << 20):
                    yield block
        except OSError as error:
            raise InputError(f"{self.path(sha256)}: cannot be read ({error.strerror}).") from error

    def read(self, sha256: str) -> bytes:
        """The bytes of a blob. Raises StoreError where it is missing or no longer what its name says."""
        path = self.path(sha256)
        try:
            with self.open(sha256) as file:
                data = file.read()
        except OSError as error:
            raise StoreError(f"{path}: a stored file cannot be read ({error.strerror}); restore a backup.") from error
        if hashlib.sha256(data).hexdigest() != sha256:
            raise StoreError(f"{path}: a stored file was altered or damaged; restore a backup.")
        return data

    def stored(self, data: bytes | Iterator[bytes], path: Path) -> bytes | Iterator[bytes]:
        """What is written for ``data`` to be a blob at ``path``."""
        return stored(data, path, self._keys)

    def destroy_others(self, named: Iterable[str]) -> None:
        """Overwrite and remove every file among the blobs but these: what was destroyed, or a broken-off job left.

        Nobody may add blobs meanwhile. Raises StoreError.
        """
        if self.folder.is_symlink():
            raise StoreError(f"{self.folder}: is a link to another place, where nothing is destroyed; remove the link.")
        kept = {self.path(sha256) for sha256 in named}
        for path in sorted(p for p in self.folder.rglob("*") if p.is_file() or p.is_symlink()):
            if path not in kept:
                shred(path)


class StagedBlobs:
    """Blobs of one unit of change: named when it is sure, removed again where the change fails after all."""

    def __init__(self, blobs: Blobs) -> None:
        self._blobs = blobs
        self._batch = Staged()
        self._new: list[Path] = []

    def keep(self, data: bytes) -> str:
        """Stage bytes; returns their SHA-256. Raises StoreError."""
        sha256 = hashlib.sha256(data).hexdigest()
        self._stage(sha256, data)
        return sha256

    def keep_file(self, path: Path, sha256: str) -> None:
        """Stage a copy of a file whose hash is known. Raises InputError where it changed meanwhile, StoreError."""
        self._stage(sha256, _checked(path, sha256))

    def publish(self) -> None:
        """Give all staged blobs their names."""
        self._batch.publish()

    def take_back(self) -> None:
        """Remove what this change staged or named."""
        self._batch.discard()
        for path in self._new:
            with suppress(OSError):
                path.unlink(missing_ok=True)
            with suppress(OSError):
                path.parent.rmdir()  # only where it is empty

    def _stage(self, sha256: str, data: bytes | Iterator[bytes]) -> None:
        path = self._blobs.path(sha256)
        if not path.exists() and path not in self._new:
            self._new.append(path)
            self._batch.write(path, self._blobs.stored(data, path))


def _checked(path: Path, sha256: str) -> Iterator[bytes]:
    digest = hashlib.sha256()
    for block in clear_blocks(path):
        digest.update(block)
        yield block
    if digest.hexdigest() != sha256:
        raise InputError(f"{path}: the file changed while it was read; try again when nothing writes to it.")
