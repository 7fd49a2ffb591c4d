"""Encryption of the record as a person meets it: chosen with the first visit, opened, closed, changed."""

from pipeline.config import Config
from pipeline.errors import InputError, NotFoundError
from pipeline.files import private_folder
from pipeline.store.reading import DATABASE
from pipeline.vault import forget, key_file, use
from pipeline.vault.held import hold, let_go
from pipeline.vault.keyfile import OWNER, RECOVERY, Cost, Slot, Unlocked, chosen, create, read_file, unlock
from pipeline.vault.keyring import switch_off, switch_on
from pipeline.vault.recovery import new_recovery, read_recovery

__all__ = ["OWNER", "Cost", "Unlocked", "chosen"]


def to_be_chosen(config: Config) -> bool:
    """Whether the record is still to be made and a passphrase for it to be chosen."""
    return config.settings.encryption and not config.encrypted and not is_made(config)


def is_made(config: Config) -> bool:
    """Whether there is a record."""
    return (config.home / DATABASE).exists()


def protect(config: Config, passphrase: str, *, cost: Cost | None = None) -> str:
    """Give a record that is still to be made its keys; returns the recovery key, which is kept nowhere.

    Raises InputError where the passphrase is too short or there is a record already, StoreError.
    """
    if config.encrypted or is_made(config):
        raise InputError(f"{config.home}: holds a record already; `handspoken safe on` encrypts it.")
    unlocked, recovery = create(passphrase, cost=cost)
    private_folder(config.home)
    unlocked.write(config.home)
    use(unlocked.keys)
    return recovery


def new_keys(passphrase: str, *, cost: Cost | None = None) -> tuple[Unlocked, str]:
    """Keys for a record that lies in clear, and their recovery key. Raises InputError."""
    return create(passphrase, cost=cost)


def opened(config: Config, secret: str) -> Unlocked:
    """The key file, opened by a passphrase or the recovery key. Raises NotFoundError, InputError, StoreError."""
    if not config.encrypted:
        raise NotFoundError(f"{config.home}: is not encrypted, so there is nothing to open.")
    return unlock(config.home, secret)


def slots(config: Config) -> tuple[Slot, ...]:
    """Whose secrets open the record, none where it is in clear. Raises StoreError."""
    return read_file(config.home).slots if config.encrypted else ()


def hold_open(config: Config, unlocked: Unlocked) -> None:
    """Have commands open the record without asking, until it is closed or idle. Raises InputError where the keys cannot
    be held in memory."""
    use(unlocked.keys)
    hold(unlocked.keys, config.settings.open_minutes)


def close(config: Config) -> bool:
    """Lock the record; whether it was open. Raises StoreError."""
    told = key_file(config.home)
    forget()
    return told is not None and let_go(told["id"])


def change_passphrase(config: Config, unlocked: Unlocked, new: str, *, cost: Cost | None = None) -> None:
    """Set the passphrase of whoever opened the record; by the recovery key that of its owner. No stored file is written
    anew. Raises InputError, StoreError."""
    chosen(new)
    name = unlocked.slot.name if unlocked.slot.kind == "passphrase" else OWNER
    slot = next((one for one in unlocked.file.slots if one.name == name and one.kind == "passphrase"), None)
    if slot is None:
        raise InputError("the owner was entered by name; `handspoken practitioner return NAME` sets their passphrase.")
    unlocked.put(name, "passphrase", new, cost, until=slot.until)
    unlocked.write(config.home)


def renew_recovery(config: Config, unlocked: Unlocked, *, cost: Cost | None = None) -> str:
    """A new recovery key; the one before opens nothing any more. Raises StoreError."""
    recovery = new_recovery()
    unlocked.put(RECOVERY, "recovery", read_recovery(recovery), cost)
    unlocked.write(config.home)
    return recovery


def use_keyring(config: Config, unlocked: Unlocked, *, on: bool) -> None:
    """Have the system's keyring open the record, or no longer. Raises InputError where there is none, StoreError."""
    (switch_on if on else switch_off)(unlocked)
    unlocked.write(config.home)
