"""Speech models of the person's own, each kept under a name in the data folder, with the SHA-256 of every file."""

import hashlib
import re
import shutil
from collections.abc import Iterator, Mapping
from pathlib import Path

from pydantic import ValidationError

from pipeline.errors import InputError, ModelError, StoreError
from pipeline.files import blocks_of, private_folder, staged
from pipeline.hear.models import EMBEDDED_NAME, ModelFiles, embedded_model, file_sha256, model_at
from pipeline.model import Frozen

MODEL_FILES = (
    *("model.bin", "config.json", "tokenizer.json"),  # these three always
    *("vocabulary.txt", "vocabulary.json", "preprocessor_config.json"),  # as the model was converted
)
_CARD = "kept.json"
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")


class _Card(Frozen):
    """What was kept: SHA-256 by file name."""

    files: dict[str, str]


class Shelf:
    """The models kept in one folder, which need not exist yet."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def names(self) -> list[str]:
        """Names of the models kept here, in order."""
        if not self._folder.is_dir():
            return []
        return sorted(path.parent.name for path in self._folder.glob(f"*/{_CARD}") if _NAME.fullmatch(path.parent.name))

    def add(self, source: Path, name: str = "", expected: Mapping[str, str] | None = None) -> ModelFiles:
        """Copy a model in CTranslate2 form here, under ``name`` (else the folder's), every file synced and hashed.

        ``expected``: SHA-256 by file that must come out. Raises ModelError where it is no such model, a hash differs
        or the copy cannot be written; then nothing is kept.
        """
        name = name or source.resolve().name
        if not _NAME.fullmatch(name) or name == EMBEDDED_NAME:
            raise InputError(
                f"{name!r}: cannot be the name of a model. Give another one with --name (letters, digits, . _ -)."
            )
        if name in self.names():
            raise InputError(f"{name}: a model of that name is kept already. Give another one with --name.")
        model_at(source)
        shutil.rmtree(self._folder / name, ignore_errors=True)  # what a killed run left: it has no card
        found: dict[str, str] = {}
        try:
            private_folder(self._folder)
            with staged() as batch:
                for file in MODEL_FILES:
                    if (source / file).is_file():
                        batch.write(self._folder / name / file, _hashed(source / file, found))
                wrong = [file for file, digest in (expected or {}).items() if digest and found.get(file) != digest]
                if wrong:
                    raise ModelError(f"{name}: {wrong[0]} did not arrive whole (its SHA-256 differs). Fetch it again.")
                batch.write(self._folder / name / _CARD, _Card(files=found).model_dump_json().encode())
                batch.publish()
        except (InputError, StoreError) as error:
            raise ModelError(f"The speech model cannot be kept: {error}") from error
        return ModelFiles(self._folder / name, name, found["model.bin"])

    def get(self, name: str) -> ModelFiles:
        """A kept model, each file checked against its hash. Raises ModelError where one is gone or altered."""
        folder = self._folder / name
        try:
            card = _Card.model_validate_json((folder / _CARD).read_bytes())
        except (OSError, ValidationError) as error:
            raise ModelError(f"{folder}: the model is not whole. Remove the folder and add the model again.") from error
        for file, digest in card.files.items():
            if file not in MODEL_FILES or file_sha256(folder / file) != digest:
                raise ModelError(
                    f"{folder / file}: has changed since the model was added. Remove {folder} and add the model again."
                )
        return ModelFiles(folder, name, card.files["model.bin"])


def chosen_model(said: str | None, kept: Path) -> ModelFiles:
    """The model that a person names: one kept in the folder ``kept``, or any folder; None: the one that is built in.

    Raises ModelError where there is no such model or it is damaged.
    """
    if said is None or said == EMBEDDED_NAME:
        return embedded_model()
    shelf = Shelf(kept)
    if said in shelf.names():
        return shelf.get(said)
    if not Path(said).is_dir():
        known = ", ".join((EMBEDDED_NAME, *shelf.names()))
        raise ModelError(f"{said}: is neither a speech model kept here ({known}) nor a folder that holds one.")
    return model_at(Path(said))


def _hashed(path: Path, into: dict[str, str]) -> Iterator[bytes]:
    digest = hashlib.sha256()
    for block in blocks_of(path):
        digest.update(block)
        yield block
    into[path.name] = digest.hexdigest()
