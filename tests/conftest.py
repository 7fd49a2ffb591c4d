"""Helpers of the whole suite: a transcript from a sentence, without sound or model."""

import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from pipeline.model import SpeechModel, Transcript, Word

WORD_MS = 500
os.environ["HANDSPOKEN_ENCRYPTION"] = "off"  # where a test does not say otherwise; also for what it starts
os.environ.pop("HANDSPOKEN_PASSPHRASE", None)


def pytest_addoption(parser: pytest.Parser) -> None:
    """``--update-golden``: write the notes under tests/golden anew instead of comparing with them."""
    parser.addoption("--update-golden", action="store_true", help="write tests/golden anew")


def _spoken(text: str) -> Transcript:
    digest = hashlib.sha256(text.encode()).hexdigest()
    words = tuple(
        Word(i=i, text=word, start_ms=i * WORD_MS, end_ms=(i + 1) * WORD_MS) for i, word in enumerate(text.split())
    )
    ends = [word.i + 1 for word in words if word.text.rstrip("\"')").endswith((".", "?", "!"))]
    if words and (not ends or ends[-1] != len(words)):
        ends.append(len(words))
    return Transcript(
        id=digest[:26],
        recording=digest,
        model=SpeechModel(name="given transcript", sha256=digest),
        words=words,
        utterances=tuple(zip([0, *ends[:-1]], ends, strict=True)) if ends else (),
        duration_ms=len(words) * WORD_MS,
    )


@pytest.fixture(scope="session")
def spoken() -> Callable[[str], Transcript]:
    """``spoken("the hips are fine.")``: one word every 0.5 s, stops kept on the words, an utterance a sentence."""
    return _spoken


class Ended(NamedTuple):
    """How a command ended."""

    code: int
    out: str
    err: str


@pytest.fixture
def handspoken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., Ended]:
    """``handspoken("draft", path)``: the real command, in this process, with ``tmp_path / "home"`` as its home."""
    from pipeline.cli import main

    monkeypatch.setenv("HANDSPOKEN_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)

    def run(*args: str | Path) -> Ended:
        capsys.readouterr()
        with pytest.raises(SystemExit) as ended:
            main([str(arg) for arg in args])
        captured = capsys.readouterr()
        return Ended(ended.value.code if isinstance(ended.value.code, int) else 0, captured.out, captured.err)

    return run
