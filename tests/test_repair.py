"""Repair by sound: what is put right, what never, and that nothing else changes."""

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import VocabularyError
from pipeline.model import Age, SpeechModel, Transcript, Word
from pipeline.repair import Proposal, accept, doubt_numbers, propose
from pipeline.repair.rules import load_rules
from pipeline.resources import data_path
from pipeline.vocabulary import Concept, ResultForm, Site, Vocabulary

Spoken = Callable[[str], Transcript]

_RESULTS = {
    "positive": ResultForm(label="positive", say=("positive", "clunk")),
    "negative": ResultForm(label="negative", say=("negative",)),
    "tight": ResultForm(label="tight", say=("tight",)),
}


def _concept(name: str, *say: str, misheard: dict[str, str] | None = None) -> Concept:
    return Concept(
        id=name, label=name, kind="finding", say=say, results=_RESULTS, misheard=misheard or {}, source="invented"
    )


def _site(name: str, *say: str, sound: tuple[str, ...] = (), misheard: dict[str, str] | None = None) -> Site:
    return Site(id=name, label=name, say=say, sound=sound, misheard=misheard or {}, source="invented")


@pytest.fixture(scope="module")
def vocab() -> Vocabulary:
    """A small vocabulary of its own, so that the shipped one may grow without changing these tests."""
    concepts = (
        _concept("test.ortolani", "ortolani", "ortolani test"),
        _concept("test.barlow", "barlow"),
        _concept("test.galeazzi", "galeazzi", misheard={"elite c": 'heard for "Galeazzi"'}),
        _concept("reflex.galant", "galant", misheard={"gallant": "same sound"}),
        _concept("reflex.babinski", "babinski"),
        _concept("reflex.palmar_grasp", "palmar grasp"),
        _concept("motion.abduction", "hip abduction", "abduction"),
    )
    sites = (
        _site("cervical_spine", "cervical spine", "neck"),
        _site("masseter", "masseter"),
        _site("scm", "scm", "sternocleidomastoid", misheard={"see them": "the letters run together"}),
        _site(
            "psoas", "psoas", sound=("S OW AH S",), misheard={"so as": 'heard for "psoas"', "dry so": '"right psoas"'}
        ),
        _site("fontanelle.anterior", "anterior fontanelle", "fontanelle"),
        _site("fontanelle.posterior", "posterior fontanelle"),
        _site("suture.lambdoid", "lambdoid suture"),
        _site("head", "head"),
        _site("tissue", "mass"),
    )
    return Vocabulary(concepts={c.id: c for c in concepts}, sites={s.id: s for s in sites}, cues={})


def repaired(transcript: Transcript, vocab: Vocabulary) -> str:
    done = accept(transcript, propose(transcript, vocab), None)
    return " ".join(word.text for word in done.words)


@pytest.mark.parametrize(
    ("heard", "meant"),
    [
        ("or Tolani is negative on both sides.", "ortolani is negative on both sides."),
        ("The serve a cool rotation is restricted.", "The cervical rotation is restricted."),
        ("The mass eater is tight on the left.", "The masseter is tight on the left."),
        ("The anterior font on L is open and flat.", "The anterior fontanelle is open and flat."),
        ("Anterior font nell is soft.", "Anterior fontanelle is soft."),
        ("The left see them is tight.", "The left scm is tight."),
        ("The right so as is tight and tender.", "The right psoas is tight and tender."),
        ("Hips, elite c negative, Barlow negative.", "Hips, galeazzi negative, Barlow negative."),
        ("The gallant reflex is positive on the right.", "The galant reflex is positive on the right."),
        ("palmer grasp is strong and symmetrical", "palmar grasp is strong and symmetrical"),
        ("The posterior font on L is closed.", "The posterior fontanelle is closed."),
        ("Barber in ski is positive.", "Babinski is positive."),
    ],
)
def test_misheard_terms_are_put_right(spoken: Spoken, vocab: Vocabulary, heard: str, meant: str) -> None:
    assert repaired(spoken(heard), vocab) == meant


@pytest.mark.parametrize(
    "text",
    [
        "My mother called again, or told Annie anyway.",
        "We tend to serve a cool lotion with the massage.",
        "We will see them tomorrow.",
        "He is a mass eater of cookies.",
        "The font on the label is too small.",
        "The barber in ski boots left right after lunch.",
        "The gallant knight rode home.",
        "so as you can guess I was late for dinner",
        "the palmer sold him a pink shirt on Monday",
    ],
)
def test_ordinary_talk_is_not_turned_into_anatomy(spoken: Spoken, vocab: Vocabulary, text: str) -> None:
    assert propose(spoken(text), vocab) == ()


