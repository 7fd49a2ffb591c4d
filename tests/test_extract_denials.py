"""A denial denies what is named, also where it stands between the words of a term."""

import pytest
from extracting import lines, the_item


@pytest.mark.parametrize(
    ("said", "line"),
    [
        ("The cry isn't weak.", "sign.abnormal_cry whole_body absent"),
        ("The cry is weak.", "sign.abnormal_cry whole_body present"),
        ("The uvula is not bifid.", "sign.bifid_uvula palate absent"),
        ("The tongue isn't twitching.", "sign.tongue_fasciculation tongue absent"),
    ],
)
def test_a_denial_between_the_words_of_a_term_denies_it(said: str, line: str) -> None:
    assert lines(said) == [line]


def test_a_word_led_by_a_comma_is_said_of_the_concept_behind_it() -> None:
    said = "There's ptosis on both sides, a weak suck."

    assert lines(said) == ["sign.ptosis eye both present", "reflex.sucking mouth weak"]


@pytest.mark.parametrize(
    ("said", "value"),
    [
        ("Two wet nappies since yesterday.", 2),
        ("Wet nappies, six a day.", 6),
        ("Mum says five wet nappies and one dirty one a day.", 5),
        ("Wet nappies are good, one with every feed.", None),
        ("Wet nappies fine, one poo a day.", None),
        ("Wet nappies are good, one a feed.", None),
    ],
)
def test_a_count_is_of_the_thing_named_and_by_the_day(said: str, value: float | None) -> None:
    assert the_item(said).value == value


@pytest.mark.parametrize(
    "said",
    ["All of a sudden she is floppy.", "The tone is low, that came on suddenly.", "Hypotonia, sudden onset."],
)
def test_a_finding_may_have_begun_suddenly_and_is_not_better_for_that(said: str) -> None:
    item = the_item(said)

    assert item.onset is not None
    assert item.onset.sudden
    assert item.change is None


def test_a_sudden_noise_is_no_sudden_beginning() -> None:
    assert the_item("Moro present at a sudden noise.").onset is None


def test_what_is_softer_and_still_tight_is_tight() -> None:
    assert lines("The left SCM is softer, still a bit tight.") == ["tissue.tension sternocleidomastoid left tight"]


def test_the_neck_turns_and_not_its_muscle() -> None:
    said = ("The left SCM is tight.", "Rotation to the left is sixty degrees.")

    assert lines(*said)[1] == "motion.rotation neck left 60 deg"
