"""Fusion, scoring, sides and guards on made-up passes: no model, no sound."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import VocabularyError
from pipeline.hear.engine import Alignment, Decoded, Encoding
from pipeline.hear.fuse import fuse
from pipeline.hear.guard import fault
from pipeline.hear.lists import load_lists
from pipeline.hear.score import ChunkScorer, dressed
from pipeline.hear.sides import LEVEL, LOW, SIDE, check
from pipeline.hear.terms import Terms, plain
from pipeline.hear.words import TimedWord, split, timed
from pipeline.model import SpeechModel, Transcript, Word
from pipeline.vocabulary import Concept, ResultForm, Vocabulary

KEPT = load_lists().kept


def concept(name: str, *say: str, misheard: Mapping[str, str] | None = None) -> Concept:
    return Concept(
        id=name,
        label=name,
        kind="finding",
        say=say,
        results={"found": ResultForm(label="found")},
        misheard=dict(misheard or {}),
        source="made up for this test",
    )


@pytest.fixture(scope="module")
def vocab() -> Vocabulary:
    entries = [
        concept("masseter", "masseter", misheard={"mass eater": "near", "mass it are": "near"}),
        concept("galeazzi", "galeazzi", "galeazzi sign", misheard={"gay elite c": "near"}),
        concept("occiput", "occiput", "gap in ~ occiput"),
        concept("hand", "hand", "left hand"),
        concept("fontanelle", "anterior fontanelle"),
    ]
    return Vocabulary(concepts={e.id: e for e in entries}, sites={}, cues={})


@pytest.fixture(scope="module")
def terms(vocab: Vocabulary) -> Terms:
    return Terms(vocab)


class Engine:
    """Tokens are characters; a text is the likelier the fewer of ``unlikely``'s words it holds (nats each)."""

    def __init__(self, unlikely: Mapping[str, float] | None = None) -> None:
        self.unlikely = dict(unlikely or {})
        self.asked = 0

    def tokens(self, text: str) -> list[int]:
        return [ord(c) for c in text]

    def text(self, tokens: Sequence[int]) -> str:
        return "".join(map(chr, tokens))

    def align(self, _encoding: Encoding, tokens: Sequence[int], _prefix: Sequence[int] = ()) -> Alignment:
        self.asked += 1
        p = np.ones(len(tokens))
        at = 0
        for word in self.text(tokens).split(" ")[1:]:
            p[at + 1] = math.exp(-self.unlikely.get(plain(word), 0.0))
            at += len(word) + 1
        return Alignment(p, np.arange(len(tokens), dtype=np.int64), len(tokens))


def scorer(unlikely: Mapping[str, float] | None = None) -> ChunkScorer:
    engine: Any = Engine(unlikely)
    judge = ChunkScorer(engine, Encoding(None, 0), [1, 2])
    judge.clinical = True
    return judge


def heard(text: str, p: float = 0.9, step: int = 400) -> list[TimedWord]:
    return [TimedWord(w, k * step, (k + 1) * step, p, (k, k + 1)) for k, w in enumerate(text.split())]


def text(words: Sequence[Word]) -> str:
    return " ".join(word.text for word in words)


# ---------------------------------------------------------------- terms


def test_terms_are_found_longest_first_and_everyday_words_are_not(terms: Terms) -> None:
    words = ["the", "galeazzi", "sign", "and", "galeazzi", "with", "the", "hand", "and", "anterior", "fontanelle"]
    assert terms.find(words) == [(1, 3), (4, 5), (9, 11)]


def test_hotwords_begin_with_the_most_misheard_and_stay_below_the_limit(terms: Terms) -> None:
    tokens = Engine().tokens
    (one,) = terms.hotwords(tokens, 30, 1)
    assert Engine().text(one).startswith(" masseter, galeazzi,")
    assert len(one) <= 30
    both = terms.hotwords(tokens, 30, 2, ["torticollis"])
    assert Engine().text(both[0]).startswith(" torticollis,")
    assert Engine().text(both[1]).startswith(" masseter,")
    assert terms.hotwords(tokens, 3, 1) == [[]]


def test_a_term_that_a_pass_heard_by_half_is_made_whole(terms: Terms) -> None:
    whole, half = terms.straightened(heard("galezi sign is negative, the barn is low on hay"))
    assert [w.text for w in whole[:3]] == ["galeazzi", "sign", "is"]
    assert [w.text for w in whole[3:]] == ["negative,", "the", "barn", "is", "low", "on", "hay"]
    assert half == {0, 1}


# ---------------------------------------------------------------- fusion


