"""What is cut without spaCy is cut as spaCy cuts it, as far as tokens go."""

import random
from itertools import product
from typing import Any

import pytest
import spacy

from pipeline.extract.splitting import Splitting
from pipeline.extract.tokens import Tokeniser
from pipeline.vocabulary import load_vocabulary

BEHIND = ("", ".", ",", "?", "...", "?!", "'s", "'s.", "'d", "'ll,", "'ve", "n't", "-out.", "4", "4kg", "'")
CORES = ("hip", "baby", "t4-t6", "c1", "twenty-three", "38.2", "3,400", "5lb", "6th", "12-week", "o'clock", "let", "it")
SPACY: Any = spacy.blank("en").tokenizer  # compiled code without types


@pytest.fixture(scope="module")
def tokenisers() -> tuple[Tokeniser, Tokeniser]:
    """One that asks spaCy only where it must, and one that always asks."""
    ours, spacys = (Tokeniser(load_vocabulary()) for _ in range(2))
    spacys._split = lambda text: [token.text for token in SPACY(text)]  # type: ignore[assignment]
    return ours, spacys


def test_words_are_cut_as_spacy_cuts_them(tokenisers: tuple[Tokeniser, Tokeniser]) -> None:
    ours, spacys = tokenisers
    special = [word for word in SPACY.rules if word == word.lower() and not word.isspace()]
    said = {word.lower() for say, _ in load_vocabulary().terms() for word in say.split()}
    chance = random.Random(1)
    words = [core + end for core, end in product(CORES, BEHIND)]
    words += [core + chance.choice(BEHIND) for core in (*special, *special, *sorted(said))]
    words += ["-".join(chance.sample(special, 2)) for _ in range(100)]
    assert [] == [word for word in words if ours._pieces(word) != spacys._pieces(word)]


def test_spacy_is_not_asked_for_plain_words(monkeypatch: pytest.MonkeyPatch) -> None:
    split = Splitting()
    assert split("don't") == ["do", "n't"]
    monkeypatch.setattr(Splitting, "_asked", lambda *_: pytest.fail("spaCy was asked"))
    for word in ("hip,", "t4-t6.", "38.2", "mum's", "y'all", "dont", "5lb", "c1"):
        assert split(word)
    with pytest.raises(pytest.fail.Exception):
        split("(hip)")
