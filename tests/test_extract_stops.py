"""Stops inferred for utterances without any: where a statement is whole and the next begins."""

from functools import cache

import pytest
from extracting import lines, narration, vocabulary

from pipeline.extract.lexicon import Lexicon
from pipeline.extract.marks import Marker
from pipeline.extract.stops import Stops
from pipeline.extract.tokens import Tokeniser
from pipeline.extract.values import NumberReader


@cache
def _parts() -> tuple[Tokeniser, Marker, Stops]:
    tokeniser = Tokeniser(vocabulary())
    lexicon = Lexicon(vocabulary(), tokeniser)
    return tokeniser, Marker(lexicon, NumberReader(vocabulary())), Stops(lexicon)


def _stopped(said: str) -> str:
    tokeniser, marker, stops = _parts()
    tokens = tokeniser(narration(said).words)
    marked = marker(tokens, frozenset(range(len(tokens))), frozenset({len(tokens) - 1}), None)
    return " ".join(token.text + token.stop for token in stops(marked))


@pytest.mark.parametrize(
    "stopped",
    [
        "left hip tight. right hip loose",
        "shoulders move well. elbows fine. no crepitus",
        "the right masseter is tight. the left one is soft",
        "rotation left full, right limited",
        "rooting brisk to the left, weaker to the right",
        "side bending 35 right, 45 left",
        "temp is thirty seven. heart rate one thirty eight",
        "the hip is tight. okay the neck is soft",
        "the left hip is tight. she hates that",
        "is she sleeping well? yes she is",
        "any fevers? no",
        "the hip is fine. any fevers?",
        "flattening back here on the right. can you see it?",
        "rotation ninety left, eighty right. sorry other way round.",
        "hips stable. ortolani and barlow negative",
    ],
)
def test_a_statement_ends_where_the_next_begins(stopped: str) -> None:
    assert _stopped(stopped.translate({ord(c): None for c in ".,?"})) == stopped


@pytest.mark.parametrize(
    "said",
    [
        "small bruise on the left shin",
        "shoulders and elbows move freely",
        "the scm is tight on the right",
        "palmar grasp absent right hand",
        "reduced motion at t4",
        "i would not call this a torticollis",
        "flexion okay",
        "i 'd like the doctor to see the lump too",
    ],
)
def test_one_statement_stays_one(said: str) -> None:
    assert _stopped(said) == said


@pytest.mark.parametrize(
    ("said", "found"),
    [
        (
            "left scm tight right scm soft no lump",
            [
                "tissue.tension sternocleidomastoid left tight",
                "tissue.tension sternocleidomastoid right normal",
                "tissue.mass sternocleidomastoid right absent",
            ],
        ),
        ("if she gets a fever over thirty eight you call me", ["advice.return_if given"]),
        ("if you see blood in the diaper or green vomit that's straight to the er", ["advice.return_if given"]),
    ],
)
def test_items_are_read_without_punctuation(said: str, found: list[str]) -> None:
    assert lines(said) == found
