"""What is installed, which speech model, where the data lies, and how much room is left."""

import platform
import shutil
import sys
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from pipeline import __version__
from pipeline.config import Config
from pipeline.errors import HandspokenError
from pipeline.model import Frozen
from pipeline.store import Store
from pipeline.vault import locked
from pipeline.vault.keyfile import read_file
from pipeline.vocabulary import load_vocabulary

PACKAGES = ("av", "ctranslate2", "faster-whisper", "spacy", "sqlalchemy", "pydantic")
LITTLE_ROOM = 1 << 30  # bytes; an hour of sound takes about 100 MB


class Finding(Frozen):
    """One thing looked at: how it is, and whether that stands in the way of work."""

    what: str
    state: str
    good: bool = True


def examine(config: Config) -> tuple[Finding, ...]:
    """Look at everything a visit needs; changes nothing and raises nothing."""
    return (
        Finding(
            what="program", state=f"handspoken {__version__}, Python {platform.python_version()} on {sys.platform}"
        ),
        *map(_package, PACKAGES),
        _model(config),
        _vocabulary(config),
        _law(config),
        _record(config),
        _encryption(config),
        _room(config.home),
    )


def _package(name: str) -> Finding:
    try:
        return Finding(what=name, state=version(name))
    except PackageNotFoundError:
        return Finding(what=name, state="not installed: install the program again", good=False)


def _model(config: Config) -> Finding:
    what = "speech model"
    try:
        from pipeline.hear import chosen_model

        model = chosen_model(config.settings.model, config.models)
    except HandspokenError as error:
        return Finding(what=what, state=str(error), good=False)
    return Finding(what=what, state=f"{model.name}, SHA-256 {model.sha256[:16]}…, in {model.folder}")


def _vocabulary(config: Config) -> Finding:
    what = "vocabulary"
    try:
        vocab = load_vocabulary(personal=config.own_words)
    except HandspokenError as error:
        return Finding(what=what, state=str(error), good=False)
    layers = [str(folder) for folder in config.own_words if folder.is_dir()]
    own = f", with your own words in {' and '.join(layers)}" if layers else ""
    return Finding(what=what, state=f"{len(vocab.concepts)} findings and acts, {len(vocab.sites)} structures{own}")


def _law(config: Config) -> Finding:
    setting: str = config.settings.jurisdiction
    if setting == "unknown":
        setting = f"not set; say allowed, restricted or prohibited in {config.home / 'settings.toml'}"
    return Finding(what="manipulation of infants' spines where you practise", state=setting)


def _record(config: Config) -> Finding:
    what = "your record"
    if not Store.exists(config.home):
        return Finding(what=what, state=f"none yet; it will be kept in {config.home}")
    try:
        if locked(config.home):
            return Finding(what=what, state=f"{config.home}: locked; `handspoken safe open` opens it")
        with Store(config.home) as store:
            infants, visits = store.counts()
    except HandspokenError as error:
        return Finding(what=what, state=str(error), good=False)
    return Finding(what=what, state=f"{config.home}: infants {infants}, visits {visits}")


def _encryption(config: Config) -> Finding:
    what = "encryption"
    try:
        if not config.encrypted:
            new = config.settings.encryption and not Store.exists(config.home)
            told = "off; `handspoken safe on` encrypts the record"
            return Finding(what=what, state="on for a record that is still to be made" if new else told)
        state = "locked" if locked(config.home) else "open"
        names = ", ".join(slot.name for slot in read_file(config.home).slots)
    except HandspokenError as error:
        return Finding(what=what, state=str(error), good=False)
    return Finding(what=what, state=f"on, {state} now; it opens for: {names}")


def _room(home: Path) -> Finding:
    there = next(folder for folder in (home, *home.parents) if folder.is_dir())
    free = shutil.disk_usage(there).free
    return Finding(what="free disk", state=f"{free / (1 << 30):.1f} GiB in {there}", good=free >= LITTLE_ROOM)
