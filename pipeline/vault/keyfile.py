"""``keys.json``: a random data key, wrapped in named slots; a passphrase changes its slot alone.

A slot is wrapped under a key that Argon2id (RFC 9106) makes from a secret: a person's passphrase, the recovery key, or
a random text that the system's keyring holds. All of the file is under a MAC of the data key, so that a slot, a cost or
the public half that somebody else put there is noticed as soon as it is unlocked.
"""

import hashlib
import hmac
import json
import os
import secrets
import unicodedata
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from pipeline.errors import InputError, StoreError
from pipeline.files import write_atomic
from pipeline.vault.keys import KEY_BYTES, KEYS, Keys, damaged, ended
from pipeline.vault.recovery import new_recovery, read_recovery

OWNER = "owner"
RECOVERY = "recovery"
SHORTEST = 12  # characters; whoever has the disk may try as long as they like (common practice, no source)
LONGEST = 1000
MOST_SLOTS = 64
_SALT = 16
_NONCE = 12

Hex = Annotated[str, StringConstraints(pattern=r"^([0-9a-f]{2})+$", max_length=200)]
Kind = Literal["passphrase", "recovery", "keyring"]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Cost(_Frozen):
    """What one try costs whoever guesses. The default is the second recommended option of RFC 9106, section 4 (t=3,
    p=4, m=2^16 KiB = 64 MiB), for computers that cannot give 2 GiB to it. The bounds keep a file from outside from
    taking all memory or time: its MAC cannot be looked at before."""

    memory_kib: int = Field(default=1 << 16, ge=32, le=1 << 18)
    passes: int = Field(default=3, ge=1, le=8)
    lanes: int = Field(default=4, ge=1, le=16)


class Slot(_Frozen):
    """The data key wrapped for one secret. ``until``: the last day on which it opens."""

    name: Annotated[str, StringConstraints(min_length=1, max_length=80)]
    kind: Kind
    cost: Cost
    salt: Hex
    nonce: Hex
    wrapped: Hex
    until: date | None = None


class KeyFile(_Frozen):
    """The file as a whole. ``mac``: over all the rest, under a key made from the data key."""

    form: Literal[1] = 1
    id: Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{32}$")]
    public: Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
    slots: tuple[Slot, ...] = Field(min_length=1, max_length=MOST_SLOTS)
    mac: str = ""


class Unlocked:
    """A key file that was opened: its slots can be changed. Made by ``create`` and ``unlock``."""

    def __init__(self, file: KeyFile, data_key: bytes, slot: Slot) -> None:
        """slot: the one that was opened."""
        self.file, self._data_key, self.slot = file, data_key, slot
        who = slot.name if slot.kind == "passphrase" and slot.name != OWNER else ""
        until = slot.until.isoformat() if slot.until else ""
        self.keys = replace(_derived(file.id, data_key), who=who, until=until)

    def put(
        self, name: str, kind: Kind, secret: str, cost: Cost | None = None, *, until: date | None = None, old: str = ""
    ) -> None:
        """Wrap the data key for a secret in the slot ``name``, a new one or in the place of the one of that name, and
        of ``old`` too.

        Raises InputError where it is the passphrase of another slot (who opened the record could not be told), or
        nobody would be left who opens it for good.
        """
        kept = tuple(one for one in self.file.slots if one.name not in (name, old))
        if kind == "passphrase" and any(_unwrapped(self.file.id, one, secret) for one in kept if one.kind == kind):
            raise InputError("that passphrase cannot be taken; choose another.")
        slot = _wrapped(self.file.id, name, kind, secret, cost or Cost(), self._data_key)
        self._keep((*kept, slot.model_copy(update={"until": until})))

    def end(self, name: str, until: date) -> None:
        """Have a slot open up to a day and no longer. Raises InputError where there is none of that name or nobody
        would be left who opens the record for good."""
        slot = next((one for one in self.file.slots if one.name == name), None)
        if slot is None:
            raise InputError(f"{name[:80]!r}: nobody of that name can open the record.")
        ended = slot.model_copy(update={"until": until})
        self._keep(tuple(ended if one is slot else one for one in self.file.slots))

    def remove(self, name: str) -> None:
        """Take a slot out. Raises InputError where there is none of that name or nobody would be left who opens the
        record for good."""
        kept = tuple(one for one in self.file.slots if one.name != name)
        if len(kept) == len(self.file.slots):
            raise InputError(f"{name[:80]!r}: nobody of that name can open the record.")
        self._keep(kept)

    def _keep(self, slots: tuple[Slot, ...]) -> None:
        if not any(one.kind == "passphrase" and one.until is None for one in slots):
            raise InputError("nobody would be left whose passphrase opens the record for good.")
        self.file = self.file.model_copy(update={"slots": slots})

    def write(self, home: Path) -> None:
        """Write the file under ``home``, whole or not at all. Raises StoreError."""
        self.file = self.file.model_copy(update={"mac": _mac(self.file, self._data_key)})
        write_atomic(home / KEYS, (self.file.model_dump_json(indent=1) + "\n").encode())


