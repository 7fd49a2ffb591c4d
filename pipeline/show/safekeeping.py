"""Encryption told at a terminal."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from pipeline.config import Config

if TYPE_CHECKING:
    from pipeline.custody import Verified


def recovery_lines(recovery: str) -> Iterator[str]:
    """The recovery key, shown once."""
    yield f"Recovery key: {recovery}"
    yield "Write it on paper and keep it away from this computer: it opens the record when the passphrase is forgotten."
    yield "It is shown this once. Without the passphrase and without it nobody can read the record."


def choosing_lines(config: Config) -> Iterator[str]:
    """Before a passphrase is chosen."""
    yield f"The record in {config.home} will be encrypted. Choose its passphrase: five unrelated words are a good one."


def encrypted_lines(found: "Verified") -> Iterator[str]:
    """A record was encrypted."""
    yield f"Encrypted and checked: {found.events} events, {found.blobs} stored files. What lay in clear is overwritten."
    yield "Flash disks keep overwritten blocks for a while, and earlier backups stay in clear: destroy those you can."
    yield "The notes are read by: handspoken review"


def decrypted_lines(found: "Verified") -> Iterator[str]:
    """A record was brought back in clear."""
    yield f"In clear and checked: {found.events} events, {found.blobs} stored files. Whoever has the disk reads them."


def open_line(config: Config) -> str:
    """The record was opened."""
    return f"Open until `handspoken safe close`, or {config.settings.open_minutes} minutes without a command."
