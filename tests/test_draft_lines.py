"""What a line of the note says, in conventional words. All narrations are invented."""

import re
from typing import Any

import pytest
from drafting import MAMA, VOCAB, WRITER, Spoken, draft, line_of, said, section
from hypothesis import given
from hypothesis import strategies as st

from pipeline.model import (
    Dose,
    Extraction,
    Item,
    Onset,
    Span,
    TraceStep,
)
from pipeline.patterns import fill

WORDED: list[tuple[str, str | None, dict[str, Any], str]] = [
    (
        "tissue.tension",
        "tight",
        {"site": "sternocleidomastoid", "side": "left", "degree": "moderate", "change": "better"},
        "Sternocleidomastoid muscle, left: tight, moderate, better than before",
    ),
    ("tissue.tension", "tight", {"site": "sternocleidomastoid"}, "Sternocleidomastoid muscle: tight"),
    (
        "motion.rotation",
        "limited",
        {"site": "neck", "side": "right", "value": 50, "unit": "deg"},
        "Neck, rotation to the right: restricted, 50°",
    ),
    ("motion.rotation", "limited", {"site": "hip", "side": "right"}, "Hip, right, rotation: restricted"),
    ("alignment.rotation", "rotated", {"site": "cervical_spine", "side": "left", "level": "C1"},
     "Cervical spine, C1: rotated to the left"),
    ("alignment.height", "high", {"site": "pelvis", "side": "right"}, "Pelvis: higher on the right"),
    ("joint.clunk", "absent", {"site": "hip", "side": "both"}, "Hip, both sides: no clunk"),
    ("joint.clunk", "absent", {"site": "hip", "degree": "marked"}, "Hip: no clunk"),
    ("joint.clunk", "present", {"site": "hip", "side": "left"}, "Hip, left: clunk on movement"),
    ("sign.pallor", "absent", {}, "No pallor"),
    ("sign.lip_tie", "not_assessed", {"reason": "he is crying"},
     "Lip, lip tie: not assessed, reason given: “he is crying”"),
    ("symptom.fever", "absent", {"reporter": "caregiver"}, "No fever"),
    ("symptom.fever", "present", {**MAMA, "onset": Onset(value=2, unit="d")},
     "Fever, for 2 days, told by mother"),
    ("symptom.vomiting", "present", {**MAMA, "onset": Onset(sudden=True)},
     "Vomiting, began suddenly, told by mother"),
    ("advice.tummy_time", "given", {"dose": Dose(times=3, per="day", seconds=60)},
     "Tummy time, 60 seconds, 3 times a day"),
    ("advice.stretch", "given", {"site": "neck", "side": "left", "dose": Dose(times=1, per="day", days=14)},
     "Stretch at home: neck, left, once a day, for 14 days"),
    ("technique.sustained_pressure", "released", {"site": "cervical_spine", "side": "right", "level": "C1"},
     "Sustained pressure, cervical spine, C1, right: released"),
    ("technique.mobilisation", "done", {"site": "thoracic_spine"}, "Mobilisation or adjustment, thoracic spine: done"),
    ("plan.refer", "planned", {"site": "hip", "side": "left", "detail": "to the paediatric clinic, this week"},
     "Referral: hip, left, “to the paediatric clinic, this week”"),
    ("advice.return_if", "given", {"site": "arm", "side": "right", "detail": "if it goes limp"},
     "Come back or call, arm, right: “if it goes limp”"),
    ("plan.next_visit", "value", {"value": 1, "unit": "wk"}, "Next visit in 1 week"),
    ("measure.temperature", "value", {"value": 37.28, "unit": "Cel"}, "Temperature: “what was said” = 37.28 °C"),
    ("tissue.mass", "present", {"site": None}, "Structure not said: palpable mass or lump"),
    ("tissue.bruise", "present", {"site": "leg", "side": "left", "source_role": "student"},
     "Leg, left: bruise, student’s finding"),
    ("impression.stated", "stated", {"detail": "muscular torticollis on the left"},
     "“muscular torticollis on the left”"),
]  # fmt: skip


