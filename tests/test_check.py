"""The check as a whole: order, ids, sources, what is told again, what is not known. All items are invented."""

from datetime import date

import pytest
from check_visits import GIRL, NORMS, old, one, raised, rules, seek, spread, weighed
from hypothesis import given
from hypothesis import strategies as st

from pipeline.ages import corrected
from pipeline.check import (
    Options,
    age_at_visit,
    both_shown,
    check,
)
from pipeline.errors import InputError
from pipeline.model import Age, Infant, Item, Mark
from pipeline.records import PastVisit

POOL = spread(
    one("test.ortolani", "positive", site="hip", side="left"),
    one("joint.clunk", "present", site="hip", side="left"),
    one("exam.overall", "normal", site="hip", side="left"),
    one("reflex.moro", "asymmetrical", site="whole_body", side="right"),
    one("tissue.crepitus", "present", site="clavicle", side="right"),
    one("tissue.bruise", "present", site="leg", side="left"),
    one("measure.weight", site="whole_body", value=4.1, unit="kg"),
    one("measure.weight", site="whole_body", value=50, unit="kg"),
    one("measure.head_circumference", site="skull", value=37.5, unit="cm"),
    one("measure.temperature", site="whole_body", value=38.2, unit="Cel"),
    one("motion.rotation", site="neck", side="left", value=60, unit="deg"),
    one("motion.rotation", site="neck", side="right", value=95, unit="deg"),
    one("sign.torticollis", "present", site="neck"),
    one("tissue.tension", "tight", site="sternocleidomastoid", side="left"),
    one("technique.soft_tissue", "done", site="sternocleidomastoid", side="left"),
    one("tissue.tension", "normal", site="sternocleidomastoid", side="left"),
    one("history.breech", "present", site="whole_body"),
    one("symptom.caregiver_worry", "present"),
    one("advice.return_if", "given", quote="call me the same day if he gets a fever"),
    one("technique.mobilisation", "done", site="thoracic_spine", flags=("force_unsaid",)),
)


@given(st.permutations(POOL), st.integers(0, len(POOL)), st.integers(0, 400))
def test_remarks_do_not_depend_on_the_order_of_the_items(shuffled: list[Item], kept: int, days: int) -> None:
    part = shuffled[:kept]
    age = Age(days=days, corrected_days=days)
    told = check(part, infant=GIRL, age=age, norms=NORMS)

    assert told == check(sorted(part, key=lambda i: i.id), infant=GIRL, age=age, norms=NORMS)
    assert len({remark.id for remark in told}) == len(told)


RESULTS = [
    "present",
    "absent",
    "normal",
    "abnormal",
    "positive",
    "negative",
    "limited",
    "tight",
    "weak",
    "asymmetrical",
]
ANY_ITEM = st.builds(
    one,
    st.sampled_from(sorted(NORMS.concepts)),
    st.sampled_from([*RESULTS, "not_assessed", None]),
    site=st.sampled_from([None, *sorted(NORMS.parents)]),
    side=st.sampled_from(["left", "right", "both", "none"]),
    value=st.one_of(st.none(), st.floats(-1e6, 1e6)),
    unit=st.sampled_from([None, "kg", "cm", "mo", "wk", "deg", "/min", "Cel"]),
    quote=st.text(max_size=30),
    at=st.integers(0, 3600),
)


@given(st.lists(ANY_ITEM, max_size=12), st.one_of(st.none(), st.integers(0, 1100)), st.sampled_from([None, 30, 40]))
def test_any_items_give_remarks_that_say_why_and_whence(items: list[Item], days: int | None, weeks: int | None) -> None:
    age = None if days is None else Age(days=days, corrected_days=corrected(days, weeks))
    infant = Infant(id="i1", code_name="Wren", gestation_weeks=weeks)
    spans = {span for item in items for span in item.evidence}

    for remark in check(items, infant=infant, age=age, norms=NORMS):
        assert remark.source
        assert remark.reason[-1] in ".?)"
        assert "{" not in remark.reason
        assert set(remark.spans) <= spans
        assert set(remark.items) <= {item.id for item in items}


