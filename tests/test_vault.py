"""Keys, sealed files and growing files: what opens, and that nothing else does."""

import json
import os
import random
from collections.abc import Callable
from pathlib import Path

import pytest
from vaulting import CHEAP, PASSPHRASE, encrypted

from pipeline.errors import HandspokenError, InputError, LockedError, StoreError
from pipeline.model import Infant
from pipeline.store import Store
from pipeline.store.blobs import Blobs
from pipeline.store.events import InfantEntered
from pipeline.store.reading import Reader
from pipeline.vault import Keys, clear_bytes, forget, grown_size, keys_of, locked, read_grown, reading, stored, use
from pipeline.vault.growing import Growing
from pipeline.vault.keyfile import unlock
from pipeline.vault.keys import KEYS, Public, public_of
from pipeline.vault.recovery import SIGNS, new_recovery, read_recovery
from pipeline.vault.stream import CHUNK, HEADER, SealingWriter, place

SIZES = (0, 1, CHUNK - 1, CHUNK, CHUNK + 1, 2 * CHUNK, 2 * CHUNK + 7)


@pytest.fixture
def keys(tmp_path: Path) -> Keys:
    """Those of an encrypted folder ``tmp_path``."""
    return encrypted(tmp_path)[0]


def seal(path: Path, data: bytes, keys: Keys) -> Path:
    path.parent.mkdir(exist_ok=True)
    blocks = stored(data, path, keys)
    assert not isinstance(blocks, bytes)
    path.write_bytes(b"".join(blocks))
    return path


# ---------------------------------------------------------------- keys


def test_a_passphrase_and_the_recovery_key_open_the_same_keys(tmp_path: Path) -> None:
    keys, recovery = encrypted(tmp_path)

    assert unlock(tmp_path, PASSPHRASE).keys == keys
    assert unlock(tmp_path, recovery.lower().replace(" ", "-")).keys == keys
    with pytest.raises(InputError, match="does not open"):
        unlock(tmp_path, PASSPHRASE + " ")
    assert keys.files.hex() not in repr(keys)


def test_a_new_passphrase_takes_the_place_of_the_old_one_alone(tmp_path: Path) -> None:
    keys, recovery = encrypted(tmp_path)
    unlocked = unlock(tmp_path, PASSPHRASE)
    unlocked.put("Robin", "passphrase", "another one for Robin", CHEAP)
    unlocked.put("owner", "passphrase", "a new one for the owner", CHEAP)
    unlocked.write(tmp_path)

    opening = ["another one for Robin", "a new one for the owner", recovery]
    assert [unlock(tmp_path, secret).keys for secret in opening] == [keys] * 3
    with pytest.raises(InputError):
        unlock(tmp_path, PASSPHRASE)
    unlocked.remove("Robin")
    with pytest.raises(InputError, match="nobody would be left"):
        unlocked.remove("owner")


@pytest.mark.parametrize(
    "tamper",
    [
        lambda told: told | {"public": "11" * 32},
        lambda told: told | {"slots": [told["slots"][0]]},
        lambda told: told | {"slots": [told["slots"][0], told["slots"][1] | {"name": "mine"}]},
        lambda told: told | {"mac": "00" * 32},
        lambda told: told | {"id": "22" * 16},
        lambda told: told | {"slots": [told["slots"][0] | {"wrapped": "33" * 48}]},
        lambda told: told | {"slots": []},
        lambda told: told | {"more": 1},
        lambda told: told | {"slots": [told["slots"][0] | {"cost": {"memory_kib": 1 << 40}}]},
        lambda told: [told],
    ],
)
def test_a_key_file_that_was_altered_opens_nothing(tmp_path: Path, tamper: Callable[[object], object]) -> None:
    encrypted(tmp_path)
    path = tmp_path / KEYS
    path.write_text(json.dumps(tamper(json.loads(path.read_text()))))

    with pytest.raises(HandspokenError, match=r"altered or damaged|does not open"):
        unlock(tmp_path, PASSPHRASE)