@pytest.mark.parametrize(("concept", "result", "slots", "text"), WORDED, ids=[row[3] for row in WORDED])
def test_a_line_says_what_was_said_in_conventional_words(
    concept: str, result: str, slots: dict[str, Any], text: str, spoken: Spoken
) -> None:
    transcript = spoken("What was said.")
    item = said(transcript, "What was said.", concept, result, **slots)

    as_said = "what was said" if concept.startswith("measure.") else ""
    assert WRITER.text(item, as_said=as_said, told=item.reporter == "caregiver") == text


def _combinations() -> list[tuple[str, str]]:
    return [(c.id, result) for c in VOCAB.concepts.values() for result in c.results]


def _bare(concept: str, result: str, side: Any, **slots: Any) -> Item:
    known = VOCAB.concepts[concept]
    span = Span(start_ms=0, end_ms=500, words=(0, 1), quote="quoted")
    number = {"value": 7.0, "unit": "d"} if result == "value" else {}
    slots = {"site": known.site or "shoulder", **number, **slots}
    return Item(id="x", kind=known.kind, concept=concept, side=side, result=result, evidence=(span,), **slots)


@given(st.sampled_from(_combinations()), st.sampled_from(["left", "right", "none"]))
def test_the_side_of_a_line_is_the_side_that_was_said(which: tuple[str, str], side: str) -> None:
    text = WRITER.text(_bare(*which, side), as_said="").lower()

    sides = set(re.findall(r"\b(left|right|both)\b", text))
    assert sides == ({side} - {"none"})


@given(st.sampled_from(_combinations()), st.sampled_from([None, "slight", "marked"]), st.sampled_from([None, "C2"]))
def test_every_concept_and_result_reads_as_words(which: tuple[str, str], degree: str | None, level: str | None) -> None:
    text = WRITER.text(_bare(*which, "none", degree=degree, level=level), as_said="")

    assert text
    assert not re.search(r"[{}\[\]_]|None|: ?$|^[:,]|::|, ,", text)
    assert (level or "") in text


_NEGATIVE = {"absent", "negative", "not_assessed", "not_yet", "not_done", "excluded", "declined", "not_tolerated"}


@pytest.mark.parametrize("which", [w for w in _combinations() if w[1] in _NEGATIVE], ids="/".join)
def test_a_negative_stays_negative(which: tuple[str, str]) -> None:
    text = WRITER.text(_bare(*which, "none"), as_said="").lower()

    assert re.search(r"\b(no|not|absent|negative|match|alike|excluded|declined)\b", text)


def test_no_line_claims_a_force_that_was_not_said() -> None:
    for concept in (c for c in VOCAB.concepts if c.startswith("technique.")):
        for result in VOCAB.concepts[concept].results:
            assert not re.search(
                r"\b(light|gentle|gently|low-force)\b", WRITER.text(_bare(concept, result, "none"), as_said="")
            )


def test_words_in_speech_are_never_read_as_a_pattern() -> None:
    assert fill("[{words}, ]{site}", {"words": "{side} [x]", "site": "{words}"}) == "{side} [x], {words}"


def test_a_measure_is_printed_as_said_then_converted(spoken: Spoken) -> None:
    transcript = spoken("Weight is twelve pounds four. Length 59 centimetres.")
    weight = said(transcript, "Weight is twelve pounds four.", "measure.weight", "value", value=5.56, unit="kg")
    length = said(transcript, "Length 59 centimetres.", "measure.length", "value", value=59, unit="cm")
    trace = {weight.id: (TraceStep(slot="value", value="5.56", rule="pounds", words=(2, 5)),)}
    extraction = Extraction(items=(weight, length), clauses=(), trace=trace)

    lines = section(draft(transcript, extraction=extraction), "measurements").lines

    assert [line.text for line in lines] == ["Weight: “twelve pounds four” = 5.56 kg", "Length: 59 cm"]


def test_long_doses_read_in_minutes(spoken: Spoken) -> None:
    transcript = spoken("Upright for twenty minutes after a feed.")
    upright = said(transcript, "Upright for twenty minutes", "advice.upright_after_feed", "given",
                   dose=Dose(seconds=1200, per="feed"))  # fmt: skip

    assert "20 minutes a feed" in line_of(draft(transcript, upright), upright).text


def test_a_count_reads_without_a_unit(spoken: Spoken) -> None:
    transcript = spoken("Six wet nappies.")
    nappies = said(transcript, "Six wet nappies.", "symptom.wet_nappies", "value", value=6, unit="1")

    assert line_of(draft(transcript, nappies), nappies).text.endswith("6")
