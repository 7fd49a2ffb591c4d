"""Spoken self-correction: the later word stands, the earlier stays in the evidence."""

import pytest
from extracting import line, read, the_item

CORRECTED = [
    (["The left masseter is tight, sorry, the right."], "tissue.tension masseter right tight"),
    (["The right masseter is tight, sorry, the left."], "tissue.tension masseter left tight"),
    (["Left SCM is tight, no wait, right SCM."], "tissue.tension sternocleidomastoid right tight"),
    (["Barlow's positive on the left, no, negative."], "test.barlow hip left negative"),
    (["T4 is restricted, correction, T5."], "motion.general thoracic_spine T5 limited"),
    (["Weight is 4.2, sorry, 4.4 kilos."], "measure.weight whole_body 4.4 kg"),
    (
        ["The right masseter is tender.", "Sorry, I said right, it's the left."],
        "tissue.tenderness masseter left present",
    ),
    (["Weight four point two kilos.", "Sorry, four point four."], "measure.weight whole_body 4.4 kg"),
]


@pytest.mark.parametrize(("said", "expected"), CORRECTED)
def test_the_later_word_stands_and_the_earlier_is_kept(said: list[str], expected: str) -> None:
    item = the_item(*said)

    assert line(item) == expected
    assert "corrected" in item.flags
    assert "retracted" in {span.role for span in item.evidence}


@pytest.mark.parametrize("said", ["Sorry, sweetie.", "No, darling.", "Hang on.", "I mean."])
def test_a_correction_of_nothing_changes_nothing(said: str) -> None:
    assert read("The left hip is tight.", said).items == read("The left hip is tight.").items


def test_a_repeated_statement_is_one_item_with_both_places() -> None:
    item = the_item("The left hip is tight.", "Ten fingers, ten toes.", "The left hip is tight.")

    assert [span.words for span in item.evidence] == [(0, 5), (9, 14)]


def test_events_tell_a_correction_as_it_comes() -> None:
    found = read("The left hip is tight.")
    corrected = read("The left hip is tight.", "Sorry, the right.")

    assert [item.id for item in found.items] == [item.id for item in corrected.items]
    assert [item.side for item in corrected.items] == ["right"]
