"""Where shipped data lies. The only module that knows."""

from functools import cache
from importlib.resources import files
from pathlib import Path


@cache
def data_path(relative: str) -> Path:
    """Return a file or folder under vocab/ or templates/: packed in a wheel, beside pipeline/ in a checkout."""
    package = Path(str(files("pipeline")))
    packed = package / "_data"
    return (packed if packed.is_dir() else package.parent) / relative
