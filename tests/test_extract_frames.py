"""What was said together: site, side, result and denial in one statement, and in a row of them."""

import pytest
from extracting import lines, read, the_item

SAID = [
    # one statement
    ("The left hip is tight.", ["tissue.tension hip left tight"]),
    ("Left masseter, tender.", ["tissue.tenderness masseter left present"]),
    ("L5 is tender on the left.", ["tissue.tenderness lumbar_spine left L5 present"]),
    ("Restricted from T4 to T6.", ["motion.general thoracic_spine T4-T6 limited"]),
    ("C1 is rotated to the left.", ["alignment.rotation cervical_spine left C1 rotated"]),
    ("Atlas is rotated left.", ["alignment.rotation cervical_spine left C1 rotated"]),
    ("Head is turned to the left.", ["alignment.rotation head left rotated"]),
    ("Fontanelle is soft and flat.", ["fontanelle.anterior fontanelle.anterior normal"]),
    ("There is a tongue tie.", ["sign.tongue_tie tongue present"]),
    # denial
    ("The left hip isn't tight.", ["tissue.tension hip left normal"]),
    ("The fontanelle isn't bulging.", ["fontanelle.anterior fontanelle.anterior normal"]),
    ("No head lag.", ["sign.head_lag neck absent"]),
    ("No clunk in the left hip.", ["joint.clunk hip left absent"]),
    ("Without any clunk.", ["joint.clunk hip absent"]),
    (
        "No tenderness over the left clavicle, but there is a lump.",
        ["tissue.tenderness clavicle left absent", "tissue.mass clavicle left present"],
    ),
    (
        "Not only is the left hip tight, it's tender.",
        ["tissue.tension hip left tight", "tissue.tenderness hip left present"],
    ),
    # several at once
    ("Ortolani and Barlow are negative.", ["test.ortolani hip negative", "test.barlow hip negative"]),
    (
        "Shoulders, elbows and wrists all move freely.",
        [f"motion.general {site} both normal" for site in ("shoulder", "elbow", "wrist")],
    ),
    (
        "Left masseter and temporalis are tight.",
        ["tissue.tension masseter left tight", "tissue.tension temporalis left tight"],
    ),
    (
        "The right hip and the left knee are tight.",
        ["tissue.tension hip right tight", "tissue.tension knee left tight"],
    ),
    # sides in a row
    ("Both hips are tight.", ["tissue.tension hip both tight"]),
    ("Barlow negative on both sides.", ["test.barlow hip both negative"]),
    (
        "Ortolani is negative on the left and positive on the right.",
        ["test.ortolani hip left negative", "test.ortolani hip right positive"],
    ),
    ("Left hip is tight, and the other is fine.", ["tissue.tension hip left tight", "tissue.tension hip right normal"]),
    (
        "Neck rotation, right, full, left, sixty degrees.",
        ["motion.rotation neck right normal", "motion.rotation neck left 60 deg"],
    ),
]


@pytest.mark.parametrize(("said", "expected"), SAID)
def test_what_is_said_together_is_read_together(said: str, expected: list[str]) -> None:
    assert lines(said) == expected


@pytest.mark.parametrize(
    "said",
    [
        "The hip is tight.",
        "One hip is tight.",
        "On one side the hip is tight.",
        "All right, the hip is tight.",
        "That's right, the hip is tight.",
        "Your left, the hip is tight.",
    ],
)
def test_a_side_that_was_not_said_is_asked_for(said: str) -> None:
    item = the_item(said)

    assert (item.concept, item.side) == ("tissue.tension", "none")
    assert "side_missing" in item.flags


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(
    "said",
    [
        "The {} hip is tight.",
        "Hip on the {} is tight.",
        "The hip is tight on the {}.",
        "{}, hip, tight.",
        "{} sided hip tightness.",
    ],
)
def test_a_said_side_is_that_side(said: str, side: str) -> None:
    items = read(said.format(side)).items

    assert [item.side for item in items] == [side]
    assert "side_missing" not in items[0].flags


def test_the_viewers_side_gives_way_to_the_infants_own() -> None:
    assert lines("My left, her right hip is tight.") == ["tissue.tension hip right tight"]


@pytest.mark.parametrize("said", ["That softened right up.", "What's left is the hip.", "I'm right here, all right."])
def test_words_that_only_look_like_sides_give_nothing(said: str) -> None:
    assert lines(said) == []


@pytest.mark.parametrize(
    ("said", "concept", "site", "side", "reason"),
    [
        ("I didn't do the Moro because she's asleep.", "reflex.moro", "whole_body", "none", "asleep"),
        ("Moro not tested, she was asleep.", "reflex.moro", "whole_body", "none", "asleep"),
        ("I couldn't assess the palate because he was upset.", "exam.overall", "palate", "none", "upset"),
        ("I'll leave the hips because he's feeding.", "exam.overall", "hip", "both", "feeding"),
    ],
)
def test_what_was_left_out_is_not_assessed_with_its_reason(
    said: str, concept: str, site: str, side: str, reason: str
) -> None:
    item = the_item(said)

    assert (item.concept, item.site, item.side, item.result) == (concept, site, side, "not_assessed")
    assert item.reason is not None
    assert reason in item.reason