def test_a_locked_folder_says_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
    keys, _ = encrypted(tmp_path)
    sealed = seal(tmp_path / "notes" / "a", b"words", keys)
    forget()

    assert locked(tmp_path)
    with pytest.raises(LockedError, match="safe open"):
        keys_of(tmp_path)
    with pytest.raises(LockedError, match="safe open"):
        clear_bytes(sealed)
    monkeypatch.setenv("HANDSPOKEN_PASSPHRASE", PASSPHRASE)
    assert keys_of(tmp_path) == keys
    assert clear_bytes(sealed) == b"words"
    assert keys_of(tmp_path / "other") is None


def test_a_slip_in_the_recovery_key_is_found_and_its_group_named() -> None:
    rng = random.Random(9)
    for _ in range(200):
        typed = list(new_recovery().replace(" ", ""))
        at = rng.randrange(len(typed))
        typed[at] = rng.choice([sign for sign in SIGNS if sign != typed[at]])
        with pytest.raises(InputError, match=f"group {at // 5 + 1} "):
            read_recovery("".join(typed))
    one = new_recovery().split()
    with pytest.raises(InputError):
        read_recovery(" ".join([one[1], one[0], *one[2:]]) if one[0] != one[1] else "")


# ---------------------------------------------------------------- sealed files


@pytest.mark.parametrize("size", SIZES)
def test_a_sealed_file_reads_from_anywhere(tmp_path: Path, keys: Keys, size: int) -> None:
    data = os.urandom(size)
    path = seal(tmp_path / "blobs" / "one", data, keys)

    with reading(path) as file:
        for at in (0, 1, size // 2, CHUNK - 3, size):
            file.seek(at)
            assert file.read(9) == data[at : at + 9]
        assert file.seek(0, os.SEEK_END) == size
    assert clear_bytes(path) == data


@pytest.mark.parametrize("size", SIZES)
def test_an_encoder_may_come_back_to_the_head_of_its_file(tmp_path: Path, keys: Keys, size: int) -> None:
    data, path = os.urandom(size), tmp_path / "sound"
    with path.open("wb") as out, SealingWriter(out, keys, place(path)) as file:
        for at in range(0, size, 4000):
            file.write(data[at : at + 4000])
        file.seek(0)
        file.write(data[:2][::-1])
        file.seek(0, os.SEEK_END)
        file.write(b"end")

    assert clear_bytes(path) == data[:2][::-1] + data[2:] + b"end"


def test_a_sealed_file_that_was_altered_cut_off_or_moved_does_not_open(tmp_path: Path, keys: Keys) -> None:
    path = seal(tmp_path / "blobs" / "one", os.urandom(2 * CHUNK + 50), keys)
    other = seal(tmp_path / "blobs" / "two", os.urandom(2 * CHUNK + 50), keys)
    whole, stranger = path.read_bytes(), other.read_bytes()
    chunk = CHUNK + 16
    first, second = whole[HEADER : HEADER + chunk], whole[HEADER + chunk : HEADER + 2 * chunk]
    flips = [whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :] for at in (8, 30, HEADER, HEADER + chunk, -1)]
    cuts = [whole[:at] for at in (HEADER + 2 * chunk, HEADER + chunk, HEADER, 20, -1)]
    moved = [whole[:HEADER] + second + first + whole[HEADER + 2 * chunk :], whole[:-66] + stranger[-66:], stranger]
    for data in (*flips, *cuts, *moved, whole + b"more"):
        path.write_bytes(data)
        with pytest.raises(HandspokenError):
            clear_bytes(path)
    path.write_bytes(whole)
    assert len(clear_bytes(path)) == 2 * CHUNK + 50


# ---------------------------------------------------------------- growing files


