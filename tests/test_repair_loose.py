"""Candidates that only the sound may let hold: which are looked at, and that nothing holds without a scorer."""

from collections.abc import Mapping

import pytest

from pipeline.model import SpeechModel, Transcript, Word
from pipeline.repair import Proposal, propose, propose_loosely, repaired
from pipeline.vocabulary import Vocabulary, load_vocabulary


@pytest.fixture(scope="module")
def vocab() -> Vocabulary:
    return load_vocabulary()


def heard(text: str, unsure: Mapping[str, float]) -> Transcript:
    """One utterance; every word surely heard but those named."""
    words = tuple(
        Word(i=i, text=w, start_ms=i * 900, end_ms=i * 900 + 800, p=unsure.get(w, 0.98), source="free")
        for i, w in enumerate(text.split())
    )
    model = SpeechModel(name="test", sha256="0" * 64)
    return Transcript(id="t", recording="r", model=model, words=words, utterances=((0, len(words)),))


class Sound:
    """A scorer that finds ``right`` in the sound and nothing else; ``margin`` nats for it."""

    def __init__(self, right: str, margin: float = 3.0) -> None:
        self.right, self.value = right, margin
        self.asked: list[str] = []
        self.also: dict[str, float] = {}

    def margin(self, transcript: Transcript, proposal: Proposal) -> float | None:
        assert proposal.heard.split()[0] in transcript.quote(proposal.words).lower()
        self.asked.append(proposal.meant)
        return self.value if proposal.meant == self.right else self.also.get(proposal.meant, -20.0)


CASES = [
    ("Rooting is present and Gagry flexes anterior today", {"Gagry": 0.56, "flexes": 0.81}, "gag reflex is"),
    ("Temporal leases tight on both sides", {"Temporal": 0.7, "leases": 0.3}, "temporalis is"),
    ("and For Essex pine there is restriction", {"For": 0.7, "Essex": 0.6, "pine": 0.58}, "thoracic spine"),
    ("the main concern is lash and reflux", {"lash": 0.5}, "latch"),
    ("length and heads are conference of the skull", {"heads": 0.8, "conference": 0.8}, "head circumference"),
]


@pytest.mark.parametrize(("text", "unsure", "meant"), CASES)
def test_a_broken_term_is_held_against_the_sound(
    text: str, unsure: dict[str, float], meant: str, vocab: Vocabulary
) -> None:
    transcript = heard(text, unsure)
    sound = Sound(meant)
    done = repaired(transcript, vocab, sound)

    assert meant in sound.asked
    said = " ".join(word.text.lower() for word in done.words)
    assert meant in said
    assert [w.text for w in repaired(transcript, vocab, Sound("")).words] == [w.text for w in transcript.words]


def test_without_a_scorer_nothing_of_it_is_looked_at(vocab: Vocabulary) -> None:
    text, unsure, meant = CASES[0]
    assert meant not in " ".join(word.text.lower() for word in repaired(heard(text, unsure), vocab).words)


@pytest.mark.parametrize(
    "text",
    [
        "tummy time ten minutes and rooting is present",  # stands in the vocabulary
        "the other reflexes are brisk and symmetrical",
        "no left right positive negative six degrees",  # never touched
    ],
)
def test_what_was_heard_well_is_not_doubted(text: str, vocab: Vocabulary) -> None:
    transcript = heard(text, {})
    for proposal in propose_loosely(transcript, vocab):
        low, high = proposal.words
        assert not {"tummy", "time", "rooting", "reflexes"} & {w.text for w in transcript.words[low:high]}
        assert not {"left", "right", "no", "positive", "negative", "six", "degrees"} & {
            w.text for w in transcript.words[low:high]
        }


def test_sides_numbers_and_opposites_are_never_put_in(vocab: Vocabulary) -> None:
    transcript = heard("the hip a duck shun is lefter sick tea degrees flection", {"a": 0.3, "duck": 0.2, "shun": 0.2})
    meant = {word for proposal in propose_loosely(transcript, vocab) for word in proposal.meant.split()}
    assert not meant & {"abduction", "adduction", "flexion", "extension", "left", "right", "sixty"}


def test_a_word_heard_surely_needs_more_from_the_sound(vocab: Vocabulary) -> None:
    sure = propose_loosely(heard("the hip and the lash and reflux", {}), vocab)
    unsure = propose_loosely(heard("the hip and the lash and reflux", {"lash": 0.4}), vocab)
    pay = [next(p.pay for p in found if p.meant == "latch") for found in (sure, unsure)]
    assert pay[0] > pay[1] + 4


def test_the_better_of_two_overlapping_candidates_holds(vocab: Vocabulary) -> None:
    text, unsure, meant = CASES[2]

    sound = Sound(meant, 4.0)
    sound.also = {"thoracic": 1.0}
    done = repaired(heard(text, unsure), vocab, sound)
    assert "thoracic spine there" in " ".join(word.text.lower() for word in done.words)


def test_what_stands_in_one_utterance_does_not_hide_the_next(vocab: Vocabulary) -> None:
    """The first utterance ends in the beginning of a longer spoken form."""
    text = "The right joint is stiff. Sacral dimple is not present. Drill tension is moderate"
    transcript = heard(text, {}).model_copy(update={"utterances": ((0, 5), (5, 10), (10, 14))})

    assert ("drill", "dural") in {(p.heard, p.meant) for p in propose(transcript, vocab)}


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("Stepping reflexes present on the right", True),
        ("All his reflexes present as brisk", False),
        ("The stepping reflexes are present", False),
    ],
)
def test_a_named_reflex_and_is_may_have_been_heard_as_a_plural(text: str, asked: bool, vocab: Vocabulary) -> None:
    found = propose_loosely(heard(text, {}), vocab)
    assert any((p.heard, p.meant) == ("reflexes", "reflex is") for p in found) is asked


def test_a_term_that_stands_there_is_not_changed_into_another_form_of_it(vocab: Vocabulary) -> None:
    found = propose_loosely(heard("anterior fontanelle measures two by two", {"fontanelle": 0.4}), vocab)
    assert not [p for p in found if p.meant.startswith("fontanel")]


def test_another_word_that_would_be_lost_must_be_paid_for(vocab: Vocabulary) -> None:
    lost, kept = (
        next(p for p in propose_loosely(heard(text, unsure), vocab) if p.meant == "head circumference")
        for text, unsure in (
            ("length and heads are conference of the skull", {"conference": 0.5}),
            ("length and heads are conference of the skull", {"conference": 0.5, "heads": 0.5}),
        )
    )
    assert lost.heard == kept.heard == "heads are conference"
    assert lost.pay > kept.pay + 3