# ---------------------------------------------------------------- ids, sources, what is told again


def test_a_remark_keeps_its_id_when_other_things_are_said() -> None:
    alone = raised(one("test.ortolani", "positive", site="hip", side="left"), age=old(weeks=6))
    among = raised(
        one("reflex.rooting", "present", site="mouth"),
        one("test.ortolani", "positive", site="hip", side="left"),
        age=old(weeks=7),
    )

    assert [r.id for r in seek(alone, "RF29")] == ["RF29:hip:left"]
    assert [r.id for r in seek(among, "RF29")] == ["RF29:hip:left"]


def test_what_is_remembered_says_so_beside_the_remark() -> None:
    remark = seek(raised(one("symptom.pale_stool", "present"), one("sign.jaundice", "present"), age=old(0)), "RF38")[0]

    assert remark.mark is Mark.MEMORY
    assert remark.source.endswith("(from memory: verify)")


def test_the_window_shows_both_ages_of_an_infant_born_early() -> None:
    early = GIRL.model_copy(update={"gestation_weeks": 30})
    remarks = raised(one("reflex.moro", "present"), age=old(months=7, born_at=30), infant=early)

    assert "7 months old, corrected 4 months" in seek(remarks, "moro.expected")[0].window


def test_what_is_expected_is_told_once_and_a_danger_sign_always() -> None:
    items = (
        one("reflex.moro", "present", site="whole_body"),
        one("test.ortolani", "positive", site="hip", side="left"),
    )
    first = raised(*items, age=old(weeks=6))
    before = PastVisit(id="v1", age=old(weeks=6), items=spread(*items), told=tuple(r.id for r in first))

    again = rules(raised(*items, age=old(weeks=7), previous=(before,)))

    assert "moro.expected" in rules(first)
    assert "moro.expected" not in again
    assert "RF29" in again


def test_what_is_expected_is_told_once_on_whichever_side_and_today_s_growth_each_time() -> None:
    both = one("test.ortolani", "negative", site="hip", side="both")
    first = raised(both, weighed(4.6), age=old(weeks=6))
    before = PastVisit(id="v1", age=old(weeks=6), told=tuple(r.id for r in first))

    again = rules(
        raised(one("test.ortolani", "negative", site="hip"), weighed(4.9), age=old(weeks=8), previous=(before,))
    )

    assert {"hip.stable", "growth.weight"} <= rules(first)
    assert "hip.stable" not in again
    assert "growth.weight" in again


def test_no_setting_silences_a_danger_sign() -> None:
    flags = [one("symptom.green_vomiting", "present"), one("tissue.bruise", "present", site="leg")]
    usual = raised(*flags, age=old(weeks=6))
    for jurisdiction in ("allowed", "restricted", "prohibited"):
        set_otherwise = Options(jurisdiction=jurisdiction, confirmed=frozenset(r.id for r in usual))
        others = raised(*flags, age=old(weeks=6), options=set_otherwise)
        assert {"RF12", "RF18"} <= rules(others)


# ---------------------------------------------------------------- what is not known


def test_an_unknown_age_is_asked_for_and_nothing_is_assumed() -> None:
    remarks = raised(one("reflex.moro", "present"), one("sign.clubfoot", "present", site="foot"), age=None)

    assert {"ASK.age", "RF44"} <= rules(remarks)
    assert not {"moro.expected", "moro.persists"} & rules(remarks)


def test_an_age_that_may_decide_about_a_danger_is_asked_for_before_signing() -> None:
    (harmless,) = seek(raised(one("reflex.moro", "present"), age=None), "ASK.age")
    (fever,) = seek(raised(one("measure.temperature", value=38.2, unit="Cel"), age=None), "ASK.age")
    (bruise,) = seek(raised(one("tissue.bruise", "present", site="leg"), age=None), "ASK.age")

    assert not harmless.blocks_signing
    assert fever.blocks_signing
    assert "Fever under three months" in fever.reason
    assert bruise.blocks_signing
    assert "danger" not in bruise.reason, "safeguarding is named in no remark but its own"


