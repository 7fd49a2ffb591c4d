"""Every danger sign fires on items that state it and is silent on items that deny it.

The ids are those of the rows in vocab/red_flags.yaml, whose sources stand there.
"""

from pathlib import Path

import pytest
import yaml
from check_visits import NORMS, flag_raised, number, old, raised, seen, warm
from test_red_flags_limits import COMPUTED

from pipeline.check.norms import RED_FLAGS
from pipeline.model import Age, Item, Onset, Urgency

SUDDEN = Onset(sudden=True)
E, S, R, W = Urgency.EMERGENCY, Urgency.SAME_DAY, Urgency.REFER, Urgency.WATCH

TORTICOLLIS = seen("sign.torticollis", site="neck")
FALL = seen("history.injury", site="whole_body")
BREECH = seen("history.breech", site="whole_body")
WEAK_SUCK = seen("reflex.sucking", "weak", "mouth")
LOW_TONE = seen("tone.general", "low", "whole_body")

# flag, age, items that fire it, the urgency it then has, items that leave it silent
SAID: list[tuple[str, Age, tuple[Item, ...], Urgency, tuple[Item, ...]]] = [
    ("RF01", old(90), (warm(38.0),), E, (warm(37.9),)),
    ("RF02", old(months=4), (warm(39.0),), S, (warm(38.9),)),
    ("RF03", old(weeks=4), (warm(35.9),), S, (warm(36.0),)),
    ("RF04", old(months=4), (seen("fontanelle.anterior", "bulging"),), E, (seen("fontanelle.anterior", "normal"),)),
    (
        "RF05",
        old(months=2),
        (seen("fontanelle.anterior", "sunken"), seen("symptom.wet_nappies", "poor")),
        S,
        (seen("fontanelle.anterior", "normal"), seen("symptom.wet_nappies", "poor")),
    ),
    (
        "RF06",
        old(months=7),
        (seen("sign.nonblanching_rash", site="skin"), warm(38.2)),
        E,
        (seen("sign.nonblanching_rash", "absent", "skin"), warm(38.2)),
    ),
    (
        "RF07",
        old(weeks=5),
        (number("measure.respiratory_rate", 61, "/min"),),
        E,
        (number("measure.respiratory_rate", 60, "/min"),),
    ),
    ("RF07", old(months=8), (seen("sign.grunting", site="chest"),), E, (seen("sign.grunting", "absent", "chest"),)),
    (
        "RF07",
        old(months=8),
        (seen("symptom.breathing_pause", site="chest"),),
        E,
        (seen("symptom.breathing_pause", "absent", "chest"),),
    ),
    ("RF08", old(weeks=3), (seen("sign.cyanosis", site="lip"),), E, (seen("sign.cyanosis", site="hand"),)),
    ("RF08", old(weeks=3), (seen("sign.mottled", site="skin"),), E, (seen("sign.mottled", "absent", "skin"),)),
    ("RF09", old(weeks=3), (seen("sign.lethargy"),), E, (seen("sign.lethargy", "absent"),)),
    ("RF09", old(weeks=3), (seen("sign.abnormal_cry"),), E, (seen("sign.abnormal_cry", "absent"),)),
    ("RF10", old(months=5), (seen("symptom.seizure"),), E, (seen("symptom.seizure", "absent"),)),
    ("RF11", old(months=5), (seen("symptom.spasms"),), S, (seen("symptom.spasms", "absent"),)),
    ("RF12", old(weeks=3), (seen("symptom.green_vomiting"),), E, (seen("symptom.green_vomiting", "absent"),)),
    ("RF13", old(weeks=5), (seen("symptom.forceful_vomiting"),), S, (seen("symptom.forceful_vomiting", "absent"),)),
    ("RF14", old(weeks=5), (seen("symptom.blood_passed"),), S, (seen("symptom.blood_passed", "absent"),)),
    ("RF14", old(weeks=5), (seen("tissue.mass", site="abdomen"),), S, (seen("tissue.mass", "absent", "abdomen"),)),
    ("RF15", old(months=4), (seen("sign.sunset_eyes", site="eye"),), S, (seen("sign.sunset_eyes", "absent", "eye"),)),
    ("RF18", old(152), (seen("tissue.bruise", site="leg"),), S, (seen("tissue.bruise", "absent", "leg"),)),
    ("RF19", old(months=14), (seen("tissue.bruise", site="ear"),), S, (seen("tissue.bruise", site="leg"),)),
    ("RF19", old(months=14), (seen("tissue.bruise", site="abdomen"),), S, (seen("tissue.bruise", "absent", "ear"),)),
    (
        "RF19",
        old(months=14),
        (seen("tissue.bruise", site="face", quote="a bruise on the cheek"),),
        S,
        (seen("tissue.bruise", site="face", quote="a bruise on the forehead"),),
    ),
    (
        "RF20",
        old(months=7),
        (FALL, seen("symptom.limb_preference", site="arm", side="left")),
        S,
        (seen("symptom.limb_preference", "absent", "arm"), FALL),
    ),
    (
        "RF20",
        old(weeks=1),
        (seen("tissue.crepitus", site="clavicle", side="right"),),
        S,
        (seen("tissue.crepitus", "absent", "clavicle", side="both"),),
    ),
    (
        "RF21",
        old(months=9),
        (FALL, seen("motion.rotation", "guarded", "neck", side="left")),
        E,
        (FALL, seen("motion.rotation", "normal", "neck", side="left")),
    ),
    ("RF22", old(months=9), (TORTICOLLIS, warm(38.5)), E, (TORTICOLLIS, warm(37.0))),
    ("RF22", old(months=9), (seen("motion.general", "guarded", "neck"), warm(38.5)), E, (warm(38.5),)),
    (
        "RF10",
        old(months=2),
        (seen("motion.general", "limited", "face"),),
        S,
        (seen("motion.general", "normal", "face"),),
    ),
    (
        "RF22",
        old(months=9),
        (seen("sign.torticollis", site="neck", onset=SUDDEN),),
        S,
        (seen("sign.torticollis", "absent", "neck"),),
    ),
    ("RF23", old(months=4), (seen("tone.general", "low", "whole_body", onset=SUDDEN),), E, (LOW_TONE,)),
    (
        "RF23",
        old(months=4),
        (seen("tone.general", "low", "whole_body", onset=Onset(value=7, unit="d")),),
        E,
        (seen("tone.general", "low", "whole_body", onset=Onset(value=8, unit="d")),),
    ),
    ("RF24", old(months=3), (LOW_TONE, WEAK_SUCK), R, (seen("tone.general", "normal", "whole_body"), WEAK_SUCK)),
    (
        "RF25",
        old(months=3),
        (seen("sign.ptosis", site="eye"), WEAK_SUCK, seen("symptom.stool", "poor")),
        E,
        (seen("sign.ptosis", "absent", "eye"), WEAK_SUCK, seen("symptom.stool", "poor")),
    ),
    ("RF26", old(months=11), (seen("milestone.sitting", "lost"),), R, (seen("milestone.sitting", "achieved"),)),
    ("RF27", old(months=5), (seen("sign.tongue_fasciculation"),), S, (seen("sign.tongue_fasciculation", "absent"),)),
    (
        "RF28",
        old(weeks=2),
        (seen("reflex.moro", "asymmetrical", "whole_body", side="right"),),
        S,
        (seen("reflex.moro", site="whole_body"),),
    ),
    (
        "RF28",
        old(weeks=2),
        (seen("motion.spontaneous", "reduced", "shoulder", side="right"),),
        S,
        (seen("motion.spontaneous", "normal", "arm", side="both"),),
    ),
    (
        "RF29",
        old(months=2),
        (seen("test.barlow", "positive", "hip", side="left"),),
        R,
        (seen("test.barlow", "negative", "hip", side="both"),),
    ),
    ("RF29", old(months=2), (seen("joint.clunk", site="hip"),), R, (seen("joint.clunk", "absent", "hip"),)),
    (
        "RF30",
        old(months=3),
        (number("motion.abduction", 59, "deg", "hip"),),
        R,
        (number("motion.abduction", 60, "deg", "hip"),),
    ),
    ("RF31", old(months=5), (BREECH,), R, (BREECH, seen("plan.imaging", "planned", "hip"))),
    ("RF31", old(months=5), (BREECH,), R, (BREECH, seen("history.hip_imaging", "normal", "hip"))),
    ("RF31", old(months=5), (seen("history.family_hip"),), R, (seen("history.family_hip", "absent"),)),
    (
        "RF32",
        old(weeks=8),
        (seen("suture.ridge", site="suture.sagittal"),),
        R,
        (seen("suture.ridge", "absent", "suture.sagittal"),),
    ),
    ("RF33", old(weeks=6), (seen("sign.hair_tuft", site="sacrum"),), R, (seen("sign.hair_tuft", "absent", "sacrum"),)),
    (
        "RF33",
        old(weeks=6),
        (number("measure.dimple_width", 5.1, "mm", "sacrum"),),
        R,
        (number("measure.dimple_width", 5, "mm", "sacrum"),),
    ),
    (
        "RF34",
        old(weeks=6),
        (seen("tissue.mass", site="sternocleidomastoid", side="right"),),
        R,
        (seen("tissue.mass", "absent", "sternocleidomastoid", side="right"),),
    ),
    ("RF38", old(0), (seen("sign.jaundice", site="skin"),), E, (seen("sign.jaundice", "absent", "skin"),)),
    ("RF39", old(weeks=4), (seen("sign.jaundice", site="skin"),), R, (seen("sign.jaundice", "absent", "skin"),)),
    ("RF40", old(weeks=5), (seen("symptom.pale_stool"),), S, (seen("symptom.pale_stool", "absent"),)),
    (
        "RF41",
        old(weeks=5),
        (seen("symptom.feed_distress", quote="sweats at feeds"),),
        S,
        (seen("symptom.feed_distress", quote="chokes now and then"),),
    ),
    (
        "RF41",
        old(weeks=5),
        (seen("sign.femoral_pulse", "weak", "thigh"),),
        S,
        (seen("sign.femoral_pulse", "present", "thigh"),),
    ),
    ("RF42", old(months=8), (seen("milestone.sitting", "not_yet"),), R, (seen("milestone.sitting", "achieved"),)),
    ("RF42", old(months=18), (seen("milestone.walking", "not_yet"),), R, (seen("milestone.walking", "achieved"),)),
    (
        "RF42",
        old(months=11),
        (seen("symptom.limb_preference", site="hand", side="left"),),
        R,
        (seen("symptom.limb_preference", "absent", "hand"),),
    ),
    ("RF43", old(months=5), (seen("test.pull_to_sit", "head_lag", "neck"),), R, (seen("test.pull_to_sit", "normal"),)),
    ("RF43", old(months=4), (seen("milestone.head_control", "not_yet"),), R, (seen("sign.head_lag", "absent"),)),
    ("RF44", old(weeks=2), (seen("sign.clubfoot", site="foot"),), R, (seen("sign.clubfoot", "absent", "foot"),)),
    ("RF45", old(weeks=2), (seen("sign.cleft_palate"),), R, (seen("sign.cleft_palate", "absent"),)),
    ("RF45", old(weeks=2), (seen("sign.bifid_uvula"),), R, (seen("sign.bifid_uvula", "absent"),)),
    ("RF46", old(months=2), (seen("symptom.crying", onset=SUDDEN),), S, (seen("symptom.crying"),)),
    ("RF46", old(months=2), (seen("sign.irritability"),), S, (seen("sign.irritability", degree="slight"),)),
    (
        "RF47",
        old(months=5),
        (seen("history.known_condition", quote="he has Down syndrome"),),
        W,
        (seen("history.known_condition", quote="he has eczema"),),
    ),
    ("RF48", old(months=5), (seen("symptom.caregiver_worry"),), W, (seen("symptom.caregiver_worry", "absent"),)),
    (
        "C01",
        old(months=3),
        (
            seen("symptom.head_preference", site="neck", side="right"),
            seen("sign.plagiocephaly", site="skull", side="right"),
            seen("motion.rotation", "limited", "neck", side="left"),
        ),
        R,
        (
            seen("symptom.head_preference", site="neck", side="right"),
            seen("sign.plagiocephaly", site="skull", side="right"),
            seen("motion.rotation", "normal", "neck", side="left"),
        ),
    ),
    (
        "C02",
        old(weeks=1),
        (
            seen("reflex.moro", "asymmetrical", "whole_body", side="right"),
            seen("tissue.crepitus", site="clavicle", side="right"),
        ),
        S,
        (seen("reflex.moro", site="whole_body"), seen("tissue.crepitus", site="clavicle", side="right")),
    ),
    (
        "C03",
        old(months=4),
        (seen("tissue.crepitus", site="rib", side="left"),),
        S,
        (seen("tissue.crepitus", "absent", "rib", side="left"),),
    ),
    (
        "C04",
        old(months=6),
        (seen("tissue.bruise", site="leg"),),
        Urgency.ASK,
        (seen("tissue.bruise", "absent", "leg"),),
    ),
]

