"""What is kept of compiled words is the same as what is compiled, and is made anew where it could be anything else."""

from pathlib import Path
from typing import Any

import pytest

from pipeline import vocabulary
from pipeline.extract.lexicon import Lexicon, PhraseIndex
from pipeline.extract.tokens import Tokeniser
from pipeline.kept import kept, program_files, state_of, word_files
from pipeline.repair import compiling
from pipeline.repair.rules import load_rules
from pipeline.resources import data_path
from pipeline.vocabulary import load_vocabulary


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HANDSPOKEN_CACHE", str(tmp_path / "cache"))
    return tmp_path / "cache" / "words"


def _kept(state: str, made: list[str]) -> str:
    def make() -> str:
        made.append(state)
        return "left hip"

    return kept("some", state, make, str.encode, bytes.decode)


def test_made_once_for_a_state(cache: Path) -> None:
    made: list[str] = []
    assert ["left hip"] * 3 == [_kept("a", made), _kept("a", made), _kept("b", made)]
    assert made == ["a", "b"]
    assert ["some.json"] == [path.name for path in cache.iterdir()]
    assert 0o600 == (cache / "some.json").stat().st_mode & 0o777


@pytest.mark.parametrize("damage", [b"", b"left hip", b"a\nb\nc", b"\xff\n\xff\n\xff"])
def test_a_damaged_file_is_made_anew(cache: Path, damage: bytes) -> None:
    _kept("a", [])
    whole = (cache / "some.json").read_bytes()
    for data in (damage, whole[:-1], whole.replace(b"hip", b"lip"), whole + b" "):
        made: list[str] = []
        (cache / "some.json").write_bytes(data)
        assert _kept("a", made) == "left hip"
        assert (made, whole) == (["a"], (cache / "some.json").read_bytes())


def test_a_cache_that_cannot_be_written_costs_only_time(cache: Path) -> None:
    cache.parent.write_text("a file")
    assert _kept("a", []) == "left hip"


def test_the_state_changes_with_files_their_names_and_the_program(tmp_path: Path) -> None:
    (tmp_path / "sites.yaml").write_text("[]")
    one = state_of(*word_files([tmp_path]))
    assert one == state_of(*word_files([tmp_path]))
    (tmp_path / "sites.yaml").write_text("[ ]")
    two = state_of(*word_files([tmp_path]))
    (tmp_path / "sites.yaml").rename(tmp_path / "words.yaml")
    three = state_of(*word_files([tmp_path]))
    four = state_of(*word_files([tmp_path]), *program_files("vocabulary.py"))
    assert 4 == len({one, two, three, four})


@pytest.mark.usefixtures("cache")
def test_a_kept_vocabulary_is_the_one_that_was_read() -> None:
    vocabulary._load_shipped.cache_clear()
    read, again = load_vocabulary(data_path("vocab")), load_vocabulary()
    vocabulary._load_shipped.cache_clear()
    assert (read, read.hash) == (again, again.hash)
    assert (read, read.hash) == ((kept := load_vocabulary()), kept.hash)


@pytest.mark.usefixtures("cache")
def test_kept_repair_is_what_was_compiled() -> None:
    vocab, rules = load_vocabulary(), load_rules()
    made = compiling.compiled(vocab, rules)
    assert made.targets
    assert made.misheard
    assert made == compiling.compiled(vocab, rules)


@pytest.mark.usefixtures("cache")
def test_kept_phrases_are_what_was_compiled() -> None:
    vocab = load_vocabulary()
    one, other = (Lexicon(vocab, Tokeniser(vocab)) for _ in range(2))
    for made, again in zip(_indexes(one), _indexes(other), strict=True):
        assert made.phrases
        assert (made.phrases, made.exact, made.over_commas) == (again.phrases, again.exact, again.over_commas)


def _indexes(lexicon: Lexicon) -> list[PhraseIndex[Any]]:
    return [lexicon.terms, lexicon.results, lexicon.sites, *lexicon.cues.values()]
