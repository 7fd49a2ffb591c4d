"""``handspoken model``: list, add, fetch; and ``--model``."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import Ended

from pipeline import speechmodels


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "larger"
    made.mkdir()
    for name in ("model.bin", "config.json", "tokenizer.json"):
        (made / name).write_bytes(b"not really")
    return made


def test_a_model_is_added_listed_and_used_by_name(handspoken: Callable[..., Ended], folder: Path) -> None:
    added = handspoken("model", "add", folder, "--name", "mine")
    assert "--model mine" in added.out

    listed = json.loads(handspoken("model", "list", "--json").out)
    assert [(m["name"], m["used"], m["fault"]) for m in listed] == [("whisper-base", True, ""), ("mine", False, "")]
    assert len({m["sha256"] for m in listed}) == 2


def test_a_model_in_the_settings_that_is_not_there_is_told(handspoken: Callable[..., Ended], tmp_path: Path) -> None:
    (tmp_path / "home").mkdir()
    (tmp_path / "home" / "settings.toml").write_text('model = "gone"\n')
    ended = handspoken("model", "list")
    assert ended.code == 1
    assert "! gone: gone: is neither" in ended.out


def test_another_model_is_loaded_and_refused_in_one_line(handspoken: Callable[..., Ended], folder: Path) -> None:
    clip = Path(__file__).parent / "sounds" / "hips.ogg"
    ended = handspoken("transcribe", clip, "--model", folder)
    assert ended.code == 1
    assert "the speech model cannot be loaded" in ended.err


def test_fetch_asks_before_it_uses_the_network(
    handspoken: Callable[..., Ended], monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*_: object) -> None:
        raise AssertionError

    monkeypatch.setattr(speechmodels, "fetch_model", never)
    ended = handspoken("model", "fetch", "small.en")  # nobody answers
    assert ended.code == 1
    assert "This uses the network" in ended.out + ended.err
