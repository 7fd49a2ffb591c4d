"""Which keys this process has, and where it gets them: once a folder, then kept until the process ends."""

import os
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from pathlib import Path

from pipeline.errors import InputError, LockedError
from pipeline.vault.held import held
from pipeline.vault.keys import Keys, ended, key_file, keys_from_text
from pipeline.vault.swap import finish_swap

PASSPHRASE_VARIABLE = "HANDSPOKEN_PASSPHRASE"
PIPE_VARIABLE = "HANDSPOKEN_KEYS_FD"  # set for processes of ours alone

_open: dict[str, Keys] = {}
_TRIES = 3
Ask = Callable[[Path, bool], str | None]
_ask: Ask | None = None


def ask_with(ask: Ask | None) -> None:
    """How a person is asked for the passphrase of a folder, and whether the last one was wrong; None, or an answer of
    None: nobody can be asked."""
    global _ask
    _ask = ask


def keys_of(home: Path) -> Keys | None:
    """The keys of a data folder; None where it is not encrypted.

    Taken from what this process has, from the process that started it, from the run-time folder, from
    HANDSPOKEN_PASSPHRASE, from the system's keyring where that was switched on, or asked for. Raises LockedError where
    none of these gives them, the passphrase is wrong, or whose they are is at work here no longer, StoreError where
    ``keys.json`` was altered.
    """
    finish_swap(home)
    told = key_file(home)
    if told is None:
        return None
    name = told["id"]
    keys = _known(name) or _by_passphrase(home, name)
    if error := ended(keys.until, date.today()):
        raise error
    return keys


def keys_by_id(key_id: str, path: Path) -> Keys:
    """The keys that a file at ``path`` is under. Raises LockedError where this process has not got them."""
    keys = _known(key_id)
    if keys is None:
        raise LockedError(f"{path}: is encrypted, and the record that it belongs to is locked; {HOW}.")
    return keys


def locked(home: Path) -> bool:
    """Whether a folder is encrypted and its keys are not at hand; asks nobody."""
    told = key_file(home)
    return told is not None and _known(told["id"]) is None and not os.environ.get(PASSPHRASE_VARIABLE)


def who_opened(home: Path) -> str:
    """The id of the practitioner whose passphrase opened a folder; "" in clear, for its owner, or while locked."""
    keys = None if locked(home) else keys_of(home)
    return keys.who if keys is not None else ""


def use(keys: Keys) -> None:
    """Have this process use keys from now on."""
    _open[keys.id] = keys


def forget() -> None:
    """Have this process hold no keys."""
    _open.clear()


def pass_on(keys: Keys) -> tuple[int, dict[str, str]]:
    """For a process of ours that is about to start: a pipe that holds the keys (to be inherited, and closed here), and
    the variable that tells it so."""
    reading, writing = os.pipe()
    os.write(writing, keys.as_text().encode())
    os.close(writing)
    return reading, {PIPE_VARIABLE: str(reading)}


HOW = f"run `handspoken safe open`, or set {PASSPHRASE_VARIABLE}"


def _known(key_id: str) -> Keys | None:
    if key_id not in _open and (number := os.environ.pop(PIPE_VARIABLE, "")):
        with suppress(OSError, ValueError, KeyError, TypeError), os.fdopen(int(number), "rb") as pipe:
            use(keys_from_text(pipe.read()))
    if key_id not in _open and (keys := held(key_id)) is not None:
        use(keys)
    return _open.get(key_id)


def _by_passphrase(home: Path, key_id: str) -> Keys:
    from pipeline.vault.keyfile import unlock
    from pipeline.vault.keyring import from_keyring

    given = os.environ.get(PASSPHRASE_VARIABLE) or None
    if given is None and (secret := from_keyring(home, key_id)) is not None:
        with suppress(InputError):
            use(unlock(home, secret, kind="keyring").keys)
            return _open[key_id]
    for n in range(_TRIES):
        typed = given or (_ask(home, n > 0) if _ask is not None else None)
        if typed is None:
            break
        try:
            use(unlock(home, typed).keys)
            return _open[key_id]
        except InputError as error:
            if given or n == _TRIES - 1:
                raise LockedError(str(error)) from error
    raise LockedError(f"{home}: the record is locked; {HOW}.")
