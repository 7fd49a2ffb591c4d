"""Bad input: one clear line with what to do, exit code 1, and nothing on record or on disk is changed."""

import os
import shutil
import socket
import wave
from collections.abc import Callable, Iterator
from contextlib import nullcontext
from datetime import date
from pathlib import Path
from typing import NoReturn

import numpy as np
import pytest
from conftest import Ended
from invented import PlainStages, files_limited_to

from pipeline.config import Config, Settings
from pipeline.model import Transcript
from pipeline.resources import data_path
from pipeline.store import Store
from pipeline.visits import Told, draft

Handspoken = Callable[..., Ended]
RATE = 16_000


def _state(folder: Path) -> dict[str, bytes]:
    """Every file by path; of the database the events."""
    files = {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    if (folder / "home" / "record.db").exists():
        with Store(folder / "home") as store:
            files["events"] = repr(store.events()).encode()
    return {name: data for name, data in files.items() if "record.db" not in name}


@pytest.fixture
def refused(handspoken: Handspoken, tmp_path: Path, spoken: Callable[[str], Transcript]) -> Callable[..., str]:
    """Run a command that must be refused on top of a record with one visit; gives its one line."""
    (tmp_path / "kept.vtt").write_text("WEBVTT\n\n00:00.000 --> 00:02.000\nNo clunk in the hips.\n")
    told = Told(infant="robin", born=date(2026, 9, 20), on=date(2026, 11, 20))
    config = Config(home=tmp_path / "home", settings=Settings())
    draft(tmp_path / "kept.vtt", told, config, PlainStages(spoken), today=date(2026, 11, 20))

    def run(*args: str | Path, disk: int | None = None) -> str:
        before = _state(tmp_path)
        with files_limited_to(disk) if disk else nullcontext():
            ended = handspoken(*args)
        assert (1, "") == (ended.code, ended.out), ended
        assert before == _state(tmp_path)
        line = ended.err.splitlines()[-1]
        assert line.startswith("handspoken: ")
        assert "Traceback" not in ended.err
        assert 1 == sum(text.startswith("handspoken: ") for text in ended.err.splitlines())
        return line

    return run


def _sound(path: Path, samples: "np.typing.NDArray[np.int16]") -> Path:
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE)
        out.writeframes(samples.tobytes())
    return path


@pytest.mark.parametrize("command", ["draft", "transcribe"])
@pytest.mark.parametrize(
    "name", ["missing.wav", "missing.vtt", "folder", "text.wav", "empty.wav", "empty.opus", "text.mp3"]
)
def test_a_file_that_is_no_recording(command: str, name: str, refused: Callable[..., str], tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "empty.wav").touch()
    (tmp_path / "empty.opus").touch()
    for text in ("text.wav", "text.mp3"):
        (tmp_path / text).write_text("This is a letter, not a sound. " * 40)

    assert name in refused(command, tmp_path / name)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "WEBVTT"),
        (b"WEBVTT\n\n00:00.000 --> 00:02.000\n<b></b>\n", "no words"),
        (b"WEBVTT\n\nnonsense --> later\nwords\n", "bad.vtt"),
        (b"WEBVTT\n\n00:00.000 --> 00:02.000\n\xff\xfe\n", "UTF-8"),
    ],
)
@pytest.mark.parametrize("command", ["draft", "extract"])
def test_a_transcript_that_is_none(
    command: str, content: bytes, says: str, refused: Callable[..., str], tmp_path: Path
) -> None:
    (tmp_path / "bad.vtt").write_bytes(content)

    assert says in refused(command, "bad.vtt")


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="the superuser may read everything")
@pytest.mark.parametrize("name", ["closed.wav", "closed.vtt"])
def test_a_file_that_may_not_be_read(name: str, refused: Callable[..., str], tmp_path: Path) -> None:
    (tmp_path / name).touch(mode=0o200)

    assert name in refused("draft", name)


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (["--age", "a while"], "age"),
        (["--age", "-3 days"], "age"),
        (["--born", "2999-01-01"], "birth date"),
        (["--born", "20.9.2026"], "birth date"),
        (["--on", "2999-01-01"], "future"),
        (["--on", "yesterday"], "visit date"),
        (["--gestation", "3"], "gestation"),
        (["--infant", "robin", "--born", "2026-08-01"], "Two infants cannot share one name"),
        (["--infant", "Robin", "--age", "2 years"], "does not go with"),
        (["--to", "kept.vtt"], "folder"),
        (["--to", "kept.vtt/deeper"], "folder"),
    ],
)
def test_what_is_told_and_cannot_be(args: list[str], says: str, refused: Callable[..., str], tmp_path: Path) -> None:
    (tmp_path / "new.vtt").write_text("WEBVTT\n\n00:00.000 --> 00:02.000\nA clunk in the left hip.\n")

    assert says in refused("draft", "new.vtt", *args)