def test_a_term_of_the_hot_pass_takes_the_place_of_what_sounds_like_it(terms: Terms) -> None:
    words = fuse(heard("The right massiter, is tight."), [heard("The right masseter is tight.")], terms, scorer(), KEPT)
    assert text(words) == "The right masseter, is tight."
    assert [w.source for w in words] == ["free", "free", "hot", "free", "free"]
    assert [h.text for h in words[2].heard] == ["massiter,", "masseter"]
    assert words[2].agree is False
    assert words[0].agree is True
    assert [w.i for w in words] == list(range(5))


def test_what_the_sound_does_not_bear_out_stays_as_heard_with_a_suggestion(terms: Terms) -> None:
    words = fuse(
        heard("The mass eater is big."), [heard("The masseter is big.")], terms, scorer({"masseter": 40.0}), KEPT
    )
    assert text(words) == "The mass eater is big."
    assert [s.text for w in words for s in w.suggestions] == ["masseter"]


@pytest.mark.parametrize(
    ("free", "hot"),
    [
        ("the left hand is fine", "the masseter is fine"),
        ("no occiput ridge", "masseter occiput ridge"),
        ("at 4 it was", "at masseter it was"),
        ("the moon is blue", "the galeazzi is blue"),
        ("nothing like it at all in this", "galeazzi in this"),
    ],
)
def test_sides_denials_numbers_and_unlike_words_are_never_replaced(terms: Terms, free: str, hot: str) -> None:
    assert text(fuse(heard(free), [heard(hot)], terms, scorer(), KEPT)) == free


def test_other_words_of_the_hot_pass_are_ignored_and_nothing_is_dropped(terms: Terms) -> None:
    free = heard("she moves freely and likes it there")
    assert text(fuse(free, [heard("she likes it"), []], terms, scorer(), KEPT)) == "she moves freely and likes it there"


def test_a_term_in_a_hole_is_put_in_when_it_was_heard_clearly(terms: Terms) -> None:
    free = [TimedWord("Now", 0, 300, 0.9, (0, 1)), TimedWord("fine.", 1500, 1800, 0.9, (1, 2))]
    hot = [free[0], TimedWord("masseter", 600, 1200, 0.8, (1, 2)), free[1]]
    assert text(fuse(free, [hot], terms, scorer(), KEPT)) == "Now masseter fine."
    unsure = [free[0], TimedWord("masseter", 600, 1200, 0.2, (1, 2)), free[1]]
    assert text(fuse(free, [unsure], terms, scorer(), KEPT)) == "Now fine."


WORDS = st.lists(
    st.sampled_from(["left", "right", "massiter", "masseter", "no", "hand", "gay", "elite", "c", "galeazzi", "4"]),
    max_size=12,
)


@given(WORDS, WORDS)
def test_whatever_the_passes_say_no_side_number_or_denial_changes(free: list[str], hot: list[str]) -> None:
    entries = [concept("masseter", "masseter"), concept("galeazzi", "galeazzi")]
    known = Terms(Vocabulary(concepts={e.id: e for e in entries}, sites={}, cues={}))
    words = fuse(heard(" ".join(free)), [heard(" ".join(hot))], known, scorer(), KEPT)
    held = {"left", "right", "no", "4"}
    assert [w.text for w in words if w.text in held] == [w for w in free if w in held]
    times = [w.start_ms for w in words]
    assert times == sorted(times)


# ---------------------------------------------------------------- scoring and sides


def test_margin_counts_what_comes_after_and_keeps_stops_and_capitals() -> None:
    judge = scorer({"left": 1.0, "less": 3.0, "moral": 8.0})
    assert judge.change(["It", "moves", "left,", "moral", "is"], 2, 3, ["less"]) == pytest.approx(-2.0)
    assert dressed(["less"], ["Left,"]) == ["Less,"]
    assert dressed(["gag", "reflex"], ["(Gagry", "flexes)."]) == ["(Gag", "reflex)."]
    assert dressed(["c2"], ["T2."]) == ["c2."]


def test_the_repair_stage_is_answered() -> None:
    words = tuple(Word(i, w, i, i + 1) for i, w in enumerate(["the", "mass", "eater"]))
    transcript = Transcript(
        id="", recording="", model=SpeechModel(name="", sha256=""), words=words, utterances=((0, 3),)
    )

    class Proposal:
        words = (1, 3)
        meant = "masseter"

    judge = scorer({"eater": 2.0})
    judge.clinical = False
    assert judge.margin(transcript, Proposal()) == pytest.approx(-1.0)  # in chat a term must be clearer
    judge.clinical = True
    alike = judge.margin(transcript, Proposal())
    assert alike is not None
    assert 2.0 < alike <= 12.0  # in talk of an examination likeness counts for it


MISTAKEN = load_lists().mistaken


