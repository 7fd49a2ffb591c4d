"""Speech models on the terminal."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.speechmodels import SpeechModelLine


def model_lines(models: "tuple[SpeechModelLine, ...]") -> Iterator[str]:
    """Every model; the one in use is marked ``*``, one that cannot be used ``!``."""
    for model in models:
        mark = "!" if model.fault else "*" if model.used else " "
        yield f"{mark} {model.name}: {model.fault or _what(model)}"


def kept_lines(model: "SpeechModelLine") -> Iterator[str]:
    """A model that was added or fetched, and how to use it."""
    yield f"{model.name}: {_what(model)}"
    yield f'Use it with --model {model.name}, or for good: model = "{model.name}" in settings.toml'


def _what(model: "SpeechModelLine") -> str:
    return f"{model.size / 1e6:.0f} MB, SHA-256 {model.sha256[:16]}…, in {model.folder}"
