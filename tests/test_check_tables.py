"""Scales, the torticollis table, P.A.R.T. and codes: every cell, and what is said where a number is missing."""

import pytest
from check_visits import NORMS, old, one, raised, rules, spread

from pipeline.check import part_table
from pipeline.check.codes import leaf_code
from pipeline.check.facts import Facts, fact_of
from pipeline.check.tables import head_shape, level, torticollis, torticollis_grade
from pipeline.errors import InputError
from pipeline.model import Item


@pytest.mark.parametrize(
    ("months", "difference", "mass", "preference", "grade"),
    [
        (0, None, False, True, 1),
        (6, 14.9, False, False, 1),
        (6, 15, False, False, 2),
        (6, 30, False, False, 2),
        (6, 31, False, False, 3),
        (3, None, True, False, 3),
        (7, 10, False, False, 4),
        (9, None, False, True, 4),
        (9, 15, False, False, 6),
        (10, 10, False, False, 5),
        (12, 30, False, False, 6),
        (12, 31, False, False, 7),
        (8, 5, True, False, 7),
        (13, 5, False, False, 8),
        (14, None, True, False, 8),
    ],
)
def test_every_cell_of_the_torticollis_table(
    months: int, difference: float | None, mass: bool, preference: bool, grade: int
) -> None:
    found = torticollis_grade(NORMS, months, difference, mass=mass, preference=preference)

    assert found is not None
    assert found.grade == grade


def test_no_difference_no_mass_no_preference_is_no_grade() -> None:
    assert torticollis_grade(NORMS, 3, 0, mass=False, preference=False) is None


def facts_of(*items: Item) -> Facts:
    return Facts([fact_of(item) for item in spread(*items)], NORMS.parents)


TORTICOLLIS = one("sign.torticollis", "present", site="neck")
LEFT = one("motion.rotation", site="neck", side="left", value=60, unit="deg")
RIGHT = one("motion.rotation", site="cervical_spine", side="right", value=90, unit="deg")


def test_what_is_missing_for_the_grade_is_said() -> None:
    one_side = torticollis(facts_of(TORTICOLLIS, LEFT), old(months=3), NORMS)
    no_age = torticollis(facts_of(TORTICOLLIS, LEFT, RIGHT), None, NORMS)

    assert one_side is not None
    assert one_side.missing == "degrees of passive rotation to both sides"
    assert no_age is not None
    assert (no_age.grade, no_age.missing) == (None, "the age")


def test_the_first_rotation_of_each_side_counts_not_that_after_treatment() -> None:
    after = one("motion.rotation", site="neck", side="left", value=80, unit="deg")

    found = torticollis(facts_of(TORTICOLLIS, LEFT, RIGHT, after), old(months=3), NORMS)

    assert found is not None
    assert (found.difference, found.grade) == (30, 2)


def test_where_the_clinician_excludes_a_torticollis_no_grade_is_given() -> None:
    excluded = one("sign.torticollis", "absent", site="neck")

    assert torticollis(facts_of(excluded, LEFT, RIGHT), old(months=3), NORMS) is None


@pytest.mark.parametrize(
    ("scale", "value", "word"),
    [
        ("head_asymmetry", 3.49, "level 1"),
        ("head_asymmetry", 3.5, "level 2"),
        ("head_asymmetry", 6.25, "level 3"),
        ("head_asymmetry", 8.75, "level 4"),
        ("head_asymmetry", 11, "level 4"),
        ("head_asymmetry", 11.1, "level 5"),
        ("diagonal_difference", 4, "normal"),
        ("diagonal_difference", 10, "moderate"),
        ("heel_line", 2, "normal"),
        ("heel_line", 3, "mild"),
        ("heel_line", 5, "severe"),
        ("tabby", 5, "impaired"),
        ("tabby", 6, "borderline"),
    ],
)
def test_scales(scale: str, value: float, word: str) -> None:
    assert level(NORMS, scale, value) == word


@pytest.mark.parametrize(("scale", "value"), [("tabby", 9), ("heel_line", -1), ("no such scale", 1)])
def test_a_number_off_the_scale_is_refused(scale: str, value: float) -> None:
    with pytest.raises(InputError, match="lies on no step"):
        level(NORMS, scale, value)


def test_a_diagonal_of_nothing_is_refused() -> None:
    with pytest.raises(InputError, match="above 0 mm"):
        head_shape(0, 130)


def test_head_diagonals_told_are_computed_with_their_formula() -> None:
    diagonals = [one("measure.head_diagonal", site="skull", value=cm, unit="cm") for cm in (14.0, 13.0)]

    remark = next(r for r in raised(*diagonals, age=old(months=4)) if r.rule == "skull.asymmetry_index")

    assert "7.14 % of the longer diagonal (7.69 % of the shorter)" in remark.reason


def test_width_and_length_of_the_head_give_the_cephalic_index() -> None:
    wide = one("measure.head_width", site="skull", value=12, unit="cm")
    long = one("measure.head_length", site="skull", value=15, unit="cm")

    assert "skull.cephalic_index" in rules(raised(wide, long, age=old(months=4)))


TENDER = one("tissue.tenderness", "present", site="cervical_spine")
ROTATED = one("alignment.rotation", "rotated", site="cervical_spine", side="left")
LIMITED = one("motion.rotation", "limited", site="neck", side="left")
TIGHT = one("tissue.tension", "tight", site="suboccipital")


@pytest.mark.parametrize(
    ("items", "met", "why"),
    [
        ((), False, "0 of 4; two are needed"),
        ((ROTATED,), False, "1 of 4; two are needed"),
        ((TENDER, TIGHT), False, "one of the two must be A"),
        ((TENDER, ROTATED), True, "P and A are supported"),
        ((LIMITED, TIGHT), True, "R and T are supported"),
    ],
)
def test_part_needs_two_letters_one_of_them_a_or_r(items: tuple[Item, ...], met: bool, why: str) -> None:
    table = part_table(spread(*items), NORMS)

    assert table.met is met
    assert table.why.startswith(why)


def test_the_part_table_is_no_part_of_the_check() -> None:
    assert not any("P.A.R.T" in f"{r.title} {r.reason}" for r in raised(TENDER, ROTATED, TIGHT, age=old(months=3)))


@pytest.mark.parametrize("code", ["Q75.0", "Q75.00", "Q65.0", "Q66.0", "Q66.2", "Q66.22", "R63.3", "M26.60"])
def test_codes_that_are_no_leaves_are_refused(code: str) -> None:
    with pytest.raises(InputError, match="not a leaf"):
        leaf_code(code, NORMS)


def test_an_unknown_code_is_refused() -> None:
    with pytest.raises(InputError, match="is not in"):
        leaf_code("Z99.9", NORMS)


def test_rotation_by_own_effort_is_not_graded() -> None:
    left = one("motion.rotation", site="neck", side="left", value=90, unit="deg", quote="active rotation left ninety")
    right = one("motion.rotation", site="neck", side="right", value=50, unit="deg", quote="active rotation right fifty")

    found = torticollis(facts_of(TORTICOLLIS, left, right), old(months=3), NORMS)

    assert found is not None
    assert found.difference is None
    assert "passive" in found.missing
