"""Utterances -> clauses: where one statement ends and the next begins, with and without punctuation."""

import pytest
from extracting import narration, vocabulary

from pipeline.extract.clauses import PAUSE_MS, Clause, Splitter
from pipeline.extract.lexicon import Lexicon
from pipeline.extract.tokens import Token, Tokeniser


@pytest.fixture(scope="module")
def tokeniser() -> Tokeniser:
    return Tokeniser(vocabulary())


@pytest.fixture(scope="module")
def splitter(tokeniser: Tokeniser) -> Splitter:
    return Splitter(Lexicon(vocabulary(), tokeniser))


def _parts(tokens: list[Token], clauses: list[Clause]) -> list[str]:
    return [" ".join(token.text for token in tokens[c.a : c.b]) for c in clauses]


@pytest.mark.parametrize(
    ("said", "parts"),
    [
        ("the left hip is tight.", ["the left hip is tight"]),
        ("left hip tight. right hip loose.", ["left hip tight", "right hip loose"]),
        ("is it tight? yes.", ["is it tight", "yes"]),
        ("left is fine but the right is tight", ["left is fine", "but the right is tight"]),
        ("she slept because she was tired.", ["she slept", "because she was tired"]),
        ("the hip is tight, she hates it.", ["the hip is tight", "she hates it"]),
        ("the hip is tight, and there's a clunk.", ["the hip is tight", "and there 's a clunk"]),
        ("no jaundice, no bruising or swelling.", ["no jaundice no bruising or swelling"]),
        ("shoulders, elbows and wrists move freely.", ["shoulders elbows and wrists move freely"]),
        ("no lump in it, though.", ["no lump in it though"]),
    ],
)
def test_clauses_end_where_a_new_statement_begins(
    tokeniser: Tokeniser, splitter: Splitter, said: str, parts: list[str]
) -> None:
    tokens = tokeniser(narration(said).words)

    assert _parts(tokens, splitter(tokens)) == parts


def test_a_long_silence_ends_a_sentence(tokeniser: Tokeniser, splitter: Splitter) -> None:
    for pause_ms, hard in ((PAUSE_MS - 1, [True]), (PAUSE_MS, [True, True])):
        tokens = tokeniser(narration("left hip", "tight", pause_ms=pause_ms).words)

        assert [clause.hard for clause in splitter(tokens)] == hard


def test_only_what_follows_the_last_comma_is_asked(tokeniser: Tokeniser, splitter: Splitter) -> None:
    tokens = tokeniser(narration("he was a thirty-seven weeker, no jaundice?").words)

    assert _parts(tokens, splitter(tokens)) == ["he was a thirty seven weeker", "no jaundice"]


def test_the_head_stands_after_connectives(tokeniser: Tokeniser, splitter: Splitter) -> None:
    tokens = tokeniser(narration("the left is fine, but the right is tight.").words)
    first, second = splitter(tokens)

    assert (first.hard, second.hard) == (True, False)
    assert (first.joint, second.joint) == ("", "but")
    assert tokens[second.head].text == "the"


def test_no_tokens_no_clauses(splitter: Splitter) -> None:
    assert splitter([]) == []