def as_words(said: str, **fields: Any) -> list[Word]:
    return [Word(i, w, i * 100, i * 100 + 90, **{"p": 0.9, **fields}) for i, w in enumerate(said.split())]


def test_a_doubtful_side_is_flagged_with_what_it_may_be_and_never_flipped() -> None:
    words = check(as_words("It moves left. Moro"), scorer({"left": 3.0, "less": 1.0, "right": 30.0}), MISTAKEN)
    assert text(words) == "It moves left. Moro"
    assert words[2].flags == (SIDE,)
    assert words[2].margin == pytest.approx(-3.0)
    assert [s.text for s in words[2].suggestions] == ["lift"]


def test_a_clear_side_carries_its_margin_and_no_flag() -> None:
    unlikely = dict.fromkeys(("less", "right", "lift", "leg"), 9.0)
    words = check(as_words("the left hip"), scorer(unlikely), MISTAKEN)
    assert (words[1].flags, words[1].margin, words[1].suggestions) == ((), 9.0, ())


def test_a_side_that_is_unsure_by_itself_must_be_clearer() -> None:
    alternatives = {"less": 6.0, "lift": 9.0, "leg": 9.0, "right": 9.0}
    sure, unsure = (check(as_words("moves left", p=p), scorer(alternatives), MISTAKEN)[1] for p in (0.6, 0.4))
    assert (sure.margin, sure.flags) == (unsure.margin, ()) == (6.0, ())
    assert unsure.flags == (SIDE,)


def test_a_side_on_which_the_passes_differ_is_asked() -> None:
    unlikely = dict.fromkeys(("less", "right", "lift", "leg"), 9.0)
    assert check(as_words("left", agree=False), scorer(unlikely), MISTAKEN)[0].flags == (SIDE,)


def test_levels_are_held_against_the_other_letters() -> None:
    doubtful = check(as_words("at T2 now"), scorer({"t2": 2.0, "l2": 9.0, "s2": 9.0}), MISTAKEN)[1]
    assert doubtful.flags == (LEVEL,)
    assert doubtful.suggestions[0].text == "C2"
    clear = check(as_words("at T2 now"), scorer({"c2": 9.0, "l2": 9.0, "s2": 9.0}), MISTAKEN)[1]
    assert (clear.flags, clear.margin) == ((), 9.0)


def test_unsure_words_that_the_passes_heard_unlike_are_marked() -> None:
    word = Word(0, "void", 0, 90, p=0.3, agree=False)
    assert check([word], scorer(), MISTAKEN)[0].flags == (LOW,)


# ---------------------------------------------------------------- guards and lists


def decoded(log_p: float = -0.2, no_speech: float = 0.0) -> Decoded:
    return Decoded((), log_p, 1.0, no_speech, 0.0)


@pytest.mark.parametrize(
    ("said", "made", "why"),
    [
        ("the left hip is tight", decoded(), ""),
        ("come on come on come on come on come on come on come on come on", decoded(), "loop"),
        ("the left hip is tight", decoded(-1.5, 0.9), "noise"),
        ("Thank you.", decoded(), ""),
    ],
)
def test_what_cannot_be_believed_is_named(said: str, made: Decoded, why: str) -> None:
    assert fault(made, heard(said), [(0, 6000)], load_lists().stock) == why


def test_a_stock_line_in_hardly_any_voice_is_noise() -> None:
    assert fault(decoded(), heard("Thank you.", step=100), [(0, 200)], load_lists().stock) == "noise"
    assert fault(decoded(), heard("Thank you.", p=0.3), [(0, 3000)], load_lists().stock) == "noise"


def test_words_outside_the_voice_are_not_believed() -> None:
    assert fault(decoded(), heard("one two three"), [(5000, 6000)], frozenset()) == "outside the voice"


def test_words_take_their_punctuation_and_are_drawn_out_of_silence() -> None:
    engine: Any = Engine()
    tokens = engine.tokens(" Hip, - no")
    assert [engine.text(tokens[a:b]) for a, b in split(engine, tokens)] == [" Hip, -", " no"]
    laid = Alignment(np.ones(len(tokens)), np.arange(len(tokens), dtype=np.int64) * 10, 100)
    words = timed(engine, tokens, laid, 1000, 4000, [(1300, 3500)])
    assert [w.text for w in words] == ["Hip, -", "no"]
    assert words[0].start_ms == 1300
    assert words[-1].end_ms <= 3500


def test_faults_of_the_list_are_told_together(tmp_path: Any) -> None:
    (tmp_path / "hearing.yaml").write_text("- id: left\n  words: less\n  source: x\n")
    with pytest.raises(VocabularyError) as caught:
        load_lists(tmp_path)
    assert str(caught.value).count("is missing") == 3