def test_unknown_weeks_at_birth_are_asked_for_only_where_they_decide() -> None:
    unsure = GIRL.model_copy(update={"gestation_weeks": None})

    asked = raised(one("reflex.moro", "present"), age=old(months=8, born_at=None), infant=unsure)
    clear = raised(one("reflex.moro", "present"), age=old(months=13, born_at=None), infant=unsure)

    assert "ASK.gestation" in rules(asked)
    assert "moro.persists" not in rules(asked)
    assert "moro.persists" in rules(clear)
    assert "ASK.gestation" not in rules(clear)


def test_weeks_at_birth_told_in_the_visit_count() -> None:
    unsure = GIRL.model_copy(update={"gestation_weeks": None})
    told = one("history.gestation", value=30, unit="wk")

    remarks = raised(told, one("reflex.moro", "present"), age=old(months=8, born_at=None), infant=unsure)

    assert "moro.expected" in rules(remarks)
    assert "ASK.gestation" not in rules(remarks)


def test_the_sex_is_asked_for_where_growth_needs_it() -> None:
    unsure = GIRL.model_copy(update={"sex": None})

    remarks = raised(one("measure.weight", value=5.0, unit="kg"), age=old(months=3), infant=unsure)

    assert "ASK.sex" in rules(remarks)
    assert "growth.weight" not in rules(remarks)


def test_the_birth_weight_is_asked_for_in_the_first_weeks() -> None:
    charted = GIRL.model_copy(update={"birth_weight_kg": 3.4})

    assert "ASK.birth_weight" in rules(raised(weighed(3.3), age=old(10)))
    assert "ASK.birth_weight" not in rules(raised(weighed(3.3), age=old(10), infant=charted))
    assert "ASK.birth_weight" not in rules(raised(weighed(5.3), age=old(weeks=10)))


@pytest.mark.parametrize(
    ("days", "weeks", "expected"),
    [(56, 35, 21), (56, 37, 56), (56, 36, 28), (10, 30, -60), (731, 30, 731), (100, None, None)],
)
def test_corrected_age(days: int, weeks: int | None, expected: int | None) -> None:
    assert corrected(days, weeks) == expected


def test_the_age_is_that_of_the_chart_then_that_told() -> None:
    told = (one("history.age", value=6, unit="wk"), one("history.age", value=14, unit="wk", at=1))
    dated = GIRL.model_copy(update={"born": date(2026, 10, 1)})

    assert age_at_visit(dated, date(2026, 11, 1), told) == Age(days=31, corrected_days=31, as_said="history age")
    assert age_at_visit(GIRL, date(2026, 11, 1), told) == Age(days=98, corrected_days=98, as_said="history age")
    assert age_at_visit(GIRL, date(2026, 11, 1)) is None
    with pytest.raises(InputError):
        age_at_visit(dated, date(2026, 9, 1))


def test_ages_are_shown_in_the_words_of_the_trade() -> None:
    assert both_shown(Age(days=9, corrected_days=9)) == "9 days old, no correction"
    assert both_shown(Age(days=98, corrected_days=42)) == "3 months old, corrected 6 weeks"
    assert both_shown(Age(days=20, corrected_days=-15)) == "2 weeks old, corrected 3 weeks before term"
    assert both_shown(Age(days=20)) == "2 weeks old, corrected age not known"


@pytest.mark.parametrize(
    ("item", "rule", "urgency"),
    [
        (one("measure.capillary_refill", site="skin", value=3, unit="s"), "refill.slow", "same_day"),
        (one("measure.capillary_refill", site="skin", value=2.9, unit="s"), "refill.expected", "expected"),
        (one("sign.turgor", "reduced", site="skin"), "turgor.reduced", "emergency"),
        (one("sign.dry_mouth", "present", site="mouth"), "mouth.dry", "ask"),
    ],
)
def test_signs_of_dryness_and_of_the_circulation(item: Item, rule: str, urgency: str) -> None:
    assert [r.urgency.value for r in seek(raised(item, age=old(months=4)), rule)] == [urgency]