@pytest.mark.parametrize("guarded", ["left", "right", "no", "not", "six", "8.6", "negative", "positive", "both", "c5"])
def test_guarded_words_are_in_no_proposal(spoken: Spoken, vocab: Vocabulary, guarded: str) -> None:
    transcript = spoken(f"reflex test or {guarded} tolani mass {guarded} eater tight restricted sacrum")

    for proposal in propose(transcript, vocab):
        assert guarded not in proposal.heard.split()
        assert guarded not in proposal.meant.split()


def test_a_level_letter_before_a_number_stays(spoken: Spoken, vocab: Vocabulary) -> None:
    transcript = spoken("tight anterior font on l five restricted")

    assert all("l" not in p.heard.split() for p in propose(transcript, vocab))


@pytest.mark.parametrize("heard", ["addiction", "abdaction", "adaction"])
def test_opposites_are_only_suggested_and_both_are_named(spoken: Spoken, vocab: Vocabulary, heard: str) -> None:
    transcript = spoken(f"The hips, {heard} is restricted and tight.")
    done = accept(transcript, propose(transcript, vocab), None)

    assert [w.text for w in done.words] == [w.text for w in transcript.words]
    assert {s.text for s in done.words[2].suggestions} == {"abduction", "adduction"}
    assert "term?" in done.words[2].flags


def test_a_scorer_cannot_lift_an_opposite(spoken: Spoken, vocab: Vocabulary) -> None:
    transcript = spoken("The hips, abdaction is restricted and tight.")
    done = accept(transcript, propose(transcript, vocab), _Always(5.0))

    assert done.words[2].text == "abdaction"


def test_what_stands_in_the_vocabulary_stays(spoken: Spoken, vocab: Vocabulary) -> None:
    text = "Ortolani and Barlow negative, the masseter and the cervical spine tight, galant positive, psoas tight."

    assert propose(spoken(text), vocab) == ()


def test_a_hidden_side_is_never_filled_in(spoken: Spoken, vocab: Vocabulary) -> None:
    """ "dry so" was "right psoas" once: the side is lost, so no repair may pretend otherwise."""
    done = accept(transcript := spoken("The pelvis, dry so is tight, restricted."), propose(transcript, vocab), None)

    assert "dry so" in " ".join(w.text for w in done.words)
    assert all("right" not in s.text for w in done.words for s in w.suggestions)


def test_no_repair_reaches_over_the_border_of_an_utterance(vocab: Vocabulary) -> None:
    words = tuple(
        Word(i=i, text=text, start_ms=i * 500, end_ms=i * 500 + 500)
        for i, text in enumerate(["the", "test", "or", "tolani", "is", "negative"])
    )
    whole = Transcript(
        id="x", recording="x", model=SpeechModel(name="m", sha256="0"), words=words, utterances=((0, 6),)
    )
    split = whole.model_copy(update={"utterances": ((0, 3), (3, 6))})

    assert any(p.words == (2, 4) for p in propose(whole, vocab))
    assert all(not p.words[0] < 3 < p.words[1] for p in propose(split, vocab))


def test_repaired_words_keep_time_and_what_was_heard(spoken: Spoken, vocab: Vocabulary) -> None:
    transcript = spoken("Today the or Tolani, is negative. The hips are fine.")
    done = accept(transcript, propose(transcript, vocab), None)
    word = done.words[2]

    assert (word.text, word.start_ms, word.end_ms) == ("ortolani,", 1000, 2000)
    assert word.source == "lexicon"
    assert word.heard[0].text == "or Tolani,"
    assert word.flags == ("repaired_term",)
    assert [w.i for w in done.words] == list(range(len(done.words)))
    assert done.utterances == ((0, 5), (5, 9))


def test_a_term_of_several_words_shares_out_the_time(spoken: Spoken) -> None:
    transcript = spoken("The lamb doyd sutra on the left is overriding, tight.")
    proposal = Proposal((1, 4), "lamb doyd sutra", "lambdoid suture", "suture.lambdoid", 0.9, "accept", "by hand")
    done = accept(transcript, [proposal], None)

    assert [w.text for w in done.words[1:3]] == ["lambdoid", "suture"]
    assert (done.words[1].start_ms, done.words[2].end_ms) == (500, 2000)
    assert done.words[1].end_ms == done.words[2].start_ms
    assert all("repaired_term" in w.flags for w in done.words[1:3])


