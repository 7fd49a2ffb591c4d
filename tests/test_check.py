"""The check as a whole: order, ids, what is not known, holding back, law, contradictions, the wrong infant."""

from datetime import date

import pytest
from check_visits import NORMS, old, one, raised, rules, spread
from hypothesis import given
from hypothesis import strategies as st

from pipeline.ages import corrected
from pipeline.check import (
    Options,
    age_at_visit,
    both_shown,
    caution_texts,
    check,
    confirmed_values,
    growth_points,
    standing_cautions,
)
from pipeline.check.facts import fact_of
from pipeline.check.remarks import cited
from pipeline.check.rows import Sourced
from pipeline.errors import InputError
from pipeline.model import Age, Answer, Infant, Item, Mark, Remark, Urgency, Word
from pipeline.records import PastVisit

GIRL = Infant(id="i1", code_name="Wren", sex="female", gestation_weeks=40)
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


def seek(remarks: tuple[Remark, ...], rule: str) -> list[Remark]:
    return [remark for remark in remarks if remark.rule == rule]


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


# ---------------------------------------------------------------- growth


def weighed(kilos: float) -> Item:
    return one("measure.weight", site="whole_body", value=kilos, unit="kg")


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


# ---------------------------------------------------------------- holding back


HIP = one("test.ortolani", "positive", site="hip", side="left")
GREEN = one("symptom.green_vomiting", "present")
PRESSED = one("technique.sustained_pressure", "released", site="cervical_spine")
HELD = one("technique.position_hold", "done", site="hip", side="left")
RUBBED = one("technique.soft_tissue", "done", site="abdomen")


def test_several_signs_and_treatments_raise_one_blocking_question() -> None:
    remarks = raised(HIP, GREEN, PRESSED, HELD, RUBBED, age=old(weeks=6))

    asked = seek(remarks, "HOLD")
    assert [(r.id, r.blocks_signing) for r in asked] == [("HOLD:RF12+RF29", True)]
    assert len(asked[0].items) == 3


def test_a_sign_at_the_hip_holds_back_the_hip_alone() -> None:
    assert "HOLD" not in rules(raised(HIP, PRESSED, age=old(weeks=6)))
    assert "HOLD" in rules(raised(HIP, HELD, age=old(weeks=6)))


def test_a_remark_says_what_is_held_back() -> None:
    hip = seek(raised(HIP, age=old(weeks=6)), "RF29")[0]
    green = seek(raised(GREEN, age=old(weeks=6)), "RF12")[0]

    assert (hip.withhold, green.withhold) == (False, True)
    assert "No manual treatment of hip, thigh, pelvis." in hip.action


def test_nothing_is_asked_where_nothing_was_treated() -> None:
    withheld = one("technique.withheld", "withheld", site="whole_body")

    assert "HOLD" not in rules(raised(GREEN, withheld, age=old(weeks=6)))


def test_what_concerns_safeguarding_is_named_in_no_other_remark() -> None:
    bruise = one("tissue.bruise", "present", site="leg", quote="a bruise on the shin")

    remarks = raised(bruise, PRESSED, GREEN, HELD, age=old(weeks=6))
    alone = raised(bruise, PRESSED, age=old(weeks=6))

    assert seek(remarks, "RF18")[0].safeguarding
    for remark in remarks:
        if not remark.safeguarding:
            assert "bruise" not in f"{remark.title} {remark.reason} {remark.action}".lower()
            assert "RF18" not in remark.id
            assert not any("bruise" in span.quote for span in remark.spans)
    assert seek(alone, "HOLD")[0].safeguarding


def test_a_worried_carer_lifts_the_concern_one_level() -> None:
    worry = one("symptom.caregiver_worry", "present")
    pale = one("symptom.pale_stool", "present")

    assert seek(raised(worry, age=old(weeks=6)), "RF48")[0].urgency is Urgency.WATCH
    assert seek(raised(worry, pale, age=old(weeks=6)), "RF48")[0].urgency is Urgency.EMERGENCY


# ---------------------------------------------------------------- cautions and law


THRUST = one("technique.thrust", "done", site="thoracic_spine")
UNSAID = one("technique.mobilisation", "done", site="thoracic_spine", flags=("force_unsaid",))
NUDGE = one("technique.mobilisation", "done", site="thoracic_spine")


