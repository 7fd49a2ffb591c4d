"""The fold: events as the utterances come, treatment and its result, dose, change, clause accounts, traces."""

from dataclasses import replace

import pytest
from extracting import extractor, line, lines, narration, read, the_item

from pipeline.model import ClauseClass


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        (["I'll release the left masseter.", "It's letting go."], "technique.soft_tissue masseter left released"),
        (["I worked on the left masseter."], "technique.soft_tissue masseter left done"),
        (
            ["I held the occiput for two minutes, and it let go."],
            "technique.sustained_pressure bone.occiput released",
        ),
        (
            ["Left SCM, soft tissue release, partially released."],
            "technique.soft_tissue sternocleidomastoid left partial",
        ),
    ],
)
def test_a_treatment_takes_its_result_from_what_follows(said: list[str], expected: str) -> None:
    item = the_item(*said)

    assert line(item) == expected
    assert item.kind == "treatment"


@pytest.mark.parametrize(
    ("said", "dose"),
    [
        ("Tummy time for five minutes, three times a day.", (300, 3, "day", None)),
        ("Tummy time five minutes, after every feed.", (300, None, "feed", None)),
        ("Neck stretches, left side, ten seconds, three times a day for two weeks.", (10, 3, "day", 14)),
        ("I held the occiput for two minutes.", (120, None, None, None)),
    ],
)
def test_how_much_and_how_often_is_kept(said: str, dose: tuple[float | None, ...]) -> None:
    item = the_item(said)

    assert item.dose is not None
    assert (item.dose.seconds, item.dose.times, item.dose.per, item.dose.days) == dose


@pytest.mark.parametrize(
    ("said", "expected", "change"),
    [
        ("The head lag has resolved.", "sign.head_lag neck absent", "resolved"),
        ("The left hip is still tight.", "tissue.tension hip left tight", "same"),
    ],
)
def test_a_comparison_with_before_is_kept(said: str, expected: str, change: str) -> None:
    item = the_item(said)

    assert line(item) == expected
    assert item.change == change


def test_no_change_is_claimed_that_was_not_said() -> None:
    assert the_item("The left hip is tight.").change is None


def test_an_item_comes_with_its_utterance_and_goes_with_its_retraction() -> None:
    transcript = narration("Lovely weather.", "The left hip is tight.", "Scratch that.")
    state = extractor().start(transcript.recording)
    told = []
    for utterance in transcript.utterances:
        state, events = extractor().step(state, transcript.words, utterance)
        told.append([event.type for event in events])

    assert told[0] == []
    assert told[1] == ["upsert"]
    assert told[2] == ["retract"]
    assert extractor().result(state).items == ()


def test_a_result_may_be_asked_for_at_any_moment() -> None:
    transcript = narration("The left hip is tight.", "The right knee is tender.")
    state = extractor().start(transcript.recording)
    counts = []
    for utterance in transcript.utterances:
        state, _ = extractor().step(state, transcript.words, utterance)
        counts.append(len(extractor().result(state).items))

    assert counts == [1, 2]


@pytest.mark.parametrize(
    ("said", "kind", "terms"),
    [
        ("The left hip is tight.", ClauseClass.ITEM, True),
        ("The left hip.", ClauseClass.ANNOUNCEMENT, True),
        ("Lovely weather.", ClauseClass.CHAT, False),
        ("Who's a good boy then?", ClauseClass.QUESTION, False),
    ],
)
def test_a_clause_is_accounted_for_with_its_terms(said: str, kind: ClauseClass, terms: bool) -> None:
    (clause,) = read(said).clauses

    assert clause.clause_class == kind
    assert bool(clause.terms) is terms


def test_a_clause_names_the_items_it_gave() -> None:
    found = read("The left hip is tight.", "Lovely weather.", "The right knee is tender.")

    assert [clause.items for clause in found.clauses] == [(found.items[0].id,), (), (found.items[1].id,)]


def test_the_trace_names_the_words_of_each_slot() -> None:
    transcript = narration("The left hip is tight.")
    found = extractor().extract(transcript)
    steps = {step.slot: step for step in found.trace[found.items[0].id]}

    assert {"concept", "result"} <= set(steps)
    assert steps["result"].value == "tight"
    assert "tight." in transcript.quote(steps["result"].words)


def test_ids_depend_on_the_recording() -> None:
    one, other = narration("The left hip is tight."), narration("The left hip is tight.")
    other = other.model_copy(update={"recording": "another"})

    ids = {item.id for transcript in (one, other) for item in extractor().extract(transcript).items}

    assert len(ids) == 2


def test_a_low_probability_is_marked() -> None:
    transcript = narration("The left hip is tight.")
    doubtful = transcript.model_copy(update={"words": tuple(replace(w, p=0.3) for w in transcript.words)})
    (item,) = extractor().extract(doubtful).items

    assert item.confidence < 0.5
    assert "low_confidence" in item.flags


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ("I'm going to refer her for a hip ultrasound.", "plan.imaging hip planned"),
        ("See you on Thursday.", "plan.next_visit whole_body planned"),
        ("Next visit in ten days.", "plan.next_visit whole_body 10 d"),
    ],
)
def test_a_plan_is_an_item(said: str, expected: str) -> None:
    assert lines(said) == [expected]
