"""Question and short answer are one fact told by the caregiver; a question alone is none."""

import pytest
from extracting import extractor, line, lines, narration, read, the_item

from pipeline.extract.answers import WAIT_MS

ANSWERED = [
    ("Any fevers?", "No.", "symptom.fever whole_body absent"),
    ("Any fevers?", "Nope.", "symptom.fever whole_body absent"),
    ("Any vomiting?", "Yeah, a bit.", "symptom.vomiting whole_body present"),
    ("Does he spit up?", "He does.", "symptom.spit_up whole_body present"),
    ("Is he breastfed?", "Yes.", "history.feeding_mode mouth breast"),
    ("Bottle or breast?", "Bottle.", "history.feeding_mode mouth bottle"),
    ("How are his poos?", "Fine.", "symptom.stool abdomen good"),
]


@pytest.mark.parametrize(("question", "answer", "expected"), ANSWERED)
@pytest.mark.parametrize("together", [True, False], ids=["one utterance", "two utterances"])
def test_an_answer_makes_the_question_a_fact(question: str, answer: str, expected: str, together: bool) -> None:
    item = the_item(f"{question} {answer}") if together else the_item(question, answer)

    assert line(item) == expected
    assert item.reporter == "caregiver"
    assert [(span.role, span.quote) for span in item.evidence] == [("question", question), ("answer", answer)]


@pytest.mark.parametrize("question", sorted({question for question, *_ in ANSWERED}))
def test_a_question_alone_is_no_fact(question: str) -> None:
    assert lines(question) == []


def test_one_no_answers_all_that_was_asked() -> None:
    assert lines("Any reflux, constipation? No.") == ["symptom.spit_up whole_body absent", "symptom.stool abdomen good"]


def test_a_late_yes_answers_nothing() -> None:
    chat = ["The weather is nice.", "The traffic was awful.", "It took an hour to park.", "We had to walk."]

    assert lines("Does she vomit?", *chat, "Yes.") == []


def test_a_yes_after_a_long_silence_answers_nothing() -> None:
    question, answer = "Does she vomit?", "Yes."

    for pause_ms, count in ((WAIT_MS // 2, 1), (WAIT_MS + 1000, 0)):
        found = extractor().extract(narration(question, answer, pause_ms=pause_ms))
        assert len(found.items) == count


@pytest.mark.parametrize(
    ("said", "role", "expected"),
    [
        ("Mum says he's been sleeping badly.", "mother", "symptom.sleep whole_body poor"),
        ("Dad says she vomits.", "father", "symptom.vomiting whole_body present"),
        ("Grandma says he's constipated.", "other_carer", "symptom.stool abdomen poor"),
        ("The interpreter says he sleeps badly.", "interpreter", "symptom.sleep whole_body poor"),
    ],
)
def test_who_told_it_is_kept(said: str, role: str, expected: str) -> None:
    item = the_item(said)

    assert line(item) == expected
    assert (item.reporter, item.source_role) == ("caregiver", role)


@pytest.mark.parametrize(
    ("said", "value", "unit", "sudden"),
    [
        ("He's been vomiting for three days.", 3, "d", False),
        ("The vomiting started suddenly.", None, None, True),
    ],
)
def test_since_when_is_kept(said: str, value: float | None, unit: str | None, sudden: bool) -> None:
    (item,) = read(said).items

    assert item.concept == "symptom.vomiting"
    assert item.onset is not None
    assert (item.onset.value, item.onset.unit, item.onset.sudden) == (value, unit, sudden)
