"""Human speech with transcripts and word times: five LibriVox sentences, in the source package of pocketsphinx 5.1.1.

The recordings are in the public domain (librivox.org); the times beside them are pocketsphinx's own alignment.
"""

import json
import re
import subprocess
import sys
import tarfile
from pathlib import Path

import pytest
from rapidfuzz.distance import Levenshtein, Opcodes

from pipeline.audio import open_sound
from pipeline.config import cache_folder
from pipeline.hear import Hearer, embedded_model
from pipeline.model import Transcript
from pipeline.vocabulary import load_vocabulary

PACKAGE = "pocketsphinx==5.1.1"
MAX_WER = 0.05
MAX_START_ERROR_MS = 100

pytestmark = [pytest.mark.model, pytest.mark.network]


@pytest.fixture(scope="module")
def librivox() -> Path:
    """The folder of the test set, fetched once into the user's cache; skips where the registry cannot be reached."""
    folder = cache_folder() / "published" / "pocketsphinx-5.1.1"
    if not list(folder.glob("*.tar.gz")):
        command = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--no-binary", "pocketsphinx"]
        try:
            done = subprocess.run([*command, "-d", str(folder), PACKAGE], capture_output=True, text=True, timeout=300)
        except (OSError, subprocess.TimeoutExpired) as error:
            pytest.skip(f"{PACKAGE} could not be fetched: {error}")
        if done.returncode:
            pytest.skip(f"{PACKAGE} could not be fetched: {done.stderr.strip().splitlines()[-1:]}")
    (archive,) = folder.glob("*.tar.gz")
    sounds = folder / "pocketsphinx-5.1.1" / "test" / "data" / "librivox"
    if not sounds.is_dir():
        with tarfile.open(archive) as tar:
            wanted = [m for m in tar.getmembers() if "/test/data/librivox/" in m.name]
            tar.extractall(folder, members=wanted, filter="data")
    return sounds


def words_of(text: str) -> list[str]:
    """Lower case, no punctuation, hyphens as spaces, "Mr." as it is spoken."""
    text = re.sub(r"\bmr\b", "mister", text.lower().replace("-", " ").replace("’", "'"))
    return re.findall(r"[a-z0-9']+", text)


@pytest.fixture(scope="module")
def pairs(librivox: Path) -> list[tuple[Transcript, list[tuple[str, int]]]]:
    """What was heard of each sentence, and the words as aligned: text, start in milliseconds."""
    hearer = Hearer(embedded_model(), load_vocabulary())
    found = []
    for path in sorted(librivox.glob("*_64kb-*.wav")):
        aligned = json.loads(path.with_suffix(".json").read_text())["w"]
        truth = [(w["t"].split("(")[0], round(w["b"] * 1000)) for w in aligned if not w["t"].startswith("<")]
        assert [t for t, _ in truth] == words_of(path.with_suffix(".txt").read_text())
        found.append((hearer.hear(open_sound(path)), truth))
    assert len(found) == 5
    return found


def spoken(heard: Transcript) -> list[tuple[str, int]]:
    return [(part, word.start_ms) for word in heard.words for part in words_of(word.text)]


def matched(heard: Transcript, truth: list[tuple[str, int]]) -> Opcodes:
    return Levenshtein.opcodes([t for t, _ in truth], [t for t, _ in spoken(heard)])


def test_word_error_rate(pairs: list[tuple[Transcript, list[tuple[str, int]]]]) -> None:
    errors = sum(Levenshtein.distance([t for t, _ in truth], [t for t, _ in spoken(heard)]) for heard, truth in pairs)
    assert errors / sum(len(truth) for _, truth in pairs) <= MAX_WER


def test_words_begin_where_they_are_spoken(pairs: list[tuple[Transcript, list[tuple[str, int]]]]) -> None:
    errors = []
    for heard, truth in pairs:
        said = spoken(heard)
        for step in matched(heard, truth):
            if step.tag == "equal":
                errors += [
                    abs(truth[a][1] - said[b][1])
                    for a, b in zip(
                        range(step.src_start, step.src_end), range(step.dest_start, step.dest_end), strict=True
                    )
                ]
    assert len(errors) > 60
    assert sorted(errors)[len(errors) // 2] <= MAX_START_ERROR_MS
