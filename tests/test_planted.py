"""What somebody with access to the data folder plants or sets: links, a wide umask, a clock that goes backwards."""

import os
import stat
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from kept import STAGES, fill, verify

from pipeline import capture, contacts, custody
from pipeline.config import Config, Settings, load_config
from pipeline.errors import InputError, StoreError
from pipeline.exchange import Wish, export
from pipeline.record import FLAC, LOG, PCM, Ask, Writer, ask, destroy, seal
from pipeline.redaction import wipe
from pipeline.search import ask as search
from pipeline.store import Store, store
from pipeline.store.reading import DATABASE
from pipeline.vault.keyfile import Cost, create
from pipeline.visits import Told, draft

NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)
TODAY = date(2026, 11, 25)


@pytest.fixture
def config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Config:
    """A record, and a cache of its own beside it."""
    monkeypatch.setenv("HANDSPOKEN_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("HANDSPOKEN_HOME", str(tmp_path / "home"))
    fill(tmp_path)
    return Config(home=tmp_path / "home", settings=Settings())


@pytest.fixture
def outside(tmp_path: Path) -> Iterator[Path]:
    """A folder of somebody's that must stay as it is."""
    folder = tmp_path / "outside"
    (folder / "deeper").mkdir(parents=True)
    for name in (PCM, LOG, "rec.lock", "keys.json", DATABASE, "deeper/letter"):
        (folder / name).write_bytes(b"mine" * 100)
    before = _contents(folder)
    yield folder
    assert before == _contents(folder)


def _contents(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize(
    "name", ["blobs", "notes", "recordings", DATABASE, "keys.json", "blobs/ab", "notes/x", "recordings/x"]
)
def test_a_record_with_a_link_in_it_is_not_used(name: str, config: Config, outside: Path) -> None:
    planted = config.home / name
    if planted.exists():
        planted.rename(config.home / "moved")
    planted.parent.mkdir(exist_ok=True)
    planted.symlink_to(outside / planted.name if (outside / planted.name).exists() else outside)

    with pytest.raises(InputError, match="follows none") as refused:
        load_config()
    assert str(planted) in str(refused.value)


def test_what_is_destroyed_is_not_looked_for_behind_links(config: Config, outside: Path) -> None:
    visit = next(config.notes.iterdir())
    visit.rename(config.home / "moved")
    visit.symlink_to(outside)
    wipe.note_due(config, [visit.name])
    with Store(config.home) as there:
        wipe.finish(there, config, STAGES)
    assert not visit.is_symlink()
    assert list(visit.iterdir())

    config.blobs.rename(config.home / "moved2")
    config.blobs.symlink_to(outside)
    with Store(config.home) as there, pytest.raises(StoreError, match="link"):
        there.blobs.destroy_others([])


def test_a_recording_writes_and_destroys_nothing_behind_links(config: Config, outside: Path) -> None:
    recordings = config.home / "recordings"
    recordings.mkdir()
    (recordings / "all").symlink_to(outside)
    assert list(capture.kept(config)) == []
    with pytest.raises(InputError, match="link"):
        destroy(recordings / "all")
    for name in (PCM, LOG, "rec.lock"):
        folder = recordings / f"one-{name}"
        folder.mkdir()
        (folder / name).symlink_to(outside / name)
        with pytest.raises(InputError, match="link"):
            Writer(folder, lambda: NOW)
    (recordings / f"one-{PCM}" / "rec.asked").symlink_to(outside / "deeper" / "letter")
    with pytest.raises(OSError, match="symbolic links"):
        ask(recordings / f"one-{PCM}", Ask(what="mark"))
    destroy(recordings / f"one-{PCM}")
    assert not (recordings / f"one-{PCM}").exists()

    made = _recorded(config)
    (made / "rec.part").symlink_to(outside / "keys.json")
    assert not seal(made).path.is_symlink()


def test_keys_are_written_over_a_link_and_not_through_it(tmp_path: Path, outside: Path) -> None:
    (tmp_path / "new").mkdir()
    (tmp_path / "new" / "keys.json").symlink_to(outside / "keys.json")

    create("seven plain wooden spoons", cost=Cost(memory_kib=64, passes=1, lanes=1))[0].write(tmp_path / "new")

    assert not (tmp_path / "new" / "keys.json").is_symlink()


def _recorded(config: Config) -> Path:
    begun = capture.begin(config, Told(), "Ann, mother", today=TODAY, now=lambda: NOW)
    for _ in range(10):
        begun.recorder.take(np.ones(1600, dtype=np.int16))
    begun.recorder.end()
    return begun.folder


def test_all_that_is_kept_is_its_owners_alone_whatever_the_umask(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A whole flow under umask 0; what is given out beside the record too."""
    monkeypatch.setenv("HANDSPOKEN_CACHE", str(tmp_path / "all" / "cache"))
    (tmp_path / "all").mkdir(mode=0o700)
    before = os.umask(0)
    try:
        config = Config(home=fill(tmp_path / "all"), settings=Settings())
        (config.home / "settings.toml").chmod(0o600)  # fill has written it as an editor would
        (tmp_path / "all" / "visit.opus").unlink()
        folder = _recorded(config)
        ask(folder, Ask(what="mark"))
        seal(folder)
        from pipeline.live.board import BoardView, write_board

        write_board(folder, BoardView(open=("hips",)), None)
        (tmp_path / "words.vtt").write_text("WEBVTT\n\n00:00.000 --> 00:02.000\nA clunk.\n")
        draft(tmp_path / "words.vtt", Told(infant="robin"), config, STAGES, today=TODAY, to=tmp_path / "all" / "to")
        search("clunk", config, today=TODAY)
        export(None, Wish(form="json", sound=True), tmp_path / "all" / "out", config, STAGES)
        custody.backup(tmp_path / "all" / "b.zip", config, now=NOW)
        assert verify(config).sound
    finally:
        os.umask(before)

    assert (folder / FLAC).exists()
    wide = {
        str(path): oct(stat.S_IMODE(path.stat().st_mode))
        for path in (tmp_path / "all").rglob("*")
        if stat.S_IMODE(path.stat().st_mode) != (0o700 if path.is_dir() else 0o600)
    }
    assert wide == {}


def test_a_clock_set_back_changes_neither_order_nor_proof(config: Config, monkeypatch: pytest.MonkeyPatch) -> None:
    with Store(config.home) as there:
        before = there.events()

    class Back(datetime):
        @classmethod
        def now(cls, tz: object = None) -> "Back":
            return cls(2020, 1, 1, tzinfo=UTC) if tz is not None else cls(2020, 1, 1)

    monkeypatch.setattr(store, "datetime", Back)
    contacts.add("robin", "call", "after the clock was set back", config, today=TODAY)
    monkeypatch.undo()
    contacts.add("robin", "call", "and after it was put right", config, today=TODAY)

    with Store(config.home) as there:
        after = there.events()
    assert after[: len(before)] == before
    back, right = after[len(before) :]
    assert (back.seq, right.seq) == (before[-1].seq + 1, before[-1].seq + 2)
    assert back.at < before[-1].at - timedelta(days=365) < right.at
    assert verify(config).faults == ()
    custody.rebuild(config, STAGES)
    assert verify(config).faults == ()