@pytest.mark.parametrize("setting", ["restricted", "prohibited"])
@pytest.mark.parametrize("treatment", [THRUST, UNSAID], ids=["thrust", "force unsaid"])
def test_a_thrust_or_an_unsaid_force_blocks_signing_where_the_law_says_so(setting: str, treatment: Item) -> None:
    remarks = raised(treatment, age=old(months=5), options=Options(jurisdiction=setting))  # type: ignore[arg-type]

    assert [r.blocks_signing for r in seek(remarks, f"LAW.{setting}")] == [True]


@pytest.mark.parametrize(
    ("setting", "treatment", "months"), [("prohibited", NUDGE, 5), ("allowed", THRUST, 5), ("prohibited", THRUST, 25)]
)
def test_nothing_blocks_where_the_law_does_not_say_so(setting: str, treatment: Item, months: int) -> None:
    remarks = raised(treatment, age=old(months=months), options=Options(jurisdiction=setting))  # type: ignore[arg-type]

    assert not any(r.blocks_signing for r in remarks)


def test_the_law_is_recalled_once_an_infant_while_the_setting_is_unknown() -> None:
    first = raised(NUDGE, age=old(months=5))
    before = PastVisit(id="v1", age=old(months=5), told=tuple(r.id for r in first))

    assert "LAW.unknown" in rules(first)
    assert "LAW.unknown" not in rules(raised(NUDGE, age=old(months=6), previous=(before,)))


def test_an_unsaid_force_is_asked_for_whatever_the_setting() -> None:
    assert "LAW.force" in rules(raised(UNSAID, age=old(months=5)))
    assert "LAW.force_allowed" in rules(raised(UNSAID, age=old(months=5), options=Options(jurisdiction="allowed")))


def test_cautions_stand_where_they_matter_and_fold() -> None:
    items = spread(one("symptom.crying", "present"), PRESSED)

    told = {row.id for row in standing_cautions(items, NORMS)}
    again = {row.id for row in standing_cautions(items, NORMS, told=told)}

    assert {"caution.draft", "caution.scope", "caution.red_flags", "caution.evidence"} <= told
    assert "caution.risk" not in told
    assert again == {"caution.draft", "caution.red_flags"}


def test_a_note_carries_the_standing_caution_first_then_those_of_its_lines() -> None:
    items = spread(one("symptom.crying", "present"), PRESSED)

    first = caution_texts(items, NORMS)
    again = caution_texts(items, NORMS, (PastVisit(id="v1", items=items),))

    assert "licensed clinician" in first[0]
    assert "local law decide" in first[0]
    assert first[1].endswith("bmjopen 10/2/e035405)")
    assert "from memory: verify" in first[1]
    assert len(again) == 1
    assert "licensed clinician" in again[0]


@pytest.mark.parametrize(
    ("source", "mark", "shown"),
    [
        ("Some table.", Mark.PUBLISHED, "Some table"),
        ("Some table", Mark.MEMORY, "Some table (from memory: verify)"),
        ("Some table (ages from memory)", Mark.MEMORY, "Some table (ages from memory: verify)"),
    ],
)
def test_a_remembered_source_says_so_once(source: str, mark: Mark, shown: str) -> None:
    assert cited(Sourced(id="x", source=source, mark=mark)) == shown


def test_a_confirmed_value_is_the_last_answer() -> None:
    asked = "VALUE.measure.weight:whole_body"
    right, wrong = (Answer(remark_id=asked, choice=c) for c in ("14 kg is right", "1.4 kg was meant"))

    assert confirmed_values((wrong, right)) == {asked}
    assert confirmed_values((right, wrong)) == frozenset()
    assert confirmed_values((Answer(remark_id="LAW.unknown", choice="is right"),)) == frozenset()


def test_structures_are_named_by_their_labels() -> None:
    soft = one("fontanelle.anterior", "normal", site="fontanelle.anterior")
    full = one("fontanelle.anterior", "bulging", site="fontanelle.anterior")

    reason = seek(raised(soft, full, age=old(months=3)), "CONFLICT.fontanelle")[0].reason

    assert reason == "Of anterior fontanelle it was said normal, then bulging, with no correction or treatment between."


# ---------------------------------------------------------------- contradictions


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