def test_a_growing_file_is_begun_while_locked_and_read_when_open(tmp_path: Path, keys: Keys) -> None:
    public = public_of(tmp_path)
    assert public == Public(keys.id, keys.public)
    path, parts = tmp_path / "rec.pcm", [os.urandom(n) for n in (3200, 1, 3200, 70_000)]
    forget()
    growing = Growing(path, public)
    for n, part in enumerate(parts):
        growing.append(part)
        assert grown_size(path) == sum(map(len, parts[: n + 1])) == growing.size
    growing.close()
    encrypted_words = path.read_bytes()
    assert not any(part in encrypted_words for part in parts if len(part) > 1)
    with pytest.raises(FileExistsError):
        Growing(path, public)

    use(keys)
    whole = b"".join(parts)
    assert read_grown(path) == whole
    assert read_grown(path, 3100, 200) == whole[3100:3300]


def test_a_torn_last_frame_is_passed_over_and_a_missing_one_noticed(tmp_path: Path, keys: Keys) -> None:
    path = tmp_path / "rec.pcm"
    growing = Growing(path, keys)
    sizes = []
    for part in (b"a" * 100, b"b" * 100, b"c" * 100):
        growing.append(part)
        sizes.append(path.stat().st_size)
    growing.close()
    whole, frame = path.read_bytes(), 100 + 4 + 16
    begin = sizes[0] - frame

    for left in range(1, frame):
        path.write_bytes(whole[:-left])
        assert read_grown(path) == b"a" * 100 + b"b" * 100
    for damaged in (
        whole[:begin] + whole[sizes[0] :],
        whole[:begin] + whole[sizes[0] : sizes[1]] + whole[begin : sizes[0]] + whole[sizes[1] :],
        whole[: begin + 10] + b"?" + whole[begin + 11 :],
        whole[:30] + bytes([whole[30] ^ 1]) + whole[31:],
        whole[: sizes[0]] + b"\xff\xff\xff\xff" + whole[sizes[0] + 4 :],
    ):
        path.unlink()
        path.write_bytes(damaged)
        with pytest.raises(StoreError, match="altered"):
            read_grown(path)


def test_what_the_disk_did_not_take_is_in_no_frame(tmp_path: Path, keys: Keys, monkeypatch: pytest.MonkeyPatch) -> None:
    growing = Growing(tmp_path / "rec.pcm", keys)
    growing.append(b"kept")
    write = os.write
    with monkeypatch.context() as small:
        small.setattr(os, "write", lambda handle, data: write(handle, bytes(data[:3])) if len(data) > 3 else _full())
        with pytest.raises(OSError, match="No space"):
            growing.append(b"lost")
    growing.append(b" again")
    growing.close()

    assert read_grown(tmp_path / "rec.pcm") == b"kept again"


def _full() -> int:
    raise OSError(28, "No space left on device")


# ---------------------------------------------------------------- the record


def test_the_record_of_an_encrypted_folder_holds_nothing_in_clear(tmp_path: Path, keys: Keys) -> None:
    with Store(tmp_path) as store, store.writing() as unit:
        names = [unit.blobs.keep(text) for text in (b"a tight sternomastoid", b"another stored text")]
        unit.append(InfantEntered(infant=Infant(id="1", code_name="Sternomastoid")), infant="1")
    with Reader(tmp_path) as reader:
        assert reader.rows("SELECT code_name FROM infant")[0][0] == "Sternomastoid"
        files = [path for path in tmp_path.rglob("*") if path.is_file()]
        assert len(files) >= 4
        assert not any(b"ternomastoid" in path.read_bytes() for path in files)
    blobs = Blobs(tmp_path / "blobs", keys)
    one, other = (blobs.path(name) for name in names)
    assert one.name not in names
    assert blobs.read(names[0]) == b"a tight sternomastoid"

    one.write_bytes(other.read_bytes())
    with pytest.raises(StoreError, match="altered"):
        blobs.read(names[0])
    one.write_bytes(b"a tight sternomastoid")
    with pytest.raises(StoreError, match="from outside"):
        blobs.read(names[0])


def test_a_database_under_other_keys_is_refused(tmp_path: Path) -> None:
    encrypted(tmp_path)
    Store(tmp_path).close()
    (tmp_path / KEYS).unlink()
    with pytest.raises(StoreError, match="other keys"):
        Store(tmp_path)
    encrypted(tmp_path)
    with pytest.raises(StoreError, match="other keys"):
        Reader(tmp_path)