class _Always:
    """A scorer that gives every change the same margin."""

    def __init__(self, margin: float | None) -> None:
        self._margin = margin

    def margin(self, transcript: Transcript, proposal: Proposal) -> float | None:
        return self._margin if transcript.words and proposal.heard else None


@pytest.mark.parametrize(
    ("score", "margin", "holds"),
    [(0.5, -4.9, True), (0.5, -5.1, False), (0.6, -7.9, True), (0.6, -8.1, False), (0.6, None, True)],
)
def test_the_margin_of_the_sound_decides(spoken: Spoken, score: float, margin: float | None, holds: bool) -> None:
    """The more alike, the less the sound must say for it (measured on synthetic speech; vocab/repair.yaml)."""
    transcript = spoken("the mass eater is tight")
    proposal = Proposal((1, 3), "mass eater", "masseter", "masseter", score, "accept", "by hand")
    done = accept(transcript, [proposal], _Always(margin))

    assert (done.words[1].text == "masseter") is holds
    if not holds:
        assert [s.text for s in done.words[1].suggestions] == ["masseter"]
        assert done.words[1].flags == done.words[2].flags == ("term?",)


def test_a_scorer_may_lift_a_suggestion(spoken: Spoken) -> None:
    transcript = spoken("the mass eater is tight")
    proposal = Proposal((1, 3), "mass eater", "masseter", "masseter", 0.45, "suggest", "by hand")

    assert accept(transcript, [proposal], None) == transcript  # too unlike to ask about
    assert accept(transcript, [replace(proposal, score=0.47)], None).words[1].flags == ("term?",)
    assert accept(transcript, [proposal], _Always(0.0)).words[1].text == "masseter"
    assert accept(transcript, [proposal], _Always(0.0)).words[1].margin == 0.0
    assert accept(transcript, [replace(proposal, liftable=False)], _Always(0.0)).words[1].text == "mass"


def test_what_the_recording_refused_stays_refused_without_it(spoken: Spoken, vocab: Vocabulary) -> None:
    transcript = spoken("The mass eater is tight on the left, restricted.")
    refused = accept(transcript, propose(transcript, vocab), _Always(-20.0))

    assert accept(refused, propose(refused, vocab), None) == refused
    assert refused.words[1].text == "mass"
    assert accept(refused, propose(refused, vocab), _Always(0.0)).words[1].text == "masseter"


@pytest.mark.parametrize("span", [(0, 99), (3, 3), (4, 2), (-1, 1), (5, 7)])
def test_proposals_that_do_not_fit_the_transcript_are_left_out(spoken: Spoken, span: tuple[int, int]) -> None:
    transcript = spoken("The hips are fine today, yes. The masseter is tight.")  # the border lies at word 6
    proposal = Proposal(span, "x", "masseter", "masseter", 0.9, "accept", "by hand")

    assert accept(transcript, [proposal], None) == transcript


@pytest.mark.parametrize(
    ("text", "age", "suggested"),
    [
        ("He weighs 8.6 on my scale today.", Age(days=42), {"8 lb 6 oz": True, "8.6 kg": False}),
        ("Her weight is 8.6 today.", None, {"8 lb 6 oz": True, "8.6 kg": True}),
        ("Birth weight 3.4, on the form.", Age(days=10), {"3 lb 4 oz": False, "3.4 kg": True}),
        ("She was £8.6 last week.", Age(days=42), {"8 lb 6 oz": True, "8.6 kg": False}),
        ("Her birth weight was 6.8, she says.", Age(days=300), {"6 lb 8 oz": True, "6.8 kg": False}),
        ("He is 8.6 pounds now.", Age(days=42), {"8 lb 6 oz": True, "8.6 lb": True}),
        ("Weight 4.5 kilos on the scale.", Age(days=42), {}),
        ("The head is 38.5 round, she weighs 4 kilos.", Age(days=42), {}),
        ("The hip opens to 8.6 or so.", Age(days=42), {}),
    ],
)
def test_a_number_that_may_be_two_is_asked(
    spoken: Spoken, text: str, age: Age | None, suggested: dict[str, bool]
) -> None:
    """Source of the plausible weights: WHO Child Growth Standards, from memory (vocab/repair.yaml)."""
    transcript = spoken(text)
    done = doubt_numbers(transcript, age)
    asked = [word for word in done.words if "number?" in word.flags]

    assert [w.text for w in done.words] == [w.text for w in transcript.words]
    assert {s.text: s.score > 0.5 for w in asked for s in w.suggestions} == suggested
    assert doubt_numbers(done, age) == done


