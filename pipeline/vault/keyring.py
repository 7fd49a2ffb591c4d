"""The system's keyring, where the person switched it on: it holds a random text that opens a slot of its own."""

import secrets
from contextlib import suppress
from pathlib import Path

from pipeline.errors import InputError
from pipeline.vault.keyfile import Unlocked, read_file

SLOT = "keyring"
_SERVICE = "handspoken"


def from_keyring(home: Path, key_id: str) -> str | None:
    """What the keyring holds for a folder; None where it was not switched on or does not answer."""
    if not any(slot.kind == "keyring" for slot in read_file(home).slots):
        return None
    with suppress(Exception):  # each backend has errors of its own; then the passphrase is asked for
        import keyring

        return keyring.get_password(_SERVICE, key_id)
    return None


def switch_on(unlocked: Unlocked) -> None:
    """Put a random text into the keyring and a slot for it into the key file. Raises InputError where there is none."""
    import keyring
    from keyring.errors import KeyringError

    secret = secrets.token_hex(32)
    try:
        keyring.set_password(_SERVICE, unlocked.file.id, secret)
    except KeyringError as error:
        raise InputError("this computer has no keyring that can be used; the passphrase opens the record.") from error
    unlocked.put(SLOT, "keyring", secret)


def switch_off(unlocked: Unlocked) -> None:
    """Take both out again. Raises InputError where it was not switched on."""
    import keyring

    unlocked.remove(SLOT)
    with suppress(Exception):  # without its slot it opens nothing
        keyring.delete_password(_SERVICE, unlocked.file.id)