def create(passphrase: str, *, owner: str = OWNER, cost: Cost | None = None) -> tuple[Unlocked, str]:
    """New keys, not yet written, and the recovery key, which is shown once and kept nowhere. Raises InputError."""
    chosen(passphrase)
    key, recovery = secrets.token_bytes(KEY_BYTES), new_recovery()
    name = secrets.token_hex(16)
    slots = (
        _wrapped(name, owner, "passphrase", passphrase, cost or Cost(), key),
        _wrapped(name, RECOVERY, "recovery", read_recovery(recovery), cost or Cost(), key),
    )
    return Unlocked(KeyFile(id=name, public=_derived(name, key).public.hex(), slots=slots), key, slots[0]), recovery


def read_file(home: Path) -> KeyFile:
    """``keys.json`` of a folder. Raises StoreError."""
    path = home / KEYS
    try:
        return KeyFile.model_validate_json(path.read_bytes())
    except OSError as error:
        raise StoreError(f"{path}: cannot be read ({error.strerror}).") from error
    except ValidationError as error:
        raise damaged(path) from error


def unlock(home: Path, secret: str, *, kind: Kind = "passphrase") -> Unlocked:
    """Open the slots of one kind with a secret; a recovery key is taken where a passphrase is wanted too.

    Raises InputError where it opens none, LockedError where it opens one no longer, StoreError where the file was
    altered.
    """
    file = read_file(home)
    wanted = {kind: secret}
    if kind == "passphrase" and (recovery := _as_recovery(secret)) is not None:
        wanted["recovery"] = recovery
    for slot in file.slots:
        if slot.kind in wanted and (key := _unwrapped(file.id, slot, wanted[slot.kind])) is not None:
            if not hmac.compare_digest(_mac(file, key), file.mac) or _derived(file.id, key).public.hex() != file.public:
                raise damaged(home / KEYS)
            if error := ended(str(slot.until or ""), date.today()):
                raise error
            return Unlocked(file, key, slot)
    raise InputError(
        f"{home}: that passphrase does not open the record. Look at Caps Lock and the keyboard's language."
    )


def chosen(passphrase: str) -> None:
    """Raises InputError where a new passphrase cannot be used."""
    if not SHORTEST <= len(passphrase) <= LONGEST:
        raise InputError(f"a passphrase has {SHORTEST} to {LONGEST} characters; five unrelated words are a good one.")


def _as_recovery(secret: str) -> str | None:
    try:
        return read_recovery(secret)
    except InputError:
        return None


def _secret_bytes(secret: str) -> bytes:
    """The same bytes however the keyboard composes accents (Unicode NFC, as RFC 8265 has it for passwords)."""
    return unicodedata.normalize("NFC", secret).encode("utf-8", "surrogatepass")


def _wrapping_key(secret: str, salt: bytes, cost: Cost) -> bytes:
    from cryptography.hazmat.primitives.kdf.argon2 import Argon2id

    made = Argon2id(
        salt=salt, length=KEY_BYTES, iterations=cost.passes, lanes=cost.lanes, memory_cost=cost.memory_kib
    ).derive(_secret_bytes(secret))
    return bytes(made)


def _bound(file_id: str, slot: Slot) -> bytes:
    """What a slot's wrapped key holds for alone."""
    told = {"file": file_id, "name": slot.name, "kind": slot.kind, "cost": slot.cost.model_dump()}
    return json.dumps(told, sort_keys=True).encode()


def _wrapped(file_id: str, name: str, kind: Kind, secret: str, cost: Cost, key: bytes) -> Slot:
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    salt, nonce = os.urandom(_SALT), os.urandom(_NONCE)
    slot = Slot(name=name, kind=kind, cost=cost, salt=salt.hex(), nonce=nonce.hex(), wrapped="00")
    wrapped = ChaCha20Poly1305(_wrapping_key(secret, salt, cost)).encrypt(nonce, key, _bound(file_id, slot))
    return slot.model_copy(update={"wrapped": wrapped.hex()})


def _unwrapped(file_id: str, slot: Slot, secret: str) -> bytes | None:
    from cryptography.exceptions import InvalidTag
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    try:
        cipher = ChaCha20Poly1305(_wrapping_key(secret, bytes.fromhex(slot.salt), slot.cost))
        return cipher.decrypt(bytes.fromhex(slot.nonce), bytes.fromhex(slot.wrapped), _bound(file_id, slot))
    except (InvalidTag, ValueError, MemoryError):
        return None


def _mac(file: KeyFile, data_key: bytes) -> str:
    told = file.model_dump(mode="json", exclude={"mac"}, exclude_none=True)  # a file of before ``until`` stays whole
    text = json.dumps(told, sort_keys=True)
    return hmac.new(_expanded(file.id, data_key, "key file"), text.encode(), hashlib.sha256).hexdigest()


def _derived(file_id: str, data_key: bytes) -> Keys:
    from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey

    private = _expanded(file_id, data_key, "recordings")
    return Keys(
        id=file_id,
        public=X25519PrivateKey.from_private_bytes(private).public_key().public_bytes_raw(),
        database=_expanded(file_id, data_key, "database"),
        files=_expanded(file_id, data_key, "files"),
        names=_expanded(file_id, data_key, "names"),
        private=private,
    )


def _expanded(file_id: str, data_key: bytes, purpose: str) -> bytes:
    """HKDF with SHA-256 (RFC 5869)."""
    from cryptography.hazmat.primitives.hashes import SHA256
    from cryptography.hazmat.primitives.kdf.hkdf import HKDF

    info = f"handspoken 1 {purpose}".encode()
    return HKDF(algorithm=SHA256(), length=KEY_BYTES, salt=bytes.fromhex(file_id), info=info).derive(data_key)
