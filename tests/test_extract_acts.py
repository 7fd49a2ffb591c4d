"""What a clause does: only what is observed, told, done, advised or planned gives an item."""

import pytest
from extracting import lines, read

from pipeline.model import ClauseClass

HIP_TIGHT = "tissue.tension hip left tight"


@pytest.mark.parametrize(
    ("said", "kind"),
    [
        ("Is the left hip tight?", ClauseClass.QUESTION),
        ("Does she have a tongue tie?", ClauseClass.QUESTION),
        ("Babies often have a tight neck.", ClauseClass.TEACHING),
        ("The sternocleidomastoid is the muscle that runs from behind the ear.", ClauseClass.TEACHING),
        ("If the hip were dislocated, you'd feel a clunk.", ClauseClass.HYPOTHETICAL),
        ("If I felt a clunk, I'd refer her.", ClauseClass.HYPOTHETICAL),
        ("Last time the left hip was tight.", ClauseClass.CHAT),
        ("When I saw him last week, the left SCM was tight.", ClauseClass.CHAT),
        ("His brother's left hip is tight.", ClauseClass.CHAT),
        ("The twin has a tight left hip.", ClauseClass.CHAT),
        ("Her sister has a sore hip.", ClauseClass.CHAT),
        ("Let me check the hips.", ClauseClass.ANNOUNCEMENT),
    ],
)
def test_what_is_no_observation_gives_no_item(said: str, kind: ClauseClass) -> None:
    found = read(said)

    assert found.items == ()
    assert {clause.clause_class for clause in found.clauses} == {kind}


@pytest.mark.parametrize(
    "said",
    [
        "The left hip is tight.",
        "Left hip, tight.",
        "left hip tight",
        "His left hip is tight, isn't it?",
        "Babies often have a tight neck. His left hip is tight.",
        "Last visit it was soft. Today the left hip is tight.",
    ],
)
def test_what_is_observed_gives_one(said: str) -> None:
    assert lines(said) == [HIP_TIGHT]


@pytest.mark.parametrize("said", ["Scratch that.", "Strike that.", "Forget that.", "Disregard that."])
def test_a_retraction_takes_back_the_last_statement(said: str) -> None:
    assert lines("The left hip is tight.", said) == []


def test_a_retraction_takes_back_no_more_than_the_last_statement() -> None:
    found = lines("Left clavicle, there is a lump.", "Right masseter is tender.", "Forget that.")

    assert found == ["tissue.mass clavicle left present"]


def test_what_is_said_after_a_retraction_stands() -> None:
    assert lines("The left hip is tight.", "Scratch that.", "The right hip is tight.") == [
        "tissue.tension hip right tight"
    ]


def test_a_change_is_read_against_today() -> None:
    assert lines("Last visit the left hip was tight. Today it moves freely.") == ["motion.general hip left normal"]


@pytest.mark.parametrize(
    ("said", "detail"),
    [
        ("Call me if he gets a fever.", "fever"),
        ("If he goes floppy, call an ambulance.", "floppy"),
        ("If he has a fever over thirty-eight or won't feed, ring the doctor the same day.", "same day"),
    ],
)
def test_a_condition_with_somebody_to_call_is_advice_in_its_own_words(said: str, detail: str) -> None:
    (item,) = read(said).items

    assert (item.kind, item.concept, item.result) == ("advice", "advice.return_if", "given")
    assert item.detail is not None
    assert detail in item.detail


@pytest.mark.parametrize(
    ("said", "unsaid"),
    [
        ("C2 adjusted on the right.", True),
        ("A gentle adjustment of C2 on the right.", True),
        ("C2 adjusted on the right, no thrust.", False),
        ("Adjusted C2 with low force on the right.", False),
        ("Low-force adjustment C2 right, no thrust.", False),
    ],
)
def test_the_force_of_an_adjustment_is_unsaid_until_it_is_said(said: str, unsaid: bool) -> None:
    (item,) = read(said).items

    assert item.concept == "technique.mobilisation"
    assert ("force_unsaid" in item.flags) is unsaid