@pytest.mark.parametrize("size", [2_000, 30_000])
def test_a_disk_that_is_full(size: int, refused: Callable[..., str], tmp_path: Path) -> None:
    (tmp_path / "new.vtt").write_text("WEBVTT\n\n00:00.000 --> 00:02.000\nA clunk in the left hip.\n")

    line = refused("draft", "new.vtt", "--to", "out", disk=size)

    assert "nothing was changed" in line or "free some space" in line
    assert not (tmp_path / "out").exists()


def test_a_home_that_is_a_file(handspoken: Handspoken, tmp_path: Path) -> None:
    (tmp_path / "home").write_text("a file")
    (tmp_path / "new.vtt").write_text("WEBVTT\n\n00:00.000 --> 00:02.000\nA clunk in the left hip.\n")

    for args in (["draft", "new.vtt"], ["search", "hip"]):
        ended = handspoken(*args)
        assert (1, "") == (ended.code, ended.out)
        assert "home" in ended.err
    assert "a file" == (tmp_path / "home").read_text()


@pytest.mark.model
@pytest.mark.parametrize("loudness", [0, 3000])
def test_silence_and_noise_hold_no_words(loudness: int, refused: Callable[..., str], tmp_path: Path) -> None:
    noise = np.random.default_rng(1).normal(0, 1, 6 * RATE) * loudness
    path = _sound(tmp_path / "nothing.wav", noise.clip(-32768, 32767).astype(np.int16))

    assert ("silence" if loudness == 0 else "no speech") in refused("draft", path)


def _speech(seconds: int) -> "np.typing.NDArray[np.int16]":
    """The beginning of an invented visit."""
    from pipeline.audio import open_sound

    return np.concatenate(list(open_sound(data_path("samples") / "wren.opus").blocks()))[: seconds * RATE]


@pytest.mark.model
def test_a_torn_recording_is_used_as_far_as_it_goes(handspoken: Handspoken, tmp_path: Path) -> None:
    path = _sound(tmp_path / "torn.wav", _speech(30))
    path.write_bytes(path.read_bytes()[: 25 * RATE * 2])

    drafted = handspoken("draft", path, "--infant", "wren")
    written = handspoken("transcribe", path, "-o", "words.vtt")

    assert (3, 3) == (drafted.code, written.code)
    assert "torn.wav" in drafted.err.splitlines()[-1]
    assert "kept and used" in drafted.err
    assert "Note: " in drafted.out
    assert (tmp_path / "words.vtt").read_text().startswith("WEBVTT")
    assert 0 == handspoken("search", "fontanelle").code


@pytest.fixture
def fresh_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Nothing joined, nothing heard yet; the joined model is large, so it is removed at once."""
    monkeypatch.setenv("HANDSPOKEN_CACHE", str(tmp_path / "cache"))
    yield
    shutil.rmtree(tmp_path / "cache", ignore_errors=True)


@pytest.mark.model
@pytest.mark.usefixtures("fresh_cache")
def test_the_main_job_calls_no_network(handspoken: Handspoken, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """From an empty cache: the model is joined, loaded and used, and the note is written."""

    def no_network(*args: object, **_: object) -> NoReturn:
        raise AssertionError(f"the network was called: {args[1:]}")

    for name in ("connect", "connect_ex", "sendto", "bind"):
        monkeypatch.setattr(socket.socket, name, no_network)
    monkeypatch.setattr(socket, "getaddrinfo", no_network)
    monkeypatch.setattr(socket, "create_connection", no_network)

    ended = handspoken("draft", _sound(tmp_path / "visit.wav", _speech(15)), "--infant", "wren", "--age", "6 weeks")

    assert 0 == ended.code, ended.err
    assert "Note: " in ended.out
    assert list((tmp_path / "cache").rglob("model.bin"))
    with pytest.raises(AssertionError, match="network"):
        socket.create_connection(("127.0.0.1", 9))
