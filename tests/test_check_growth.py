"""Growth in a visit: numbers that cannot be, places on the chart, changes over too short a time."""

import pytest
from check_visits import GIRL, before, head, number, old, one, raised, rules, seek, weighed

from pipeline.check import (
    Options,
    growth_points,
)
from pipeline.check.facts import fact_of
from pipeline.model import Age, Item, Urgency
from pipeline.records import PastVisit


@pytest.mark.parametrize(
    ("item", "rule", "offered"),
    [
        (one("measure.weight", site="whole_body", value=50, unit="kg"), "VALUE.measure.weight", "5 kg was meant"),
        (
            one("measure.head_circumference", site="skull", value=4, unit="cm"),
            "VALUE.measure.head_circumference",
            "40 cm",
        ),
        (one("measure.weight", site="whole_body", value=0.55, unit="kg"), "VALUE.measure.weight", "5.5 kg was meant"),
        (one("measure.temperature", site="whole_body", value=3.7, unit="Cel"), "VALUE.measure.temperature", "37 Cel"),
    ],
)
def test_a_number_that_cannot_be_is_asked_about_and_not_judged(item: Item, rule: str, offered: str) -> None:
    remarks = raised(item, age=old(months=3))

    asked = seek(remarks, rule)
    assert [remark.urgency for remark in asked] == [Urgency.ASK]
    assert any(choice.startswith(offered) for choice in asked[0].choices)
    assert not any(r.rule.startswith(("growth", "RF")) for r in remarks)


def test_a_number_confirmed_by_the_person_is_judged() -> None:
    heavy = one("measure.weight", site="whole_body", value=11.5, unit="kg")
    asked = seek(raised(heavy, age=old(months=3)), "VALUE.measure.weight")[0]

    remarks = raised(heavy, age=old(months=3), options=Options(confirmed=frozenset({asked.id})))

    assert "growth.weight_watch" in rules(remarks)
    assert "VALUE.measure.weight" not in rules(remarks)


def test_growth_is_placed_by_corrected_age_and_not_before_term() -> None:
    facts = [fact_of(weighed(3.0))]

    assert growth_points(facts, GIRL, Age(days=20, corrected_days=-10)) == ()
    point = growth_points(facts, GIRL, Age(days=80, corrected_days=10))[0]
    assert point.corrected_days == 10


def test_before_term_a_danger_sign_holds_and_growth_is_left_to_another_chart() -> None:
    early = GIRL.model_copy(update={"gestation_weeks": 29})
    breech = one("history.breech", "present", site="whole_body")

    told = rules(raised(breech, weighed(1.9), age=old(weeks=5, born_at=29), infant=early))

    assert {"RF31", "growth.before_term"} <= told
    assert "growth.weight" not in told


def test_a_change_over_too_short_a_time_raises_no_alarm() -> None:
    head = one("measure.head_circumference", site="skull", value=40.4, unit="cm")
    past = one("measure.head_circumference", site="skull", value=39.0, unit="cm")
    six_days = PastVisit(id="v1", age=old(84), items=(past,))
    week = PastVisit(id="v1", age=old(83), items=(past,))

    assert "RF15" not in rules(raised(head, age=old(90), previous=(six_days,)))
    flag = seek(raised(head, age=old(90), previous=(week,)), "RF15")[0]
    assert flag.action.startswith("Measure again")


@pytest.mark.parametrize(
    ("days", "past", "now", "rule"),
    [
        (3, head(38.0), head(40.1), "growth.head_again"),
        (30, head(38.0), head(37.4), "growth.head_again"),
        (3, weighed(4.6), weighed(4.2), "growth.weight_again"),
        (7, number("measure.length", 56, "cm"), number("measure.length", 60, "cm"), "growth.length_again"),
        (60, number("measure.length", 57, "cm"), number("measure.length", 55.5, "cm"), "growth.length_again"),
    ],
)
def test_what_a_slip_could_give_is_measured_again_before_it_is_judged(
    days: int, past: Item, now: Item, rule: str
) -> None:
    (again,) = seek(raised(now, age=old(90), previous=before(90 - days, past)), rule)

    assert again.urgency is Urgency.ASK
    assert f"{days} days before" in again.reason
    assert rule not in rules(raised(past, age=old(90), previous=before(90 - days, past)))
