"""Statements that cannot both be true, the wrong infant's chart, and what was not said before they leave."""

from datetime import date

import pytest
from check_visits import old, one, raised, rules, seek, weighed

from pipeline.check import (
    Options,
)
from pipeline.model import Age, Infant, Item, Word, span_of
from pipeline.records import PastVisit

# ---------------------------------------------------------------- contradictions


HIP = one("test.ortolani", "positive", site="hip", side="left")
PRESSED = one("technique.sustained_pressure", "released", site="cervical_spine")


def scm(result: str, side: str = "left", **more: object) -> Item:
    return one("tissue.tension", result, site="sternocleidomastoid", side=side, **more)  # type: ignore[arg-type]


def test_normal_then_tight_without_a_correction_is_asked_about() -> None:
    asked = seek(raised(scm("normal"), scm("tight"), age=old(months=3)), "CONFLICT.tension")

    assert asked[0].id == "CONFLICT.tension:sternocleidomastoid:left"
    assert asked[0].choices == ("normal", "tight")


@pytest.mark.parametrize(
    "items",
    [
        (scm("normal", "left"), scm("tight", "right")),
        (
            scm("tight"),
            one("technique.soft_tissue", "released", site="sternocleidomastoid", side="left"),
            scm("normal"),
        ),
        (scm("tight"), scm("normal", change="better")),
        (scm("tight"), scm("tight")),
        (scm("tight", "none"), scm("normal", "none")),
    ],
    ids=["other side", "treated between", "change told", "agree", "sides not told"],
)
def test_what_can_both_be_true_is_not_asked_about(items: tuple[Item, ...]) -> None:
    assert not any(rule.startswith("CONFLICT") for rule in rules(raised(*items, age=old(months=3))))


def test_a_fine_hip_and_a_positive_test_contradict() -> None:
    fine = one("exam.overall", "normal", site="hip", side="both")

    assert "CONFLICT.overall" in rules(raised(fine, HIP, age=old(weeks=6)))


def test_two_numbers_for_one_measure_are_asked_about() -> None:
    asked = seek(raised(weighed(4.2), weighed(4.6), age=old(weeks=6)), "CONFLICT.measure.weight")

    assert asked[0].choices == ("4.2 kg", "4.6 kg")
    assert "CONFLICT.measure.weight" not in rules(raised(weighed(4.2), weighed(4.21), age=old(weeks=6)))


def test_left_last_time_and_right_now_is_asked_about() -> None:
    last = PastVisit(id="v1", age=old(months=3), items=(scm("tight", "left"),))

    asked = raised(scm("tight", "right"), age=old(months=4), previous=(last,))
    both = raised(scm("tight", "right"), scm("normal", "left"), age=old(months=4), previous=(last,))

    assert seek(asked, "SIDE.tension")[0].choices == ("left", "right", "both")
    assert "SIDE.tension" not in rules(both)


# ---------------------------------------------------------------- the wrong infant


CHARTED = Infant(
    id="i1", code_name="Wren", sex="female", gestation_weeks=39, born=date(2026, 1, 1), birth_weight_kg=3.4
)
LAST = PastVisit(id="v1", age=old(60), items=(weighed(5.0),))


@pytest.mark.parametrize(
    ("item", "rule"),
    [
        (one("history.age", value=7, unit="mo"), "IDENTITY.AGE"),
        (one("history.gestation", value=32, unit="wk"), "IDENTITY.GESTATION"),
        (one("history.birth_weight", value=2.1, unit="kg"), "IDENTITY.BIRTH_WEIGHT"),
        (one("history.concern", "stated", quote="this little boy cries a lot"), "IDENTITY.SEX"),
        (weighed(4.1), "IDENTITY.WEIGHT.SHRUNK"),
        (weighed(9.6), "IDENTITY.WEIGHT.GROWN"),
    ],
)
def test_what_does_not_fit_the_open_chart_is_asked_before_filing(item: Item, rule: str) -> None:
    asked = seek(raised(item, age=old(90), infant=CHARTED, previous=(LAST,)), rule)

    assert [r.blocks_signing for r in asked] == [True]


@pytest.mark.parametrize(
    "item",
    [
        one("history.age", value=3, unit="mo"),
        one("history.age", value=12, unit="wk"),
        one("history.gestation", value=39, unit="wk"),
        one("history.birth_weight", value=3.45, unit="kg"),
        one("history.concern", "stated", quote="she is a good girl, mum says"),
        weighed(5.6),
    ],
)
def test_what_fits_the_open_chart_is_not_asked(item: Item) -> None:
    remarks = raised(item, age=old(90), infant=CHARTED, previous=(LAST,))

    assert not any(rule.startswith("IDENTITY") for rule in rules(remarks))


def test_an_age_typed_is_held_against_the_age_said() -> None:
    said = one("history.age", value=6, unit="wk", quote="six weeks old")

    assert "IDENTITY.AGE" in rules(raised(said, age=Age(days=140, corrected_days=140, as_said="20 weeks")))
    assert "IDENTITY.AGE" not in rules(raised(said, age=Age(days=42, corrected_days=42, as_said="6 weeks")))
    assert "IDENTITY.AGE" not in rules(raised(said, age=Age(days=140, as_said="six weeks old")))


def words(text: str) -> tuple[Word, ...]:
    return tuple(Word(i=i, text=w, start_ms=500 * i, end_ms=500 * i + 400) for i, w in enumerate(text.split()))


@pytest.mark.parametrize(
    ("said", "asked"),
    [
        ("Hello, this is Robin again.", True),
        ("Robin's neck is better.", True),
        ("So this is Little Fox.", True),
        ("A little thing, a fox.", False),
        ("Wren is here, Robin is at home.", False),
        ("The neck is fine.", False),
        ("A robin sits outside.", False),
        ("Plan A then.", False),
    ],
)
def test_another_infants_name_is_asked_about_unless_this_ones_is_said(said: str, asked: bool) -> None:
    options = Options(words=words(said), known_names={"Wren": "i1", "Robin": "i2", "Little Fox": "i3", "A": "i4"})

    assert ("IDENTITY.NAMES" in rules(raised(age=old(90), infant=CHARTED, options=options))) is asked


def test_a_twin_in_the_recording_is_asked_about_before_signing() -> None:
    turn = span_of(words("right, now her brother"), 1, 4)
    asked = [
        r for r in raised(age=old(90), infant=CHARTED, options=Options(turns=(turn,))) if r.rule == "IDENTITY.TURNS"
    ]

    assert [(r.blocks_signing, r.spans) for r in asked] == [(True, (turn,))]
    assert "IDENTITY.TURNS" not in rules(raised(age=old(90), infant=CHARTED))


# ---------------------------------------------------------------- before they leave


def test_missing_parts_of_the_safety_net_are_named() -> None:
    treated = raised(PRESSED, age=old(months=3))
    half = raised(
        PRESSED, one("advice.return_if", "given", quote="if he gets a fever, call the doctor"), age=old(months=3)
    )
    whole = raised(
        PRESSED,
        one("advice.return_if", "given", quote="if he gets a fever, call the doctor the same day"),
        age=old(months=3),
    )

    assert "what to watch for; how soon to act; whom to call" in seek(treated, "SAFETY_NET")[0].reason
    assert seek(half, "SAFETY_NET")[0].reason == "Not heard: how soon to act."
    assert "SAFETY_NET" not in rules(whole)
    assert "SAFETY_NET" not in rules(raised(one("reflex.moro", "present"), age=old(weeks=4)))
