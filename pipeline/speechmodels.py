"""The speech models of this computer: which there are, a new one added from a folder or fetched by its name."""

from pathlib import Path

from pipeline.config import Config
from pipeline.errors import HandspokenError
from pipeline.hear import EMBEDDED_NAME, ModelFiles, Shelf, chosen_model, embedded_model, fetch_model, fetchable
from pipeline.model import Frozen


class SpeechModelLine(Frozen):
    """One model: its name, SHA-256 of model.bin, size in bytes, folder, whether it is used; ``fault`` says why not."""

    name: str
    sha256: str = ""
    size: int = 0
    folder: str = ""
    used: bool = False
    fault: str = ""


def list_models(config: Config) -> tuple[SpeechModelLine, ...]:
    """The built-in model, those kept, and the one the settings name where that is a folder; each is checked whole."""
    said = config.settings.model or EMBEDDED_NAME
    shelf = Shelf(config.models)
    names = [EMBEDDED_NAME, *shelf.names()]
    lines = []
    for name in names if said in names else [*names, said]:
        try:
            lines.append(_line(embedded_model() if name == EMBEDDED_NAME else chosen_model(name, config.models), said))
        except HandspokenError as error:
            lines.append(SpeechModelLine(name=name, used=name == said, fault=str(error)))
    return tuple(lines)


def add_model(folder: Path, name: str, config: Config) -> SpeechModelLine:
    """Copy a model in CTranslate2 form into the data folder. Raises InputError, ModelError."""
    return _line(Shelf(config.models).add(folder, name), "")


def fetch(name: str, config: Config) -> SpeechModelLine:
    """Fetch a model over the network; the caller has asked. Raises InputError, ModelError."""
    return _line(fetch_model(name, config.models), "")


def names_to_fetch() -> list[str]:
    """What ``fetch`` knows, in order."""
    return sorted(fetchable())


def _line(model: ModelFiles, said: str) -> SpeechModelLine:
    return SpeechModelLine(
        name=model.name,
        sha256=model.sha256,
        size=(model.folder / "model.bin").stat().st_size,
        folder=str(model.folder),
        used=said in (model.name, str(model.folder)),
    )
