"""What should not be treated by hand today, the usual cautions, and what the law says."""

import pytest
from check_visits import NORMS, old, one, raised, rules, seek, spread

from pipeline.check import (
    Options,
    caution_texts,
    confirmed_values,
    standing_cautions,
)
from pipeline.check.remarks import cited
from pipeline.check.rows import Sourced
from pipeline.model import Answer, Item, Mark, Urgency
from pipeline.records import PastVisit

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
