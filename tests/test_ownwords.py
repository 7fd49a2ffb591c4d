"""The clinician's own words: kept in the vocabulary's form, used by repair, listed, changed, removed. All invented."""

from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.config import Config, Settings
from pipeline.errors import InputError, NotFoundError
from pipeline.model import Transcript
from pipeline.ownwords import add_own_word, own_word, own_words, remove_own_word
from pipeline.repair import repaired
from pipeline.vocabulary import load_vocabulary

VOCAB = load_vocabulary()


@pytest.fixture
def config(tmp_path: Path) -> Config:
    return Config(home=tmp_path / "home", settings=Settings())


def test_what_was_put_right_once_is_heard_rightly_next_time(
    config: Config, spoken: Callable[[str], Transcript]
) -> None:
    words = spoken("The stern old master is tight on the left.")
    assert "sternocleidomastoid" not in repaired(words, VOCAB).quote((0, 5))

    add_own_word(config, VOCAB, "stern old master", "sternocleidomastoid")

    after = repaired(words, load_vocabulary(personal=config.own_words))
    assert "sternocleidomastoid" in " ".join(word.text for word in after.words)


def test_words_are_listed_replaced_and_removed(config: Config) -> None:
    add_own_word(config, VOCAB, "So Us", "psoas")
    add_own_word(config, VOCAB, "bar low", "Barlow")
    add_own_word(config, VOCAB, "bar low", "Ortolani")

    assert [word.heard for word in own_words(config)] == ["bar low", "so us"]
    assert own_word(config, "bar low").meant == "ortolani"
    remove_own_word(config, "BAR LOW")
    remove_own_word(config, "so us")
    assert own_words(config) == []
    load_vocabulary(personal=config.own_words)
    with pytest.raises(NotFoundError, match="nothing is kept"):
        remove_own_word(config, "bar low")


@pytest.mark.parametrize(
    ("heard", "meant", "told"),
    [
        ("", "psoas", "give what was heard"),
        ("psoas", "psoas", "the same"),
        ("so us", "flux capacitor", "near it are"),
        ("x" * 81, "psoas", "1 to 80"),
        ("barlow", "psoas", "a term of the vocabulary itself"),
    ],
)
def test_what_cannot_be_learnt_is_refused_and_nothing_is_written(
    heard: str, meant: str, told: str, config: Config
) -> None:
    with pytest.raises(InputError, match=told):
        add_own_word(config, VOCAB, heard, meant)
    assert not config.own_words[-1].exists()


def test_hostile_words_stay_words(config: Config) -> None:
    add_own_word(config, VOCAB, "a: [b] \u202e {c} # d 'e' \"f", "psoas")

    load_vocabulary(personal=config.own_words)
    (word,) = own_words(config)
    assert word.id.endswith("psoas")
    assert "\u202e" not in word.heard


def test_the_commands(handspoken: Callable[..., tuple[int, str, str]]) -> None:
    assert handspoken("words", "add", "so us", "psoas")[1] == "heard “so us”, meant “psoas”\n"
    assert "so us" in handspoken("words", "list", "--json")[1]
    assert handspoken("words", "edit", "nowhere", "psoas")[0] == 1
    assert handspoken("words", "edit", "so us", "Barlow")[1] == "heard “so us”, meant “barlow”\n"
    assert handspoken("words", "remove", "so us")[1] == "No words of your own are kept.\n"
