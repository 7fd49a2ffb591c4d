"""Words -> tokens: every token knows its word, punctuation and silence; inflected words share a stem."""

import pytest
from extracting import narration, vocabulary

from pipeline.extract.tokens import Token, Tokeniser
from pipeline.model import Word


@pytest.fixture(scope="module")
def tokeniser() -> Tokeniser:
    return Tokeniser(vocabulary())


def _texts(tokens: list[Token]) -> list[str]:
    return [token.text for token in tokens]


@pytest.mark.parametrize(
    ("said", "texts"),
    [
        ("The Left HIP", ["the", "left", "hip"]),
        ("isn't she's Mum's", ["is", "n't", "she", "'s", "mum", "'s"]),
        ("isn’t", ["is", "n't"]),
        ("twenty-one C1/C2", ["twenty", "one", "c1", "c2"]),
        ("38.5", ["38.5"]),
        ("— ... ?!", []),
        ("", []),
    ],
)
def test_words_are_lowered_and_split(tokeniser: Tokeniser, said: str, texts: list[str]) -> None:
    assert _texts(tokeniser(narration(said).words)) == texts


@pytest.mark.parametrize(
    ("said", "stops"),
    [
        ("hip, tight.", [",", "."]),
        ("tight?", ["?"]),
        ("tight! loose;", [".", "."]),
        ("hip: tight", [",", ""]),
        ("“tight.”", ["."]),
        ("hip – tight", [",", ""]),
        ("hip ... tight", [".", ""]),
    ],
)
def test_punctuation_is_kept_on_the_token_before_it(tokeniser: Tokeniser, said: str, stops: list[str]) -> None:
    assert [token.stop for token in tokeniser(narration(said).words)] == stops


def test_a_token_points_to_its_word_and_carries_its_times(tokeniser: Tokeniser) -> None:
    transcript = narration("she isn't", "tight", pause_ms=900)

    tokens = tokeniser(transcript.words)

    assert [token.word for token in tokens] == [0, 1, 1, 2]
    assert [token.gap_ms for token in tokens] == [0, 0, 0, 900]
    for token in tokens:
        word = transcript.words[token.word]
        assert (token.start_ms, token.end_ms) == (word.start_ms, word.end_ms)


def test_interpolated_times_give_no_silence(tokeniser: Tokeniser) -> None:
    words = [Word(0, "hip", 0, 300, timing="cue"), Word(1, "tight", 5000, 5300, timing="cue")]

    assert [token.gap_ms for token in tokeniser(words)] == [0, 0]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("clunk", "clunks"),
        ("clunk", "clunking"),
        ("release", "released"),
        ("spit", "spitting"),
        ("press", "pressing"),
        ("baby", "babies"),
        ("rotate", "rotates"),
    ],
)
def test_inflections_share_a_stem(tokeniser: Tokeniser, one: str, other: str) -> None:
    assert tokeniser.stem(one) == tokeniser.stem(other)


@pytest.mark.parametrize(
    ("one", "other"), [("hip", "hop"), ("pelvis", "pelvi"), ("bruise", "bruit"), ("left", "leave")]
)
def test_different_words_do_not(tokeniser: Tokeniser, one: str, other: str) -> None:
    assert tokeniser.stem(one) != tokeniser.stem(other)


def test_an_endless_word_is_cut(tokeniser: Tokeniser) -> None:
    assert sum(len(text) for text in _texts(tokeniser(narration("a" * 100_000).words))) <= 200


def test_half_a_surrogate_pair_is_no_letter(tokeniser: Tokeniser) -> None:
    assert _texts(tokeniser(narration(["hip\ud800", "\udfff", "tight."]).words)) == ["hip", "tight"]
