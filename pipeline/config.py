"""Where things lie on this computer, and the few settings a person may change.

``HANDSPOKEN_HOME`` overrides the user's data folder. ``settings.toml`` in it may hold ``model = "FOLDER"``,
``jurisdiction = "allowed"`` (or restricted, prohibited, unknown), which ``HANDSPOKEN_JURISDICTION`` overrides,
``practice = "Name, place, telephone"``, ``lock_minutes = 10``, ``encryption = false`` (for a record that is still to be
made), which ``HANDSPOKEN_ENCRYPTION`` overrides, ``open_minutes = 60``, ``part_table = true`` (the table of P.A.R.T. in
the note), and for retention ``keep_sound_days = 30``, ``keep_records_until_age = 25``, ``keep_records_years = 8``.
"""

import os
import tomllib
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import platformdirs
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from pipeline.errors import InputError
from pipeline.vault import KEYS, who_opened
from pipeline.vault.swap import finish_swap

HOME_VARIABLE = "HANDSPOKEN_HOME"
ENCRYPTION_VARIABLE = "HANDSPOKEN_ENCRYPTION"
CACHE_VARIABLE = "HANDSPOKEN_CACHE"
JURISDICTION_VARIABLE = "HANDSPOKEN_JURISDICTION"
_APP = "handspoken"


Jurisdiction = Literal["unknown", "allowed", "restricted", "prohibited"]


class Settings(BaseModel):
    """``settings.toml``: unknown names are faults. ``model``: name or folder of another speech model.

    ``device``: what it runs on; auto takes an NVIDIA GPU where there is one.
    ``jurisdiction``: what the law where the practice is says of manipulating an infant's spine. ``practice``: name,
    place and telephone as they stand on papers. ``lock_minutes``: the pages lock after so long without a key, a touch
    or a click. ``board``: whether red flags stand on the board as a sign (discreet) or in words. ``speak``: "what's
    left?" is answered aloud too, by espeak-ng.
    ``encryption``: a new record is encrypted. ``open_minutes``: an opened one locks after so long without a command.
    ``keep_sound_days``: days after signing until destroying the sound is proposed (none: it is kept).
    ``keep_records_until_age``, ``keep_records_years``: until which birthday, or how many years after the last entry
    where that is later, records are kept (none: as vocab/retention.yaml says).
    ``part_table``: the note sorts its findings under the letters of P.A.R.T. too.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    model: str | None = None
    device: Literal["auto", "cpu", "cuda"] = "auto"
    jurisdiction: Jurisdiction = "unknown"
    practice: str = ""
    lock_minutes: int = Field(default=10, ge=1, le=240)
    encryption: bool = True
    open_minutes: int = Field(default=60, ge=1, le=1440)
    board: Literal["discreet", "words"] = "discreet"
    speak: bool = False
    part_table: bool = False
    keep_sound_days: int | None = Field(default=None, ge=0, le=36_500)
    keep_records_until_age: int | None = Field(default=None, ge=0, le=120)
    keep_records_years: int | None = Field(default=None, ge=0, le=120)


@dataclass(frozen=True)
class Config:
    """Folders and settings of one run. ``home`` holds the record."""

    home: Path
    settings: Settings

    @property
    def notes(self) -> Path:
        """The notes as files, a folder a visit: what a search plays."""
        return self.home / "notes"

    @property
    def encrypted(self) -> bool:
        """Whether the folder has keys."""
        return (self.home / KEYS).exists()

    def note_folder(self, visit: str) -> Path | None:
        """The files of a visit's note; None in an encrypted folder: its page shows it, and nothing lies in clear."""
        return None if self.encrypted else self.notes / visit

    @property
    def models(self) -> Path:
        """Larger speech models that were added or fetched; need not exist."""
        return self.home / "models"

    @property
    def blobs(self) -> Path:
        """Recordings, transcripts and attached files, each named by its content."""
        return self.home / "blobs"

    @property
    def own_words(self) -> tuple[Path, ...]:
        """The vocabulary layers over the shipped one, the last where own words are put; need not exist.

        The folder's own, and over it that of the practitioner at work.
        """
        folder = self.home / "vocab"
        who = who_opened(self.home)
        return (folder, folder / "people" / who) if who else (folder,)


def cache_folder() -> Path:
    """What is made once and may be deleted (joined models, chunk results, compiled words): HANDSPOKEN_CACHE, else the
    user's cache."""
    if named := os.environ.get(CACHE_VARIABLE, "").strip():
        return Path(named).expanduser().absolute()
    return Path(platformdirs.user_cache_dir(_APP, appauthor=False))


def load_config() -> Config:
    """Read the environment and ``settings.toml``; makes nothing, but finishes an exchange of files that was broken off.

    Raises InputError where the settings have faults, StoreError.
    """
    given = os.environ.get(HOME_VARIABLE, "").strip()
    home = Path(given).expanduser().absolute() if given else Path(platformdirs.user_data_dir(_APP, appauthor=False))
    finish_swap(home)
    settings = _read_settings(home / "settings.toml")
    _refuse_links(home)
    if said := os.environ.get(JURISDICTION_VARIABLE, "").strip():
        settings = _checked({**settings.model_dump(), "jurisdiction": said.lower()}, JURISDICTION_VARIABLE)
    if said := os.environ.get(ENCRYPTION_VARIABLE, "").strip():
        settings = _checked({**settings.model_dump(), "encryption": said.lower()}, ENCRYPTION_VARIABLE)
    return Config(home=home, settings=settings)


def _refuse_links(home: Path) -> None:
    """Raises InputError where a link stands among what is written and destroyed: it would be done elsewhere."""
    for name in ("record.db", "keys.json", "blobs", "notes", "recordings"):
        place = home / name
        inside: list[Path] = []
        with suppress(OSError), os.scandir(place) as entries:
            inside = [Path(entry.path) for entry in entries if entry.is_symlink()]
        if place.is_symlink() or inside:
            raise InputError(
                f"{place if place.is_symlink() else inside[0]}: is a link to another place, and the record follows "
                "none. Move what it leads to here, or remove the link."
            )


def _read_settings(path: Path) -> Settings:
    try:
        return _checked(tomllib.loads(path.read_text(encoding="utf-8")), str(path))
    except FileNotFoundError:
        return Settings()
    except NotADirectoryError as error:
        raise InputError(f"{path.parent}: is not a folder; set {HOME_VARIABLE} to one.") from error
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}).") from error
    except (ValueError, RecursionError) as error:  # no TOML, no UTF-8, a number too long, too deep
        raise InputError(f"{path}: not readable as TOML: {error}.") from error


def _checked(settings: dict[str, object], where: str) -> Settings:
    try:
        return Settings.model_validate(settings)
    except ValidationError as error:
        fault = error.errors()[0]
        raise InputError(f"{where}: {'.'.join(map(str, fault['loc']))}: {fault['msg']}.") from error
