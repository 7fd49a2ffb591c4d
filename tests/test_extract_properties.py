"""What holds of every narration, read or made up: nothing is lost, nothing crashes, nothing is unsaid."""

import math
import random
from itertools import pairwise
from pathlib import Path
from typing import Literal

import pytest
from extracting import extractor, narration, vocabulary
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.model import ClauseClass, Extraction, Item, SpeechModel, Transcript, Word
from pipeline.resources import data_path
from pipeline.vtt import read_vtt

NARRATIONS = Path(__file__).parents[1] / "benchmarks/narrations"
FILES = sorted([*NARRATIONS.glob("*.vtt"), *data_path("samples").glob("*.vtt")])
SIDES = {"left", "right", "both", "none"}
SLOW = settings(
    deadline=None,
    max_examples=60,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.large_base_example],
)

# ---------------------------------------------------------------- what must hold


def check_partition(transcript: Transcript, found: Extraction) -> None:
    """The clauses cover the words in order, each once; the items of a clause stand."""
    at = 0
    ids = {item.id for item in found.items}
    for clause in found.clauses:
        assert clause.words[0] == at < clause.words[1]
        assert set(clause.items) <= ids
        assert isinstance(clause.clause_class, ClauseClass)
        at = clause.words[1]
    assert at == len(transcript.words)


def check_evidence(transcript: Transcript, found: Extraction) -> None:
    """Every item rests on words as they stand, with their times; every trace names words in range."""
    n = len(transcript.words)
    assert set(found.trace) == {item.id for item in found.items}
    for item in found.items:
        assert item.evidence
        for span in item.evidence:
            i0, i1 = span.words
            assert 0 <= i0 < i1 <= n
            assert span.quote == transcript.quote(span.words)
            assert (span.start_ms, span.end_ms) == (transcript.words[i0].start_ms, transcript.words[i1 - 1].end_ms)
        for step in found.trace[item.id]:
            assert 0 <= step.words[0] < step.words[1] <= n


def check_slots(found: Extraction) -> None:
    """Concept, site, side, level and result come from the closed lists."""
    assert len({item.id for item in found.items}) == len(found.items)
    vocab = vocabulary()
    for item in found.items:
        concept = vocab.concepts[item.concept]
        assert item.kind == concept.kind
        assert item.result in {*concept.results, "not_assessed"}
        assert item.site is None or item.site in vocab.sites
        assert item.side in SIDES
        assert (item.value is None) == (item.unit is None)
        assert item.value is None or math.isfinite(item.value)
        assert item.level is None or all(_vertebra(part) for part in item.level.split("-"))
        assert 0 <= item.confidence <= 1
        assert len(set(item.flags)) == len(item.flags)
        assert not ("side_missing" in item.flags and item.side != "none")


def _vertebra(level: str) -> bool:
    most = {"C": 7, "T": 12, "L": 5, "S": 5}
    return level[0] in most and 1 <= int(level[1:]) <= most[level[0]]


def check_sides_were_said(transcript: Transcript, found: Extraction) -> None:
    """Left or right only where a side word stands before the end of the item's evidence."""
    for item in found.items:
        if item.side in ("left", "right"):
            assert _side_words(transcript, item), f"{item.side} for {item.concept}, never said"


def _side_words(transcript: Transcript, item: Item) -> list[str]:
    end = max(span.words[1] for span in item.evidence)
    return [w.text for w in transcript.words[:end] if "left" in w.text.lower() or "right" in w.text.lower()]


def check_fold(transcript: Transcript, found: Extraction) -> None:
    """Utterance by utterance gives the same as all at once; the events tell how every item came to stand."""
    state = extractor().start(transcript.recording)
    told: dict[str, Item] = {}
    for utterance in transcript.utterances:
        state, events = extractor().step(state, transcript.words, utterance)
        for event in events:
            if event.type == "upsert":
                told[event.item.id] = event.item
            else:
                told.pop(event.item_id, None)
    assert extractor().result(state) == found
    assert told == {item.id: item for item in found.items}


def check_all(transcript: Transcript) -> Extraction:
    """Everything above, of one transcript."""
    found = extractor().extract(transcript)
    check_partition(transcript, found)
    check_evidence(transcript, found)
    check_slots(found)
    check_sides_were_said(transcript, found)
    check_fold(transcript, found)
    return found


# ---------------------------------------------------------------- narrations as they are


@pytest.fixture(scope="module", params=FILES, ids=[path.stem for path in FILES])
def read_aloud(request: pytest.FixtureRequest) -> Transcript:
    return read_vtt(request.param)


def test_every_narration_keeps_what_must_hold(read_aloud: Transcript) -> None:
    found = check_all(read_aloud)

    assert found.items


def test_a_narration_without_punctuation_keeps_it_too(read_aloud: Transcript) -> None:
    bare = [" ".join(w.text.strip(".,;:?!").lower() for w in read_aloud.words[a:b]) for a, b in read_aloud.utterances]

    assert check_all(narration(*bare)).items


def test_two_runs_give_the_same(read_aloud: Transcript) -> None:
    assert extractor().extract(read_aloud) == extractor().extract(read_aloud)


# ---------------------------------------------------------------- made-up narrations


