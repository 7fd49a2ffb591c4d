"""Fetching a larger speech model from the public hub of models: the one place of the program that uses the network.

Only ``handspoken model fetch`` comes here, after asking. Names and places are those of faster-whisper.
"""

import hashlib
import os
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from pipeline.errors import InputError, ModelError, StoreError
from pipeline.files import private_folder
from pipeline.hear.models import ModelFiles, file_sha256
from pipeline.hear.shelf import MODEL_FILES, Shelf

_TIMEOUT_S = 20


@dataclass(frozen=True, slots=True)
class Published:
    """One file as the hub lists it: SHA-256 of a large one, git's SHA-1 of the other ones."""

    sha256: str
    blob: str


class Hub(Protocol):
    """The public hub; a test puts its own in."""

    def files(self, place: str) -> Mapping[str, Published]:
        """What lies at a place, by file name."""

    def download(self, place: str, file: str, to: Path) -> None:
        """Bring a file into a folder."""


def fetchable() -> dict[str, str]:
    """Names of the models that can be fetched, with their place at the hub."""
    from faster_whisper import utils

    return dict(utils._MODELS)


def fetch_model(name: str, kept: Path, hub: Hub | None = None) -> ModelFiles:
    """Fetch a model by its name, check every file against the hash that the hub lists, and keep it in ``kept``.

    Raises InputError for an unknown name, ModelError where the hub cannot be reached or a file did not arrive whole;
    then nothing is kept.
    """
    places = fetchable()
    if name not in places:
        raise InputError(f"{name}: no model of that name can be fetched. There are: {', '.join(sorted(places))}.")
    shelf = Shelf(kept)
    if name in shelf.names():
        return shelf.get(name)
    try:
        private_folder(kept)
        hub = hub or _PublicHub()
        with tempfile.TemporaryDirectory(dir=kept, prefix=".fetching-") as folder:
            listed = {file: entry for file, entry in hub.files(places[name]).items() if file in MODEL_FILES}
            for file, entry in listed.items():
                hub.download(places[name], file, Path(folder))
                if not _whole(Path(folder) / file, entry):
                    raise ModelError(f"{name}: {file} did not arrive whole (its hash differs). Fetch it again.")
            return shelf.add(Path(folder), name, {file: entry.sha256 for file, entry in listed.items()})
    except (ModelError, InputError, StoreError):
        raise
    except Exception as error:  # the hub's library raises errors of three libraries
        raise ModelError(
            f"{name}: cannot be fetched ({_first_line(error)}). Connect to the network and try again, or bring the "
            "model's folder here and use: handspoken model add FOLDER"
        ) from error


def _whole(path: Path, entry: Published) -> bool:
    if entry.sha256:
        return file_sha256(path) == entry.sha256
    data = path.read_bytes()
    return hashlib.sha1(b"blob %d\0" % len(data) + data, usedforsecurity=False).hexdigest() == entry.blob


def _first_line(error: Exception) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0].rstrip(".")


class _PublicHub:
    def __init__(self) -> None:
        os.environ["HF_HUB_OFFLINE"] = "0"
        os.environ.setdefault("HF_HUB_DOWNLOAD_TIMEOUT", str(_TIMEOUT_S))
        os.environ["HF_HUB_DISABLE_TELEMETRY"] = "1"
        from huggingface_hub import HfApi, constants

        constants.HF_HUB_OFFLINE = False  # read when the library was first imported
        self._api = HfApi()
        self._revision: dict[str, str | None] = {}

    def files(self, place: str) -> Mapping[str, Published]:
        info = self._api.model_info(place, files_metadata=True, timeout=_TIMEOUT_S)
        self._revision[place] = info.sha
        return {
            s.rfilename: Published(s.lfs.sha256 if s.lfs else "", s.blob_id or "") for s in info.siblings or () if s
        }

    def download(self, place: str, file: str, to: Path) -> None:
        self._api.hf_hub_download(place, file, revision=self._revision.get(place), local_dir=to)
