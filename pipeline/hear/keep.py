"""Chunk results on disk, each under the hash of all that it depends on: a killed run resumes, a finished one is reused.

Written whole or not at all; a file that cannot be read as what it should be is simply made again.
"""

import hashlib
from pathlib import Path
from shutil import rmtree
from typing import TypeVar

from pydantic import ValidationError

from pipeline.errors import HandspokenError, InputError, StoreError
from pipeline.files import private_folder, write_atomic
from pipeline.model import Chunk, ChunkKey, Dropped, Frozen, Word
from pipeline.vault import Keys, clear_bytes, stored


class ChunkResult(Frozen):
    """What was heard in one chunk. All times count from the start of the chunk; ``words[k].i == k``."""

    key: ChunkKey
    chunk: Chunk
    words: tuple[Word, ...] = ()
    dropped: tuple[Dropped, ...] = ()


class FreePass(Frozen):
    """What the pass without hotwords wrote: it does not depend on the vocabulary (``key.vocab_hash`` is "")."""

    key: ChunkKey
    tokens: tuple[int, ...]
    log_p: float
    ratio: float
    no_speech: float
    temperature: float


_Result = TypeVar("_Result", ChunkResult, FreePass)


class Kept:
    """A folder of chunk results, sealed where there are keys; without a folder nothing is kept."""

    def __init__(self, folder: Path | None, keys: Keys | None = None) -> None:
        self._folder = folder / "chunks" if folder is not None else None
        self._keys = keys

    def get(self, key: ChunkKey, kind: type[_Result]) -> _Result | None:
        """The result kept under a key, or None."""
        if self._folder is None:
            return None
        try:
            result = kind.model_validate_json(clear_bytes(self._path(self._folder, key)))
        except (OSError, ValidationError, HandspokenError):
            return None
        return result if result.key == key else None

    def put(self, result: ChunkResult | FreePass) -> None:
        """Keep a result. Raises StoreError where the disk is full or refuses."""
        if self._folder is None:
            return
        path = self._path(self._folder, result.key)
        try:
            private_folder(path.parent)
        except InputError as error:
            raise StoreError(f"What was heard so far cannot be kept: {error}") from error
        write_atomic(path, stored(result.model_dump_json().encode(), path, self._keys))

    @staticmethod
    def _path(folder: Path, key: ChunkKey) -> Path:
        name = hashlib.sha256(key.model_dump_json().encode()).hexdigest()
        return folder / name[:2] / f"{name}.json"


def forget_chunks(folder: Path) -> None:
    """Remove all chunk results under a cache folder."""
    rmtree(folder / "chunks", ignore_errors=True)
