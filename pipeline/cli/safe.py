"""The passphrase of the record: asked for, chosen, changed."""

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.app import app, configured, print_lines, ready, say
from pipeline.errors import InputError

if TYPE_CHECKING:
    from pipeline.config import Config
    from pipeline.vault.keyfile import Unlocked

safe = typer.Typer(help="Encryption of the record: on, off, open, close, keys.", no_args_is_help=True)
app.add_typer(safe, name="safe")


def ask_passphrase(home: Path, again: bool) -> str | None:
    """Ask the person at the terminal; None where nothing was typed."""
    if again:
        say("That does not open it. Look at Caps Lock and the keyboard's language; the recovery key will do too.")
    return (
        typer.prompt(f"Passphrase of the record in {home}", default="", hide_input=True, show_default=False, err=True)
        or None
    )


def choose_passphrase(config: "Config") -> str:
    """A new passphrase, typed twice; from HANDSPOKEN_PASSPHRASE where nobody is there. Raises InputError."""
    from pipeline.show.safekeeping import choosing_lines
    from pipeline.vault import PASSPHRASE_VARIABLE

    if given := os.environ.get(PASSPHRASE_VARIABLE):
        return given
    if not at_terminal():
        raise InputError(
            f"{config.home}: a new record is encrypted, and nobody is there to choose its passphrase. Run this at a "
            f"terminal or set {PASSPHRASE_VARIABLE}; to keep the record in clear, put `encryption = false` into "
            f"{config.home / 'settings.toml'}."
        )
    for line in choosing_lines(config):
        say(line)
    return type_new()


def type_new(of: str = "") -> str:
    """A new passphrase, typed twice, until one can be used. ``of``: whose it will be."""
    from pipeline.safekeeping import chosen

    while True:
        typed = str(
            typer.prompt(
                f"New passphrase of {of}" if of else "New passphrase",
                hide_input=True,
                confirmation_prompt=True,
                err=True,
            )
        )
        try:
            chosen(typed)
        except InputError as error:
            say(str(error))
        else:
            return typed


def at_terminal() -> bool:
    """Whether somebody can be asked."""
    return sys.stdin.isatty() and sys.stderr.isatty()


def protect_new(config: "Config") -> None:
    """Have a record that is still to be made get its keys; done already, this does nothing. Raises InputError."""
    from pipeline.safekeeping import protect, to_be_chosen
    from pipeline.show.safekeeping import recovery_lines

    if to_be_chosen(config):
        for line in recovery_lines(protect(config, choose_passphrase(config))):
            say(line)


def typed_secret(config: "Config") -> str:
    """What the person types, or HANDSPOKEN_PASSPHRASE. Raises LockedError where neither is."""
    from pipeline.errors import LockedError
    from pipeline.vault import HOW, PASSPHRASE_VARIABLE

    secret = os.environ.get(PASSPHRASE_VARIABLE) or (ask_passphrase(config.home, False) if at_terminal() else None)
    if secret is None and config.encrypted:
        raise LockedError(f"{config.home}: the record is locked; {HOW}.")
    return secret or ""


def _opened(config: "Config") -> "Unlocked":
    """The key file, opened by what the person types or HANDSPOKEN_PASSPHRASE. Raises InputError, LockedError."""
    from pipeline.safekeeping import opened

    return opened(config, typed_secret(config))


@safe.command("on")
def encrypt_record() -> None:
    """Encrypt a record that lies in clear; a record that is still to be made gets its passphrase."""
    from pipeline.converting import encrypt
    from pipeline.safekeeping import is_made, new_keys, protect
    from pipeline.show.safekeeping import encrypted_lines, recovery_lines

    config = configured()
    if config.encrypted:
        raise InputError(f"{config.home}: is encrypted already.")
    if not is_made(config):
        print_lines(recovery_lines(protect(config, choose_passphrase(config))))
        return
    unlocked, recovery = new_keys(choose_passphrase(config))
    for line in recovery_lines(recovery):  # before the record depends on it
        say(line)
    print_lines(encrypted_lines(encrypt(config, unlocked, step=lambda what: say(f"encrypting and checking: {what}"))))


@safe.command("off")
def decrypt_record(yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False) -> None:
    """Bring the record back in clear: whoever has this disk can read it then."""
    from pipeline.converting import decrypt
    from pipeline.safekeeping import close
    from pipeline.show.safekeeping import decrypted_lines
    from pipeline.vault import use

    config, stages = ready(record=False)
    use(_opened(config).keys)
    if not yes and not (at_terminal() and typer.confirm("Write the whole record in clear?", err=True)):
        raise InputError("nothing was changed; --yes does it without asking.")
    found = decrypt(config, stages, step=lambda what: say(f"decrypting and checking: {what}"))
    close(config)
    print_lines(decrypted_lines(found))


@safe.command("open")
def open_record() -> None:
    """Open the record for the commands that follow, so that each of them need not ask."""
    from pipeline.safekeeping import hold_open
    from pipeline.show.safekeeping import open_line

    config = configured()
    hold_open(config, _opened(config))
    print_lines([open_line(config)])


@safe.command("close")
def close_record() -> None:
    """Lock the record again."""
    from pipeline.safekeeping import close

    print_lines(["Locked." if close(configured()) else "The record was not open."])


@safe.command()
def passphrase() -> None:
    """Change your passphrase, with the old one or with the recovery key; nothing else is written anew."""
    from pipeline.safekeeping import change_passphrase

    config = configured()
    if not at_terminal():
        raise InputError("a new passphrase is typed at a terminal; run this there.")
    change_passphrase(config, _opened(config), type_new())
    print_lines(["The passphrase was changed. The recovery key is the same."])


@safe.command()
def recovery() -> None:
    """Make a new recovery key, shown once; the one before opens nothing any more."""
    from pipeline.safekeeping import renew_recovery
    from pipeline.show.safekeeping import recovery_lines

    config = configured()
    print_lines(recovery_lines(renew_recovery(config, _opened(config))))


@safe.command()
def keyring(off: Annotated[bool, typer.Option("--off", help="Ask for the passphrase again.")] = False) -> None:
    """Have this computer's keyring open the record while you are signed in to it."""
    from pipeline.safekeeping import use_keyring

    config = configured()
    use_keyring(config, _opened(config), on=not off)
    print_lines(["The keyring opens the record." if not off else "The keyring opens the record no longer."])
