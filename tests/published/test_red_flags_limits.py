"""Danger signs that are computed, and those that an age decides: on both sides of their limits."""

import pytest
from check_visits import GIRL, before, flag_raised, head, old, one, raised, seen, warm, weighed

from pipeline.model import Age, Infant, Item
from pipeline.records import PastVisit

BOY_3500 = Infant(id="i1", code_name="Wren", sex="male", gestation_weeks=40, birth_weight_kg=3.5)

FAR_BACK = before(60, head(38.2))
COMPUTED: list[
    tuple[str, Age, Infant, tuple[PastVisit, ...], tuple[Item, ...], tuple[PastVisit, ...], tuple[Item, ...]]
] = [
    ("RF15", old(90), GIRL, before(83, head(39.0)), (head(40.1),), before(83, head(39.0)), (head(40.0),)),
    ("RF15", old(90), GIRL, before(76, head(38.0)), (head(40.1),), before(76, head(38.0)), (head(39.9),)),
    ("RF16", old(120), GIRL, FAR_BACK, (head(42.3),), FAR_BACK, (head(41.9),)),
    ("RF17", old(183), GIRL, (), (head(39.5),), (), (head(39.6),)),
    ("RF35", old(4), BOY_3500, (), (weighed(3.14),), (), (weighed(3.15),)),
    ("RF35", old(20), BOY_3500, (), (weighed(3.14),), (), (weighed(3.15),)),
    ("RF36", old(21), BOY_3500, (), (weighed(3.49),), (), (weighed(3.5),)),
    ("RF37", old(183), GIRL, (), (weighed(5.69),), (), (weighed(5.70),)),
]


@pytest.mark.parametrize(
    ("flag", "age", "infant", "past", "fires", "silent_past", "silent"),
    COMPUTED,
    ids=[f"{row[0]}-{n}" for n, row in enumerate(COMPUTED)],
)
def test_a_computed_danger_sign_fires_beyond_its_limit_only(
    flag: str,
    age: Age,
    infant: Infant,
    past: tuple[PastVisit, ...],
    fires: tuple[Item, ...],
    silent_past: tuple[PastVisit, ...],
    silent: tuple[Item, ...],
) -> None:
    assert len(flag_raised(raised(*fires, age=age, infant=infant, previous=past), flag)) == 1
    assert flag_raised(raised(*silent, age=age, infant=infant, previous=silent_past), flag) == []


AGES: list[
    tuple[str, tuple[Item, ...], Age, Age]
] = [  # flag, items, an age at which it fires, one at which it does not
    ("RF01", (warm(38.4),), old(91), old(92)),
    ("RF02", (warm(39.2),), old(92), old(months=6)),
    ("RF03", (warm(35.5),), old(91), old(92)),
    ("RF11", (seen("symptom.spasms"),), old(months=1), old(weeks=4)),
    ("RF18", (seen("tissue.bruise", site="arm"),), old(152), old(153)),
    ("RF19", (seen("tissue.bruise", site="ear"),), old(153), old(152)),
    ("RF30", (seen("motion.abduction", "limited", "hip", side="both"),), old(92), old(91)),
    ("RF31", (seen("history.breech", site="whole_body"),), old(182), old(183)),
    ("RF32", (seen("suture.ridge", site="suture.lambdoid", side="left"),), old(14), old(13)),
    ("RF36", (weighed(3.2),), old(21), old(20)),
    ("RF38", (seen("sign.jaundice", site="skin"),), old(0), old(1)),
    ("RF39", (seen("sign.jaundice", site="skin"),), old(15), old(14)),
    ("RF42", (seen("milestone.walking", "not_yet"),), old(months=18), old(547)),
    ("RF43", (seen("sign.head_lag", site="neck"),), old(months=5), old(152)),
]


@pytest.mark.parametrize(("flag", "items", "inside", "outside"), AGES, ids=[row[0] for row in AGES])
def test_the_age_limit_decides(flag: str, items: tuple[Item, ...], inside: Age, outside: Age) -> None:
    assert flag_raised(raised(*items, age=inside, infant=BOY_3500), flag)
    assert not flag_raised(raised(*items, age=outside, infant=BOY_3500), flag)


def test_severe_torticollis_by_degrees_is_rf34_and_less_is_not() -> None:
    def turned(left: float) -> tuple[Item, ...]:
        right = one("motion.rotation", site="neck", side="right", value=100, unit="deg")
        return (
            seen("sign.torticollis", site="neck"),
            right,
            one("motion.rotation", site="neck", side="left", value=left, unit="deg"),
        )

    assert flag_raised(raised(*turned(69), age=old(months=3)), "RF34")
    assert not flag_raised(raised(*turned(70), age=old(months=3)), "RF34")


@pytest.mark.parametrize(
    ("kilos_now", "birth", "fires"),
    [
        (3.75, 2.72, True),
        (3.77, 2.72, False),
        (4.29, 3.5, True),
        (4.31, 3.5, False),
        (5.1, 4.6, True),
        (5.12, 4.6, False),
    ],
)
def test_faltering_counts_centile_spaces_by_where_it_began(kilos_now: float, birth: float, fires: bool) -> None:
    boy = BOY_3500.model_copy(update={"birth_weight_kg": birth})

    assert bool(flag_raised(raised(weighed(kilos_now), age=old(42), infant=boy), "RF37")) is fires


def test_hip_abduction_differing_by_twenty_degrees_is_rf30_and_by_less_is_not() -> None:
    def opened(left: float) -> tuple[Item, Item]:
        right = one("motion.abduction", site="hip", side="right", value=82, unit="deg")
        return right, one("motion.abduction", site="hip", side="left", value=left, unit="deg")

    assert flag_raised(raised(*opened(62), age=old(months=5)), "RF30")
    assert not flag_raised(raised(*opened(63), age=old(months=5)), "RF30")
