"""Encryption at rest: whose keys, how they are unlocked, and the layer that files go through.

``keys``, ``held``, ``opened`` and ``layer`` load no cryptography until there is something sealed.
"""

from pipeline.vault.growing import Growing
from pipeline.vault.keys import KEYS, Keys, Public, key_file, public_of
from pipeline.vault.layer import (
    clear_blocks,
    clear_bytes,
    grown_keys,
    grown_size,
    is_sealed,
    make_unreadable,
    read_grown,
    reading,
    sealing,
    stored,
    stored_locked,
)
from pipeline.vault.opened import HOW, PASSPHRASE_VARIABLE, ask_with, forget, keys_of, locked, pass_on, use, who_opened

__all__ = [
    "HOW",
    "KEYS",
    "PASSPHRASE_VARIABLE",
    "Growing",
    "Keys",
    "Public",
    "ask_with",
    "clear_blocks",
    "clear_bytes",
    "forget",
    "grown_keys",
    "grown_size",
    "is_sealed",
    "key_file",
    "keys_of",
    "locked",
    "make_unreadable",
    "pass_on",
    "public_of",
    "read_grown",
    "reading",
    "sealing",
    "stored",
    "stored_locked",
    "use",
    "who_opened",
]