def _phrases() -> list[str]:
    vocab = vocabulary()
    phrases = [say for concept in vocab.concepts.values() for say in concept.say]
    phrases += [say for concept in vocab.concepts.values() for form in concept.results.values() for say in form.say]
    phrases += [say for concept in vocab.concepts.values() for form in concept.results.values() for say in form.means]
    phrases += [say for site in vocab.sites.values() for say in site.say]
    phrases += [say.strip("^$") for cues in vocab.cues.values() for cue in cues for say in cue.say]
    return sorted(set(phrases))


NUMERALS = ["4", "38.5", "T4", "c1-3", "t4-6", "8lb", "1.2.3", "½", "²", "٣", "Ⅳ", "100.4", "twenty-one", "and a half"]
MARKUP = ["<b>", "</b>", "<script>alert(1)</script>", "{{x}}", "&amp;", "-->", "NOTE", "\\", "%s", "'; DROP"]
CONTROLS = [
    "\u202e",
    "\u200f",
    "\u2066left\u2069",
    "\x00",
    "\x1b[2J",
    "\u200b",
    "\ufeff",
    "e\u0301",
    "ﬁ",
    "İ",
    "ẞ",
    "👶🏽",
]
STOPS = st.sampled_from(["", "", "", ",", ".", "?", "!", ";", "...", "—"])
SIDE_TALK = [
    "left", "right", "both", "the other side", "same", "one side", "my left", "not", "no", "sorry", "no wait",
    "scratch that", "other way round", "but", "and", "it's", "is it", "yes", "if", "tight", "the hip", "tender",
]  # fmt: skip
TALK = st.tuples(
    st.one_of(
        st.sampled_from(_phrases()),
        st.sampled_from(SIDE_TALK),
        st.sampled_from([*NUMERALS, *MARKUP, *CONTROLS]),
        st.text(min_size=0, max_size=12),
    ),
    STOPS,
).map("".join)


@st.composite
def transcripts(draw: st.DrawFn) -> Transcript:
    """Words in any order with pauses, cut anywhere into utterances."""
    texts = [word for part in draw(st.lists(TALK, max_size=40)) for word in part.split(" ")]
    timing: Literal["word", "cue"] = draw(st.sampled_from(["word", "cue"]))
    pauses = draw(st.lists(st.sampled_from([0, 0, 0, 900, 60_000]), min_size=len(texts), max_size=len(texts)))
    inner = draw(st.lists(st.integers(0, len(texts)), max_size=8))
    words, clock = [], 0
    for i, (text, pause) in enumerate(zip(texts, pauses, strict=True)):
        clock += pause
        words.append(Word(i=i, text=text, start_ms=clock, end_ms=clock + 300, timing=timing))
        clock += 300
    cuts = sorted({0, len(texts), *inner})
    return Transcript(
        id="made up",
        recording="made up",
        model=SpeechModel(name="given transcript", sha256=""),
        words=tuple(words),
        utterances=tuple(pairwise(cuts)),
        duration_ms=clock,
    )


@SLOW
@given(transcript=transcripts())
def test_whatever_is_said_keeps_what_must_hold(transcript: Transcript) -> None:
    check_all(transcript)


@SLOW
@given(texts=st.lists(st.text(alphabet=st.characters(codec="utf-8"), max_size=30), max_size=60))
def test_any_unicode_text_is_taken_as_words(texts: list[str]) -> None:
    check_all(narration(texts))


@settings(SLOW, max_examples=10)
@given(seed=st.integers(0, 10_000), n=st.sampled_from([0, 1, 500, 2000]))
def test_a_long_talk_keeps_it_too(seed: int, n: int) -> None:
    rnd = random.Random(seed)
    pool = [word for say in _phrases() for word in say.split()]
    talk = [[rnd.choice(pool) + rnd.choice(["", "", "", ",", "."]) for _ in range(10)] for _ in range(n // 10)]

    check_all(narration(*talk))


REPEATED = [
    "the",
    "no",
    "left right",
    "left hip tight,",
    "sorry, no, the left,",
    "Is it? Yes.",
    "twenty one hundred and",
    "T4 to",
    "if she",
    "scratch that.",
    "other way round.",
    "\u202e\u200f",
    "<i>tight</i>",
]


@pytest.mark.parametrize("said", REPEATED)
@pytest.mark.parametrize("broken", [True, False], ids=["utterances", "one breath"])
def test_saying_it_three_hundred_times_does_no_harm(said: str, broken: bool) -> None:
    transcript = narration(*[said] * 300) if broken else narration(" ".join([said] * 300))

    check_all(transcript)


@pytest.mark.parametrize("utterances", [(), ((0, 0),)], ids=["none", "an empty one"])
def test_no_words_give_nothing(utterances: tuple[tuple[int, int], ...]) -> None:
    empty = narration().model_copy(update={"utterances": utterances})

    assert extractor().extract(empty) == Extraction(items=(), clauses=())


def test_a_hundred_thousand_words_are_read() -> None:
    talk = read_vtt(FILES[0])
    visit = [[word.text for word in talk.words[a:b]] for a, b in talk.utterances]
    transcript = narration(*visit * math.ceil(100_000 / len(talk.words)))

    found = extractor().extract(transcript)

    assert len(transcript.words) >= 100_000
    check_partition(transcript, found)
    check_evidence(transcript, found)
    check_slots(found)


def test_markup_in_the_speech_stays_words() -> None:
    said = "The left hip is <b>tight</b> &amp; {{ sore }} <script>alert(1)</script>."

    for item in check_all(narration(said)).items:
        assert item.evidence[0].quote in said
