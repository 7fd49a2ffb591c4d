"""The structure under the hands: what later words belong to, and when it is forgotten."""

import pytest
from extracting import extractor, line, lines, narration

from pipeline.extract.focus import CLAUSES, MS


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        (
            ["Left sternocleidomastoid is tight.", "It's tender too."],
            ["tissue.tension sternocleidomastoid left tight", "tissue.tenderness sternocleidomastoid left present"],
        ),
        (
            ["The left hip abducts fully.", "The right one is restricted."],
            ["motion.abduction hip left normal", "motion.abduction hip right limited"],
        ),
        (
            ["Left hip is tight.", "Same on the other side."],
            ["tissue.tension hip left tight", "tissue.tension hip right tight"],
        ),
        (
            ["Temporalis, left, tight.", "Right, loose."],
            ["tissue.tension temporalis left tight", "tissue.tension temporalis right slack"],
        ),
        (["Left hip.", "Moves freely."], ["motion.general hip left normal"]),
        (["Hips.", "Both fine."], ["exam.overall hip both normal"]),
        (["Let's see the left hip.", "It's tight."], ["tissue.tension hip left tight"]),
        (
            ["The neck.", "Rotation to the right is full, to the left it's restricted."],
            ["motion.rotation neck right normal", "motion.rotation neck left limited"],
        ),
    ],
)
def test_later_words_belong_to_the_structure_in_hand(said: list[str], expected: list[str]) -> None:
    assert lines(*said) == expected


@pytest.mark.parametrize("said", ["It's tight.", "The left one.", "Same on the other side.", "Tender."])
def test_with_nothing_in_hand_nothing_is_guessed(said: str) -> None:
    assert lines(said) == []


def test_the_structure_is_forgotten_after_some_clauses() -> None:
    chat = ["The weather is nice."]

    assert lines("Left hip.", *chat * 2, "It's tight.") == ["tissue.tension hip left tight"]
    assert lines("Left hip.", *chat * (CLAUSES + 1), "It's tight.") == []


def test_the_structure_is_forgotten_after_some_time() -> None:
    for pause_ms, expected in ((MS // 2, ["tissue.tension hip left tight"]), (MS + 1000, [])):
        found = extractor().extract(narration("Left hip.", "It's tight.", pause_ms=pause_ms))

        assert [line(item) for item in found.items] == expected
