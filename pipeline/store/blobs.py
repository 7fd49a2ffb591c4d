"""Sealed recordings and transcripts as files beside the database, each named by the SHA-256 of its bytes."""

import hashlib
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from pipeline.errors import InputError, StoreError
from pipeline.files import Staged, blocks_of


class Blobs:
    """The folder of blobs. A blob never changes, so one that is there is not written again."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def path(self, sha256: str) -> Path:
        """Where the blob of this hash lies, or would lie."""
        return self._folder / sha256[:2] / sha256

    def read(self, sha256: str) -> bytes:
        """The bytes of a blob. Raises StoreError where it is missing or no longer what its name says."""
        path = self.path(sha256)
        try:
            data = path.read_bytes()
        except OSError as error:
            raise StoreError(f"{path}: a stored file cannot be read ({error.strerror}); restore a backup.") from error
        if hashlib.sha256(data).hexdigest() != sha256:
            raise StoreError(f"{path}: a stored file was altered or damaged; restore a backup.")
        return data


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
            self._batch.write(path, data)


def _checked(path: Path, sha256: str) -> Iterator[bytes]:
    digest = hashlib.sha256()
    for block in blocks_of(path):
        digest.update(block)
        yield block
    if digest.hexdigest() != sha256:
        raise InputError(f"{path}: the file changed while it was read; try again when nothing writes to it.")
