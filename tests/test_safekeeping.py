"""How a person meets encryption: a first passphrase, an opened and a locked record, a change, the page that asks."""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import keyring as system_keyring
import pytest
from conftest import Ended, _spoken
from invented import PlainStages
from vaulting import CHEAP, PASSPHRASE, encrypted
from webbing import Pages

from pipeline import safekeeping
from pipeline.config import Config, Settings
from pipeline.errors import InputError, LockedError
from pipeline.store import Store
from pipeline.vault import ask_with, forget, held, keys_of, locked, pass_on
from pipeline.vault.keyfile import unlock

ROOT = Path(__file__).parent.parent


@pytest.fixture(autouse=True)
def _nobody_has_keys(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.delenv("HANDSPOKEN_ENCRYPTION")
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
    forget()
    yield
    forget()
    ask_with(None)


@pytest.fixture
def config(tmp_path: Path) -> Config:
    return Config(home=tmp_path / "home", settings=Settings())


@pytest.fixture
def in_memory(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A run-time folder as a session has it."""
    if not os.access("/dev/shm", os.W_OK):
        pytest.skip("this computer has no folder in memory at /dev/shm")
    with tempfile.TemporaryDirectory(dir="/dev/shm") as folder:
        monkeypatch.setenv("XDG_RUNTIME_DIR", folder)
        yield Path(folder)


@pytest.mark.parametrize(
    "command",
    [
        ["draft", "words.vtt"],
        ["record", "--consent", "Ann, mother"],
        ["infant", "list"],
        ["infant", "add", "Wren"],
        ["visit", "list"],
        ["contact", "list", "Wren"],
        ["import", "record.json"],
        ["export", "--as", "csv", "--to", "out"],
        ["listen", "--once"],
        ["review", "--no-browser"],
    ],
)
def test_no_record_is_made_in_clear_without_being_asked_for(
    handspoken: Callable[..., Ended], tmp_path: Path, command: list[str]
) -> None:
    ended = handspoken(*command)

    assert ended.code == 1
    assert "HANDSPOKEN_PASSPHRASE" in ended.err
    assert "encryption = false" in ended.err
    assert not (tmp_path / "home").exists()


def test_a_record_is_kept_in_clear_where_the_settings_say_so(handspoken: Callable[..., Ended], tmp_path: Path) -> None:
    (tmp_path / "home").mkdir()
    (tmp_path / "home" / "settings.toml").write_text("encryption = false\n")

    assert handspoken("infant", "add", "Wren").code == 0
    assert (tmp_path / "home" / "record.db").read_bytes().startswith(b"SQLite format 3")


def test_a_first_passphrase_is_chosen_and_asked_for_again(
    handspoken: Callable[..., Ended], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    typed = ["too short", PASSPHRASE]
    monkeypatch.setattr("pipeline.cli.safe.at_terminal", lambda: True)
    monkeypatch.setattr("typer.prompt", lambda *_, **__: typed.pop(0))
    first = handspoken("infant", "add", "Wren", "--json")
    assert first.code == 0, first.err
    assert json.loads(first.out)["code_name"] == "Wren"
    assert first.err.count("Recovery key: ") == 1
    recovery = first.err.partition("Recovery key: ")[2].splitlines()[0]
    assert b"Wren" not in (tmp_path / "home" / "record.db").read_bytes()

    forget()
    typed += ["a wrong one that is long", recovery]
    again = handspoken("infant", "list")
    assert again.code == 0
    assert "Wren" in again.out
    assert "Caps Lock" in again.err
    forget()
    typed += [recovery, "another five plain words"]
    assert handspoken("safe", "passphrase").code == 0
    forget()
    typed += ["another five plain words"]
    assert handspoken("infant", "list").code == 0
    forget()
    typed += [""]
    nothing = handspoken("infant", "list")
    assert nothing.code == 1
    assert "locked" in nothing.err


def test_an_opened_record_locks_when_idle_or_closed(config: Config, in_memory: Path) -> None:
    keys, _ = encrypted(config.home)
    with pytest.raises(InputError, match="does not open"):
        safekeeping.opened(config, "not the passphrase")
    safekeeping.hold_open(config, safekeeping.opened(config, PASSPHRASE))
    forget()
    assert keys_of(config.home) == keys
    (file,) = (in_memory / "handspoken").iterdir()
    assert file.stat().st_mode & 0o777 == 0o600

    for seconds in (-(60 * config.settings.open_minutes + 5), 60):  # idle for too long; the clock set back
        forget()
        held.hold(keys, config.settings.open_minutes)
        os.utime(file, (at := file.stat().st_mtime + seconds, at))
        assert locked(config.home)
        assert not file.exists()
    held.hold(keys, 1)
    assert safekeeping.close(config)
    assert locked(config.home)
    assert not safekeeping.close(config)


def test_keys_are_never_held_on_a_disk_or_where_others_look(
    config: Config, in_memory: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keys, _ = encrypted(config.home)
    in_memory.chmod(0o755)
    with pytest.raises(InputError, match="open to others"):
        held.hold(keys, 5)
    config.home.chmod(0o700)
    if held._file_system(config.home) in ("tmpfs", "ramfs"):
        pytest.skip("temporary files lie in memory here")
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(config.home))
    with pytest.raises(InputError, match="in memory"):
        held.hold(keys, 5)


def test_a_change_of_passphrase_leaves_every_stored_file(config: Config) -> None:
    encrypted(config.home)
    (config.home / "blobs").mkdir()
    unlocked = safekeeping.opened(config, PASSPHRASE)
    safekeeping.change_passphrase(config, unlocked, "another five word passphrase", cost=CHEAP)
    recovery = safekeeping.renew_recovery(config, unlocked, cost=CHEAP)

    assert {path.name for path in config.home.iterdir()} == {"keys.json", "blobs"}
    for secret in ("another five word passphrase", recovery):
        assert unlock(config.home, secret).keys == unlocked.keys
    with pytest.raises(InputError):
        unlock(config.home, PASSPHRASE)
    with pytest.raises(InputError, match="12 to"):
        safekeeping.change_passphrase(config, unlocked, "short")


def test_a_process_of_ours_gets_the_keys_without_a_passphrase(config: Config) -> None:
    keys, _ = encrypted(config.home)
    pipe, told = pass_on(keys)
    code = "import sys, pathlib, pipeline.vault as v; print(v.keys_of(pathlib.Path(sys.argv[1])).id)"
    env = {**os.environ, **told, "PYTHONPATH": str(ROOT)}
    line = [sys.executable, "-c", code, str(config.home)]
    ended = subprocess.run(line, env=env, pass_fds=[pipe], capture_output=True, check=True)
    os.close(pipe)

    assert ended.stdout.decode().strip() == keys.id
    assert keys.files.hex() not in str(told)


def test_the_page_asks_for_the_passphrase(tmp_path: Path) -> None:
    encrypted(tmp_path / "home")
    pages = Pages(tmp_path / "home", PlainStages(_spoken))
    with pages:
        Store(tmp_path / "home").close()
        forget()
        asked = pages.get("/")
        assert asked.status_code == 403
        assert 'type="password"' in asked.text
        assert pages.get("/", headers={"accept": "application/json"}).status_code == 403
        wrong = pages.post("/unlock", json={"passphrase": "x"}, headers={"accept": "application/json"})
        assert wrong.status_code == 400
        assert pages.get("/").status_code == 403
        assert pages.post("/unlock", json={"passphrase": PASSPHRASE}).status_code == 204
        assert pages.get("/").status_code == 200


def test_a_locked_record_says_so_and_changes_nothing(config: Config) -> None:
    encrypted(config.home)
    forget()
    with pytest.raises(LockedError, match="safe open"):
        keys_of(config.home)
    with pytest.raises(InputError, match="holds a record already"):
        safekeeping.protect(config, PASSPHRASE)


def test_the_keyring_opens_the_record_only_where_it_was_switched_on(
    config: Config, monkeypatch: pytest.MonkeyPatch
) -> None:
    held_there: dict[tuple[str, str], str] = {}
    monkeypatch.setattr(system_keyring, "get_password", lambda *key: held_there.get(key))
    monkeypatch.setattr(system_keyring, "set_password", lambda *told: held_there.__setitem__(told[:2], told[2]))
    monkeypatch.setattr(system_keyring, "delete_password", lambda *key: held_there.pop(key))
    monkeypatch.setattr("pipeline.vault.keyfile.Cost", lambda: CHEAP)
    keys, _ = encrypted(config.home)
    forget()
    with pytest.raises(LockedError):
        keys_of(config.home)
    safekeeping.use_keyring(config, safekeeping.opened(config, PASSPHRASE), on=True)
    assert PASSPHRASE not in held_there.values()
    assert keys_of(config.home) == keys

    forget()
    held_there.update(dict.fromkeys(held_there, "what another program put there"))
    with pytest.raises(LockedError):
        keys_of(config.home)
    safekeeping.use_keyring(config, safekeeping.opened(config, PASSPHRASE), on=False)
    assert held_there == {}
    with pytest.raises(InputError, match="nobody of that name"):
        safekeeping.use_keyring(config, safekeeping.opened(config, PASSPHRASE), on=False)
