"""A redaction that is broken off, that others hold copies of, that concerns twins, given words or a typed text."""

import os
import shutil
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from destroying import found_in
from kept import STAGES, TODAY, verify

from pipeline import custody, handwritten, infants, moves, redaction
from pipeline.config import Config, Settings
from pipeline.errors import InputError
from pipeline.exchange import Wish, export, import_file
from pipeline.infants import Facts
from pipeline.model import WordCorrection
from pipeline.redaction import Where, wipe
from pipeline.redaction.wipe import MARK
from pipeline.store import Store, Writing, blobs
from pipeline.visits import Told, draft

NOW = datetime(2026, 11, 25, 18, 40, tzinfo=UTC)
SECRET, TYPED = "Nebuchadnezzar", "Melchizedekson"
SAID = f"Hips, no clunk. My neighbour {SECRET} came. Now her brother. A clunk."  # a word every half second
STRETCH = Where("0:01.5", "0:03.5")


@pytest.fixture(scope="module")
def twins(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recording of twins, the secret in the first one's part. Made once; each test works on a copy."""
    folder = tmp_path_factory.mktemp("twins")
    config, sound = Config(home=folder / "home", settings=Settings()), folder / "visit.opus"
    for name in ("wren", "robin"):
        infants.add(Facts(code_name=name), config, today=TODAY)
    sound.write_text(SAID)
    visit = draft(sound, Told(infant="wren"), config, STAGES, today=TODAY).record.visit
    moves.give_stretches(visit, ["0-3.5=wren", "5-end=robin"], config, STAGES)
    return config.home


@pytest.fixture
def config(twins: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Config:
    monkeypatch.setenv("HANDSPOKEN_CACHE", str(tmp_path / "cache"))
    shutil.copytree(twins, tmp_path / "home")
    return Config(home=tmp_path / "home", settings=Settings())


def _visit(config: Config, infant: str = "wren") -> str:
    with Store(config.home) as store:
        return next(visit.id for visit in store.visits() if visit.code_name == infant)


def _redact(config: Config, visit: str, where: Where = STRETCH) -> redaction.Goes:
    return redaction.redact(visit, where, "third-person", "A. Nyone", config, STAGES, now=NOW)


def _is_gone(config: Config) -> None:
    assert found_in(config.home, SECRET, TYPED) == []
    assert verify(config).faults == ()
    assert not (config.home / MARK).exists()


def test_both_twins_lose_it_and_keep_the_rest(config: Config) -> None:
    goes = _redact(config, _visit(config, "robin"))

    assert set(goes.visits) == {_visit(config), _visit(config, "robin")}
    _is_gone(config)
    for infant in ("wren", "robin"):
        assert (config.notes / _visit(config, infant) / "note.html").exists()
    before = verify(config).head
    custody.rebuild(config, STAGES)
    assert (verify(config).head, verify(config, before).faults) == (before, ())


KILLS: list[tuple[Any, str, int]] = [
    (Writing, "put_draft", 1),  # files are there, the record is not changed yet
    (redaction.job, "finish", 1),  # the record is changed
    (blobs, "shred", 2),
    (wipe, "redraft", 1),
    (Store, "scrub", 1),
]


@pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning")  # it only works and ends
@pytest.mark.parametrize(("where", "name", "nth"), KILLS, ids=lambda part: getattr(part, "__name__", str(part)))
def test_killed_in_any_phase_it_ends_whole(
    where: Any, name: str, nth: int, config: Config, monkeypatch: pytest.MonkeyPatch
) -> None:
    visit, done = _visit(config), getattr(where, name)
    calls = []

    def killed(*args: Any, **named: Any) -> Any:
        calls.append(name)
        return os._exit(9) if len(calls) == nth else done(*args, **named)

    if (child := os.fork()) == 0:
        try:
            monkeypatch.setattr(where, name, killed)
            _redact(config, visit)
        finally:
            os._exit(1)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9
    told = verify(config)
    assert told.sound, "killed, the record is whole"
    assert any("broken off" in fault.what for fault in told.faults)

    with suppress(InputError):  # nothing is left to destroy: it finished what was broken off
        _redact(config, visit)
    _is_gone(config)


def test_an_old_export_does_not_bring_it_back(config: Config, tmp_path: Path) -> None:
    export(None, Wish("json", sound=True), tmp_path / "out", config, STAGES)
    _redact(config, _visit(config))

    came = import_file(tmp_path / "out" / "record.json", config, STAGES)

    assert (came.new, came.destroyed) == (0, 0)
    _is_gone(config)


def test_another_computer_destroys_it_too_when_told_to(config: Config, tmp_path: Path) -> None:
    """With what was put in there meanwhile; and not before it is asked to."""
    export(None, Wish("json", sound=True), tmp_path / "out", config, STAGES)
    other = Config(home=tmp_path / "other", settings=Settings())
    import_file(tmp_path / "out" / "record.json", other, STAGES)
    _redact(config, _visit(config))
    with Store(other.home) as store, store.writing() as unit:
        put = WordCorrection(start_ms=2500, end_ms=3000, heard=SECRET, meant=TYPED)
        unit.append(put, visit=_visit(other), infant=unit.visit(_visit(other)).infant.id)
    export(None, Wish("json", sound=True), tmp_path / "new", config, STAGES)
    file = tmp_path / "new" / "record.json"
    assert found_in(tmp_path / "new", SECRET) == []

    with pytest.raises(InputError, match="--destroy"):
        import_file(file, other, STAGES)
    assert found_in(other.home, SECRET)
    assert import_file(file, other, STAGES, destroy=True).destroyed >= 1

    _is_gone(other)
    fresh = Config(home=tmp_path / "fresh", settings=Settings())
    import_file(file, fresh, STAGES)
    _is_gone(fresh)


def test_backups_hold_it_as_destroyed_and_an_older_one_catches_up(config: Config, tmp_path: Path) -> None:
    """An older backup still holds it; what was exported since tells it what was destroyed."""
    custody.backup(tmp_path / "old.zip", config, now=NOW)
    _redact(config, _visit(config))
    (tmp_path / "later").mkdir()
    custody.backup(tmp_path / "later" / "new.zip", config, now=NOW)
    assert found_in(tmp_path / "later", SECRET) == []
    export(None, Wish("json", sound=True), tmp_path / "out", config, STAGES)
    shutil.rmtree(config.home)

    custody.restore(tmp_path / "old.zip", config, step=lambda _what: None)
    assert found_in(config.home, SECRET)
    import_file(tmp_path / "out" / "record.json", config, STAGES, destroy=True)

    _is_gone(config)


@pytest.mark.parametrize("form", ["given", "typed"])
def test_given_words_and_typed_ones_go_too(form: str, config: Config, tmp_path: Path) -> None:
    if form == "given":
        vtt = tmp_path / "visit.vtt"
        vtt.write_text(f"WEBVTT\n\n00:00.000 --> 00:01.000\nNo clunk.\n\n00:01.000 --> 00:02.000\n{TYPED} came.\n")
        visit = draft(vtt, Told(infant="wren"), config, STAGES, today=TODAY).record.visit
        vtt.unlink()
    else:
        visit = handwritten.open_visit("wren", config, today=TODAY).id
        handwritten.write_visit(visit, f"No clunk.\n{TYPED} came.", config, STAGES, now=NOW)
    assert found_in(config.blobs, TYPED)

    _redact(config, visit, Where("0:01.2", "0:03"))

    assert found_in(config.home, TYPED) == []
    assert verify(config).faults == ()
