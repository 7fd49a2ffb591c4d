"""The keys of an encrypted data folder as a process holds them. Loads no cryptography: a search must start at once.

``keys.json`` in the folder holds the data key, wrapped once for each slot (``keyfile``). From the data key come those
that are used: for the database, for files, for the names of blobs, and the private half of the pair whose public half
lies in clear, so that a recording can begin while all else is locked.
"""

import json
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from pipeline.errors import LockedError, StoreError

KEYS = "keys.json"
KEY_BYTES = 32
_SECRETS = ("database", "files", "names", "private")


@dataclass(frozen=True)
class Public:
    """What can be used without a passphrase: whose keys they are (32 hex digits), and the public half (X25519)."""

    id: str
    public: bytes


@dataclass(frozen=True)
class Keys(Public):
    """The keys in use, 32 bytes each; never printed. ``who``: whose passphrase gave them (the name of the slot), ""
    where that was nobody's in particular; ``until``: the last day (ISO 8601) on which that one opens, "" where none is
    set."""

    database: bytes = field(repr=False)
    files: bytes = field(repr=False)
    names: bytes = field(repr=False)
    private: bytes = field(repr=False)
    who: str = field(default="", compare=False)
    until: str = field(default="", compare=False)

    def as_text(self) -> str:
        """For a file in memory or a pipe to a process of ours; ``from_text`` reads it."""
        secrets = {name: getattr(self, name).hex() for name in ("public", *_SECRETS)}
        return json.dumps({"id": self.id, "who": self.who, "until": self.until, **secrets})


def keys_from_text(text: str | bytes) -> Keys:
    """The reverse of ``as_text``. Raises ValueError."""
    told = json.loads(text)
    found = {name: bytes.fromhex(told[name]) for name in ("public", *_SECRETS)}
    names: dict[str, Any] = {name: told[name] for name in ("id", "who", "until")}
    if not all(isinstance(name, str) for name in names.values()) or {len(key) for key in found.values()} != {KEY_BYTES}:
        raise ValueError("no keys")
    return Keys(**{**found, **names})


def key_file(home: Path) -> dict[str, Any] | None:
    """What ``keys.json`` holds, not yet proved; None where the folder is not encrypted. Raises StoreError."""
    path = home / KEYS
    try:
        told = json.loads(path.read_bytes())
    except (FileNotFoundError, NotADirectoryError):
        return None
    except OSError as error:
        raise StoreError(f"{path}: cannot be read ({error.strerror}).") from error
    except (ValueError, RecursionError) as error:
        raise damaged(path) from error
    if not isinstance(told, dict) or not isinstance(told.get("id"), str):
        raise damaged(path)
    return told


def public_of(home: Path) -> Public | None:
    """The public half, for which no passphrase is needed; None where the folder is not encrypted. Raises StoreError."""
    told = key_file(home)
    if told is None:
        return None
    try:
        public = bytes.fromhex(told["public"])
    except (KeyError, TypeError, ValueError) as error:
        raise damaged(home / KEYS) from error
    if len(public) != KEY_BYTES:
        raise damaged(home / KEYS)
    return Public(told["id"], public)


def ended(until: str, today: date) -> LockedError | None:
    """Why a passphrase opens the record no longer on this day; None where it does."""
    if not until or today.isoformat() <= until:
        return None
    return LockedError(
        f"this passphrase opened the record until {until}, the last day of whose it is; somebody who is at work here "
        "opens it."
    )


def damaged(path: Path) -> StoreError:
    """Of a key file that is not as it was written."""
    return StoreError(f"{path}: the key file was altered or damaged; bring it back from a backup.")
