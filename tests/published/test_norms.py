"""Fifty-six check values from published guidance and this project's own choices; each test's id names its source."""

from dataclasses import dataclass, field

import pytest
from check_visits import NORMS, old, one, raised, rules, verdict

from pipeline.check import part_table
from pipeline.check.codes import leaf_code
from pipeline.check.tables import head_shape, level
from pipeline.errors import InputError
from pipeline.model import Age, Infant, Item, Side
from pipeline.records import PastVisit

TERM_GIRL = Infant(id="i1", code_name="Wren", sex="female", gestation_weeks=40)
TERM_BOY = Infant(id="i1", code_name="Wren", sex="male", gestation_weeks=40)


@dataclass(frozen=True)
class Case:
    """Items at an age, and what they must give: the most pressing verdict, rules that are there, rules that are not."""

    id: str
    items: tuple[Item, ...]
    age: Age
    expected: str
    has: tuple[str, ...] = ()
    lacks: tuple[str, ...] = ()
    infant: Infant = TERM_GIRL
    previous: tuple[PastVisit, ...] = field(default=())


def temp(value: float) -> Item:
    return one("measure.temperature", site="whole_body", value=value, unit="Cel")


def breaths(value: float) -> Item:
    return one("measure.respiratory_rate", site="whole_body", value=value, unit="/min")


def beats(value: float) -> Item:
    return one("measure.heart_rate", site="whole_body", value=value, unit="/min")


def head(value: float) -> Item:
    return one("measure.head_circumference", site="skull", value=value, unit="cm")


def kilos(value: float) -> Item:
    return one("measure.weight", site="whole_body", value=value, unit="kg")


def opens(side: Side, value: float) -> Item:
    return one("motion.abduction", site="hip", side=side, value=value, unit="deg")


def turns(left: float, right: float) -> tuple[Item, Item]:
    return (
        one("motion.rotation", site="neck", side="left", value=left, unit="deg"),
        one("motion.rotation", site="neck", side="right", value=right, unit="deg"),
    )


def bruise(site: str) -> Item:
    return one("tissue.bruise", "present", site=site)


def dimple(width: float, distance: float, *more: Item) -> tuple[Item, ...]:
    return (
        one("sign.sacral_dimple", "present", site="sacrum"),
        one("measure.dimple_width", site="sacrum", value=width, unit="mm"),
        one("measure.dimple_distance", site="sacrum", value=distance, unit="cm"),
        one("sign.dimple_base", "present", site="sacrum"),
        *more,
    )


def born(kg: float, sex_of: Infant = TERM_BOY) -> Infant:
    return sex_of.model_copy(update={"birth_weight_kg": kg})


PRETERM_34 = TERM_GIRL.model_copy(update={"gestation_weeks": 34})
PRETERM_30 = TERM_GIRL.model_copy(update={"gestation_weeks": 30})
PRETERM_35 = TERM_GIRL.model_copy(update={"gestation_weeks": 35})
MORO = one("reflex.moro", "present", site="whole_body")
JAUNDICE = one("sign.jaundice", "present", site="skin")
PARACHUTE_ABSENT = one("reflex.parachute", "absent", site="arm")
EXTENSOR_BOTH = one("reflex.plantar_response", "extensor", site="foot", side="both")
WEEK_AGO = PastVisit(id="v1", age=old(83), items=(head(39.0),))

