"""A record in clear encrypted, and back: nothing lost, nothing left in clear, whenever it is broken off."""

import shutil
import sqlite3
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from kept import STAGES, contents_of, fill, verify
from vaulting import CHEAP, PASSPHRASE

from pipeline import contacts
from pipeline.capture import begin, find, kept
from pipeline.config import Config, Settings
from pipeline.converting import decrypt, encrypt
from pipeline.errors import InputError, StoreError
from pipeline.record import read_sound
from pipeline.store import Store
from pipeline.vault import forget, keys_of, swap
from pipeline.vault.keyfile import create
from pipeline.visits import Told

TODAY = date(2026, 11, 25)
SAMPLES = np.arange(-8000, 8000, dtype=np.int16)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record in clear with a bit of everything and a recording that a crash left open."""
    home = fill(tmp_path_factory.mktemp("whole"))
    capture = begin(Config(home=home, settings=Settings()), Told(infant="wren"), "Ann, mother", today=TODAY)
    capture.recorder.take(SAMPLES)
    capture.recorder.end()
    (home / "nameless.key").write_text("ab" * 32)
    return home


@pytest.fixture
def config(whole: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Config]:
    monkeypatch.setenv("HANDSPOKEN_CACHE", str(tmp_path / "cache"))
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
    shutil.copytree(whole, tmp_path / "home")
    yield Config(home=tmp_path / "home", settings=Settings())
    forget()


def quiet(_what: str) -> None:
    """Nobody listens."""


def turn_on(config: Config) -> None:
    unlocked, _ = create(PASSPHRASE, cost=CHEAP)
    encrypt(config, unlocked, step=quiet)


def told(config: Config) -> list[str]:
    with Store(config.home) as store:
        return [event.model_dump_json() for event in store.events()]


def test_a_record_is_encrypted_and_comes_back_as_it_was(config: Config) -> None:
    before, events = contents_of(config.home), told(config)
    (config.home / "hearer.log").write_text("drafted: wren")
    turn_on(config)

    assert config.encrypted
    assert told(config) == events
    assert verify(config).sound
    (open_one,) = kept(config)
    assert open_one.told.infant == "wren"
    (copied,) = contacts.copy_files(contacts.contacts("robin", config)[1], config.home.parent / "out", config)
    assert copied.read_text() == "A report that came."
    assert np.array_equal(read_sound(open_one.folder, 0, 16_000, ()), SAMPLES)
    words = (b"wren", b"Wren", b"clunk", b"Ann, mother", b"hips normal", b"ab" * 32, SAMPLES[:40].tobytes())
    for path in (path for path in config.home.rglob("*") if path.is_file() and path.name != "settings.toml"):
        assert not any(word in path.read_bytes() for word in words), path
    assert not (config.home / "notes").exists()
    assert not (config.home / swap.FOLDER).exists()
    assert (config.home / "record.db").stat().st_mode & 0o777 == 0o600

    decrypt(config, STAGES, step=quiet)
    assert not config.encrypted
    after = contents_of(config.home)
    lost = {name for name in before.keys() - after.keys() if not name.endswith(".lock")}
    assert {name.split("/")[0] for name in lost} <= {"notes"}  # of a signed visit the signed files alone
    same = {name for name in before.keys() & after.keys() if before[name] == after[name]}
    assert {"nameless.key", "settings.toml"} <= same
    assert before.keys() - lost - same <= {"rows"} | {name for name in before if name.endswith(("note.html", ".lock"))}
    assert (config.home / "notes").is_dir()
    assert told(config) == events
    assert verify(config).sound


@pytest.mark.parametrize("after", [0, 2, 4, 6, 8])
def test_broken_off_in_the_exchange_it_is_finished_by_the_next_command(
    config: Config, monkeypatch: pytest.MonkeyPatch, after: int
) -> None:
    events, rename, done = told(config), Path.rename, [0]

    def killed(path: Path, to: Path) -> Path:
        if done[0] == after:
            raise KeyboardInterrupt
        done[0] += 1
        return rename(path, to)

    with monkeypatch.context() as power_cut:
        power_cut.setattr(Path, "rename", killed)
        try:
            turn_on(config)
        except KeyboardInterrupt:
            assert (config.home / swap.FOLDER).exists()

    assert told(config) == events
    assert config.encrypted
    assert verify(config).sound
    assert not (config.home / swap.FOLDER).exists()


def test_broken_off_before_the_exchange_nothing_is_changed(config: Config, monkeypatch: pytest.MonkeyPatch) -> None:
    before = contents_of(config.home)
    with monkeypatch.context() as power_cut:
        power_cut.setattr("pipeline.converting.make_ready", lambda *_, **__: exec("raise KeyboardInterrupt"))
        with pytest.raises(KeyboardInterrupt):
            turn_on(config)
    assert contents_of(config.home) == before
    turn_on(config)
    assert verify(config).sound


def test_a_damaged_record_stays_as_it_is(config: Config) -> None:
    blob = next(path for path in (config.home / "blobs").rglob("*") if path.is_file())
    blob.write_bytes(b"altered")
    before = contents_of(config.home)
    with pytest.raises(StoreError, match="nothing was changed"):
        turn_on(config)
    assert contents_of(config.home) == before
    assert keys_of(config.home) is None


def test_whoever_waited_to_write_is_refused(config: Config, monkeypatch: pytest.MonkeyPatch) -> None:
    with Store(config.home) as before, monkeypatch.context() as held:
        held.setattr(swap, "_swap", lambda *_: None)
        turn_on(config)
        waiting = sqlite3.connect(config.home / "record.db")
        with pytest.raises(sqlite3.IntegrityError, match="converted"):
            waiting.execute("INSERT INTO event SELECT * FROM event LIMIT 1")
        waiting.close()
        before.close()


def test_a_recording_under_way_is_not_converted(config: Config) -> None:
    capture = begin(config, Told(), "Ann, mother", today=TODAY)
    with pytest.raises(InputError, match="recording"):
        turn_on(config)
    capture.recorder.end()
    assert find(capture.folder).state == "open"