# ---------------------------------------------------------------- properties

_PIECES = (
    "or tolani mass eater serve a cool font on l see them left right no six 8.6 negative tight test reflex the is "
    "and restricted barber in ski elite c so as palmer grasp gallant abdaction sacrum . ? , — ’ \x00 é 漢 hip-hop "
    "Ortolani head lag masseter tomorrow cookies thoracic"
)
_SPEECH = st.lists(st.one_of(st.sampled_from(_PIECES.split(" ")), st.text(max_size=6)), max_size=40)


@st.composite
def transcripts(draw: st.DrawFn) -> Transcript:
    texts = [text for piece in draw(_SPEECH) for text in piece.split()]
    words = tuple(
        Word(
            i=i,
            text=text,
            start_ms=i * 300,
            end_ms=i * 300 + 300,
            p=draw(st.sampled_from([0.2, 0.6, 0.95])),
            source=draw(st.sampled_from(["free", "hot", "given"])),
        )
        for i, text in enumerate(texts)
    )
    cuts = sorted(draw(st.sets(st.integers(1, max(1, len(words) - 1)), max_size=5))) if len(words) > 1 else []
    edges = [0, *cuts, len(words)]
    spans = tuple((a, b) for a, b in pairwise(edges) if a < b)
    return Transcript(id="x", recording="x", model=SpeechModel(name="m", sha256="0"), words=words, utterances=spans)


@given(transcripts())
@settings(max_examples=200, deadline=None)
def test_repair_of_any_text_holds_its_promises(vocab: Vocabulary, transcript: Transcript) -> None:
    proposals = propose(transcript, vocab)
    accepted = [p for p in proposals if p.kind == "accept"]
    done = accept(transcript, proposals, None)

    # proposals do not overlap and stay inside one utterance
    assert all(a.words[1] <= b.words[0] for a, b in pairwise(proposals))
    assert all(any(u0 <= p.words[0] < p.words[1] <= u1 for u0, u1 in transcript.utterances) for p in proposals)
    # words outside the accepted stretches are untouched, in order
    inside = {i for p in accepted for i in range(*p.words)}
    kept = [w.text for w in transcript.words if w.i not in inside]
    assert [w.text for w in done.words if "repaired_term" not in w.flags] == kept
    # utterances partition the words; indices and times run on
    assert [u for span in done.utterances for u in range(*span)] == list(range(len(done.words)))
    assert len(done.utterances) == len(transcript.utterances)
    assert [w.i for w in done.words] == list(range(len(done.words)))
    assert all(a.end_ms <= b.start_ms for a, b in pairwise(done.words))
    # once is enough
    assert accept(done, propose(done, vocab), None) == done


# ---------------------------------------------------------------- data


def test_the_shipped_rules_load_and_hold_together() -> None:
    rules = load_rules()

    assert rules.words["never"] >= {"left", "right", "no", "not", "positive", "negative"}
    assert rules.words["numbers"] >= {"six", "fifteen", "hundred", "first"}
    assert rules.opposites["abduction"] == {"adduction"}
    assert rules.figures.unknown < rules.figures.known <= rules.figures.known_alone <= rules.figures.common_alone
    assert not rules.words["chat"] & (rules.words["clinical"] | rules.words["examining"])
    assert [band.months for band in rules.weights] == sorted(band.months for band in rules.weights)


def test_faults_in_the_rules_are_told_all_at_once(tmp_path: Path) -> None:
    text = (data_path("vocab") / "repair.yaml").read_text(encoding="utf-8")
    text = text.replace("- id: chat", "- id: chatter")
    (tmp_path / "repair.yaml").write_text(text, encoding="utf-8")

    with pytest.raises(VocabularyError) as caught:
        load_rules(tmp_path)

    message = str(caught.value)
    assert "'chat' is missing" in message
    assert "no row 'chatter'" in message
    assert "english.txt" in message