# flag, age, infant, earlier visits and items that fire it; the same that lie on the other side of the limit


@pytest.mark.parametrize(
    ("flag", "age", "fires", "urgency", "silent"), SAID, ids=lambda v: v if isinstance(v, str) else ""
)
def test_a_danger_sign_fires_on_its_items_and_is_silent_on_others(
    flag: str, age: Age, fires: tuple[Item, ...], urgency: Urgency, silent: tuple[Item, ...]
) -> None:
    found = flag_raised(raised(*fires, age=age), flag)

    assert [r.urgency for r in found] == [urgency]
    assert set(found[0].items) <= {i for r in raised(*fires, age=age) for i in r.items}
    assert found[0].items, "a danger sign names what it rests on"
    assert flag_raised(raised(*silent, age=age), flag) == []


def test_every_danger_sign_is_fired_and_silent_somewhere_in_this_file() -> None:
    tried = {row[0] for row in SAID} | {row[0] for row in COMPUTED}

    assert set(RED_FLAGS) <= tried
    assert {row.flag for row in NORMS.red_flags} <= tried


SENTENCES = yaml.safe_load(Path(__file__).with_name("red_flag_sentences.yaml").read_text(encoding="utf-8"))


def test_every_danger_sign_that_can_be_said_has_sentences_for_and_against() -> None:
    by_numbers_alone = {"RF16", "RF17", "RF37"}
    stated = {row["flag"] for row in SENTENCES if row["fire"]}
    denied = {row["flag"] for row in SENTENCES if not row["fire"]}

    assert stated == denied == set(RED_FLAGS) - by_numbers_alone