CASES = [
    Case("01-10d-38.0-AAP2021+NG143", (temp(38.0),), old(10), "emergency", ("RF01",)),
    Case("02-89d-38.0-NG143", (temp(38.0),), old(89), "emergency", ("RF01",)),
    Case("03-4mo-38.5-NG143", (temp(38.5),), old(months=4), "ask", ("temp.fever",), ("RF01", "RF02")),
    Case("04-5mo-39.0-NG143", (temp(39.0),), old(months=5), "same_day", ("RF02",)),
    Case(
        "05-14wk-born34-38.1-either-age-our-choice",
        (temp(38.1),),
        old(weeks=14, born_at=34),
        "emergency",
        ("RF01",),
        infant=PRETERM_34,
    ),
    Case("06-7mo-RR52-NG143", (breaths(52),), old(months=7), "same_day"),
    Case("07-1mo-RR58-WHO", (breaths(58),), old(months=1), "expected"),
    Case("08a-1mo-RR60-WHO", (breaths(60),), old(months=1), "same_day", lacks=("RF07",)),
    Case("08b-1mo-RR61-NG143", (breaths(61),), old(months=1), "emergency", ("RF07",)),
    Case("09-8mo-HR165-NG143", (beats(165),), old(months=8), "same_day"),
    Case("10-3wk-HR150-Fleming2011", (beats(150),), old(weeks=3), "expected"),
    Case("11-2mo-Moro-present-brown", (MORO,), old(months=2), "expected"),
    Case("12-7mo-Moro-present-brown", (MORO,), old(months=7), "refer"),
    Case(
        "13-2wk-Moro-absent-right-MedlinePlus",
        (one("reflex.moro", "absent", site="whole_body", side="right"),),
        old(weeks=2),
        "same_day",
        ("RF28",),
    ),
    Case("14-7mo-born30-Moro-corrected-age", (MORO,), old(months=7, born_at=30), "expected", infant=PRETERM_30),
    Case(
        "15-3mo-ATNR-obligatory-brown",
        (one("reflex.atnr", "present", site="neck", quote="an obligatory ATNR, she can't get out of it"),),
        old(months=3),
        "refer",
    ),
    Case("16-8mo-ATNR-present-study-cards", (one("reflex.atnr", "present", site="neck"),), old(months=8), "refer"),
    Case("17-10mo-plantars-up-both-MedlinePlus", (EXTENSOR_BOTH,), old(months=10), "expected"),
    Case(
        "18-10mo-plantar-up-left-only-MedlinePlus",
        (
            one("reflex.plantar_response", "extensor", site="foot", side="left"),
            one("reflex.plantar_response", "flexor", site="foot", side="right"),
        ),
        old(months=10),
        "refer",
    ),
    Case("19-8mo-parachute-absent-brown", (PARACHUTE_ABSENT,), old(months=8), "no_flag"),
    Case("20-12mo-parachute-absent-brown", (PARACHUTE_ABSENT,), old(months=12), "refer"),
    Case(
        "21-2mo-Ortolani-clunk-left-bmjbp",
        (one("test.ortolani", "positive", site="hip", side="left"),),
        old(months=2),
        "refer",
        ("RF29",),
    ),
    Case(
        "22-2mo-click-abduction-equal-Norlen2022",
        (one("joint.click", "present", site="hip"), opens("both", 75)),
        old(months=2),
        "watch",
        lacks=("RF29", "RF30"),
    ),
    Case(
        "23-5mo-Ortolani-Barlow-negative-IHDI",
        (one("test.ortolani", "negative", site="hip"), one("test.barlow", "negative", site="hip")),
        old(months=5),
        "ask",
        ("hip.not_informative", "hip.ask_abduction"),
        ("hip.stable",),
    ),
    Case("24-5mo-abduction-50-75-RACGP", (opens("left", 50), opens("right", 75)), old(months=5), "refer", ("RF30",)),
    Case(
        "25-3mo-breech-never-imaged-AAOS",
        (
            one("history.breech", "present", site="whole_body"),
            one("exam.overall", "normal", site="hip", side="both"),
            opens("both", 75),
        ),
        old(months=3),
        "refer",
        ("RF31",),
    ),
    Case("26-4mo-rotation-100-100-Ohman2008", turns(100, 100), old(months=4), "expected"),
    Case("32-16mo-fontanelle-closed-Pindrik2014", (one("fontanelle.anterior", "closed"),), old(months=16), "expected"),
    Case("33-6mo-fontanelle-closed-Pindrik2014", (one("fontanelle.anterior", "closed"),), old(months=6), "watch"),
    Case("34-25mo-fontanelle-open-our-choice", (one("fontanelle.anterior", "open"),), old(months=25), "refer"),
    Case("35-4mo-bulging-NG143", (one("fontanelle.anterior", "bulging"),), old(months=4), "emergency", ("RF04",)),
    Case("36-boy-61d-head-42.5-WHO2006", (head(42.5),), old(61), "watch", ("growth.head_watch",), infant=TERM_BOY),
    Case("37-girl-183d-head-38.0-WHO2006+NG127", (head(38.0),), old(183), "refer", ("RF17", "growth.head_refer")),
    Case("38-head-up-1.2-in-7d-NG1", (head(40.2),), old(90), "same_day", ("RF15",), previous=(WEEK_AGO,)),
    Case("39-3500-to-3120-day4-NG75", (kilos(3.12),), old(4), "same_day", ("RF35",), infant=born(3.5)),
    Case("40-3500-to-3200-day4-NG75", (kilos(3.2),), old(4), "expected", lacks=("RF35",), infant=born(3.5)),
    Case("41a-below-birth-weight-day15-our-choice", (kilos(3.4),), old(15), "watch", infant=born(3.5)),
    Case("41b-below-birth-weight-day22-NG75", (kilos(3.4),), old(22), "refer", ("RF36",), infant=born(3.5)),
    Case("42-4mo-any-bruise-TEN4", (bruise("leg"),), old(months=4), "same_day", ("RF18",)),
    Case(
        "43-14mo-walker-shin-bruise-TEN4",
        (one("milestone.walking", "achieved"), bruise("leg")),
        old(months=14),
        "expected",
        lacks=("RF18", "RF19", "C04"),
    ),
    Case("44-14mo-ear-bruise-TEN4", (bruise("ear"),), old(months=14), "same_day", ("RF19",)),
    Case("45-green-vomit-NG1", (one("symptom.green_vomiting", "present"),), old(months=9), "emergency", ("RF12",)),
    Case("46-dimple-3mm-2cm-base-seen-radiopaedia", dimple(3, 2), old(weeks=6), "expected", lacks=("RF33",)),
    Case("47a-dimple-6mm-fpnotebook", dimple(6, 2), old(weeks=6), "refer", ("RF33",)),
    Case("47b-dimple-3cm-from-anus-fpnotebook", dimple(3, 3), old(weeks=6), "refer", ("RF33",)),
    Case(
        "47c-dimple-with-tuft-fpnotebook",
        dimple(3, 2, one("sign.hair_tuft", "present", site="sacrum")),
        old(weeks=6),
        "refer",
        ("RF33",),
    ),
    Case("48-8.5mo-not-sitting-NG127", (one("milestone.sitting", "not_yet"),), old(months=8.5), "refer", ("RF42",)),
    Case("49-10mo-not-crawling-WHO", (one("milestone.crawling", "not_yet"),), old(months=10), "expected"),
    Case("50-18mo-not-walking-NG127", (one("milestone.walking", "not_yet"),), old(months=18), "refer", ("RF42",)),
    Case(
        "51-9mo-right-hand-only-NG127",
        (one("symptom.limb_preference", "present", site="hand", side="left"),),
        old(months=9),
        "refer",
        ("RF42",),
    ),
    Case("52a-jaundice-20-hours-NICE", (JAUNDICE,), old(0), "emergency", ("RF38",)),
    Case("52b-jaundice-16d-term-NG98", (JAUNDICE,), old(16), "refer", ("RF39",)),
    Case("52c-jaundice-16d-born35-NG98", (JAUNDICE,), old(16, born_at=35), "watch", infant=PRETERM_35),
]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.id)
def test_check_value(case: Case) -> None:
    remarks = raised(*case.items, age=case.age, infant=case.infant, previous=case.previous)

    assert verdict(remarks) == case.expected
    assert set(case.has) <= rules(remarks)
    assert not set(case.lacks) & rules(remarks)


MASS = one("tissue.mass", "present", site="sternocleidomastoid", side="right")
TORTICOLLIS = one("sign.torticollis", "present", site="neck")


@pytest.mark.parametrize(
    ("months", "items", "grade"),
    [
        pytest.param(3, turns(95, 75), 2, id="27-3mo-95-75-no-mass-APTA2018"),
        pytest.param(2, (*turns(90, 85), MASS), 3, id="28-2mo-difference-5-mass-APTA2018"),
        pytest.param(8, turns(95, 75), 6, id="29-8mo-difference-20-APTA2018"),
        pytest.param(13, turns(95, 85), 8, id="30-13mo-difference-10-APTA2018"),
    ],
)
def test_torticollis_grade(months: int, items: tuple[Item, ...], grade: int) -> None:
    remarks = raised(TORTICOLLIS, *items, age=old(months=months))

    reasons = " ".join(r.reason for r in remarks if "grade" in r.reason.lower()).lower()
    assert f"grade {grade} of 8" in reasons
    assert "2018" in reasons


def test_31_head_asymmetry_140_130_thresholds_as_copied() -> None:
    shape = head_shape(140, 130)

    assert shape.difference_mm == 10
    assert round(shape.index_longer, 2) == 7.14
    assert round(shape.index_shorter, 2) == 7.69
    assert level(NORMS, "head_asymmetry", shape.index_longer) == "level 3"
    assert level(NORMS, "head_asymmetry", shape.index_shorter) == "level 3"


@pytest.mark.parametrize(
    ("score", "word"),
    [
        pytest.param(8, "normal", id="53a-8-TABBY"),
        pytest.param(7, "borderline", id="53b-7-TABBY"),
        pytest.param(4, "impaired", id="53c-4-TABBY"),
    ],
)
def test_tongue_score_is_named_and_advises_no_treatment(score: float, word: str) -> None:
    remarks = raised(one("measure.tongue_score", site="tongue", value=score, unit="1"), age=old(weeks=3))

    about = [r for r in remarks if r.rule == "tongue.score"]
    assert [word in r.reason for r in about] == [True]
    assert all(r.action == "" for r in about)


def test_54_heel_line_at_the_fourth_toe_is_moderate_by_bleck() -> None:
    assert level(NORMS, "heel_line", 4) == "moderate"


def test_55_p_and_t_alone_do_not_meet_part_medicare_240_1_2() -> None:
    tender = one("tissue.tenderness", "present", site="cervical_spine")
    tight = one("tissue.tension", "tight", site="cervical_spine", at=1)

    table = part_table((tender, tight), NORMS)

    assert not table.met
    assert table.letters["P"] == (tender.id,)
    assert table.letters["T"] == (tight.id,)


def test_56_code_q66_2_is_no_leaf_icd_10_cm_2026() -> None:
    with pytest.raises(InputError, match="not a leaf"):
        leaf_code("Q66.2", NORMS)
    assert leaf_code("q66.221", NORMS).label == "Congenital metatarsus adductus, right foot"
