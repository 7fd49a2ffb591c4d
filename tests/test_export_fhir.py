"""What a FHIR document says of a finding, and what it holds back."""

import json
import re
from collections.abc import Callable
from typing import Any

import pytest
from exporting import bundle, document, own, resources, strings
from invented import item

from pipeline.export.coding import ICD_10_CM, Codes, leaves, load_codes
from pipeline.export.fhir.parts import row_uuid
from pipeline.model import Item, Mark, Remark, Span, Transcript, Urgency
from pipeline.vocabulary import load_vocabulary

VOCAB = load_vocabulary()
CODES = load_codes()
RESULTS = [
    (concept, result)
    for concept in VOCAB.concepts.values()
    for result in dict.fromkeys([*concept.results, *(["not_assessed"] if concept.kind == "finding" else [])])
]
DENIED = {"absent", "negative", "none", "not_done", "excluded", "declined", "not_yet", "no_reaction"}
STATED = {"present", "positive", "done", "given", "achieved", "stated"}


def said(concept: str, result: str) -> Item:
    """An item of a concept with a result, resting on nothing that matters."""
    entry = VOCAB.concepts[concept]
    amount = entry.measure if result == "value" else None
    return Item(
        id=f"{concept}={result}",
        kind=entry.kind,
        concept=concept,
        site=entry.site,
        result=result,
        value=amount.low if amount else 3.0 if result == "value" else None,
        unit=amount.unit if amount else None,
        evidence=(Span(start_ms=0, end_ms=500, words=(0, 1), quote="invented"),),
    )


@pytest.fixture(scope="module")
def everything(spoken: Callable[[str], Transcript]) -> dict[str, dict[str, Any]]:
    """One document of every concept with every result: the resources by their address."""
    items = [said(concept.id, result) for concept, result in RESULTS]
    made = bundle(document(spoken("invented"), *items))
    return {entry["resource"]["id"]: entry["resource"] for entry in made["entry"]}


@pytest.fixture(scope="module")
def observed(everything: dict[str, dict[str, Any]]) -> Callable[[str, str], dict[str, Any]]:
    """The resource of a concept with a result."""

    def find(concept: str, result: str) -> dict[str, Any]:
        kinds = ("Observation", "Procedure", "Consent", "ServiceRequest")
        keys = (row_uuid(kind, f"{concept}={result}") for kind in kinds)
        return next(everything[key] for key in keys if key in everything)

    return find


FOUND = [(c, r) for c, r in RESULTS if c.kind in ("finding", "history", "impression")]


def test_no_result_reads_as_another(observed: Callable[[str, str], dict[str, Any]]) -> None:
    """Over the whole vocabulary: a denied finding is a value of its own, never missing, never the stated one."""
    for concept, result in FOUND:
        one = observed(concept.id, result)
        if result == "not_assessed":
            assert not [key for key in one if key.startswith("value")]
            assert one["dataAbsentReason"]["coding"][0]["code"] == "not-performed"
            assert "interpretation" not in one
            continue
        assert "dataAbsentReason" not in one
        assert "valueBoolean" not in one
        if result == "value":
            assert set(one["valueQuantity"]) == {"value", "unit", "system", "code"}
            continue
        (code,) = one["valueCodeableConcept"]["coding"]
        assert code["code"] == result
        others = {form.label for key, form in concept.results.items() if key != result}
        assert one["valueCodeableConcept"]["text"] not in others, f"{concept.id} {result}"


def test_no_denied_finding_is_interpreted_as_found(observed: Callable[[str, str], dict[str, Any]]) -> None:
    checked = 0
    for concept, result in FOUND:
        codes = {c["code"] for i in observed(concept.id, result).get("interpretation", ()) for c in i["coding"]}
        if result in DENIED:
            assert "POS" not in codes, f"{concept.id} {result}"
            checked += codes == {"NEG"}
        if result in STATED:
            assert "NEG" not in codes, f"{concept.id} {result}"

    assert checked > 30


@pytest.mark.parametrize(
    ("concept", "result", "kind", "status"),
    [
        ("technique.traction", "done", "Procedure", "completed"),
        ("technique.traction", "not_tolerated", "Procedure", "stopped"),
        ("technique.withheld", "withheld", "Procedure", "not-done"),
        ("treatment.consent", "given", "Consent", "active"),
        ("treatment.consent", "declined", "Consent", "rejected"),
        ("treatment.consent", "withdrawn", "Consent", "inactive"),
        ("plan.refer", "planned", "ServiceRequest", "draft"),
    ],
)
def test_what_was_not_done_is_not_completed(
    observed: Callable[[str, str], dict[str, Any]], concept: str, result: str, kind: str, status: str
) -> None:
    one = observed(concept, result)

    assert (one["resourceType"], one["status"]) == (kind, status)


def test_every_concept_of_advice_and_plan_is_in_the_plan(everything: dict[str, dict[str, Any]]) -> None:
    (plan,) = (one for one in everything.values() if one["resourceType"] == "CarePlan")
    told = {code["code"] for a in plan["activity"] if "detail" in a for code in a["detail"]["code"]["coding"]}
    wanted = {c.id for c in VOCAB.concepts.values() if c.kind in ("advice", "plan")}

    assert wanted - told == {"plan.refer", "plan.imaging"}, "those are requests"
    assert sum("reference" in activity for activity in plan["activity"]) == 2


def test_side_level_and_place(spoken: Callable[[str], Transcript]) -> None:
    t = spoken("turned at C1 to the left")
    turned = item(t, (0, 3), "alignment.rotation", "rotated", site="cervical_spine", side="left", level="C1")

    (one,) = resources(bundle(document(t, turned)), "Observation")

    assert one["bodySite"]["text"] == "left cervical spine, C1"
    assert [c["text"] for c in own(one["bodySite"], "laterality")] == ["left"]
    assert own(one["bodySite"], "level") == ["C1"]


def test_a_side_that_was_not_said_is_not_there(spoken: Callable[[str], Transcript]) -> None:
    t = spoken("hip clunks")

    (one,) = resources(bundle(document(t, item(t, (0, 2), "joint.clunk", "present", site="hip"))), "Observation")

    assert one["bodySite"]["text"] == "hip"
    assert own(one["bodySite"], "laterality") == []


def test_a_number_with_a_judgement_keeps_both(spoken: Callable[[str], Transcript]) -> None:
    t = spoken("rotation sixty")
    turned = item(t, (0, 2), "motion.rotation", "limited", site="neck", side="right", value=60.0, unit="deg")

    (one,) = resources(bundle(document(t, turned)), "Observation")

    assert one["valueCodeableConcept"]["coding"][0]["code"] == "limited"
    assert one["component"][0]["valueQuantity"]["value"] == 60


def test_why_something_was_not_assessed_is_kept(spoken: Callable[[str], Transcript]) -> None:
    t = spoken("no Moro crying")
    left = item(t, (0, 3), "reflex.moro", "not_assessed", site="whole_body").model_copy(update={"reason": "crying"})

    (one,) = resources(bundle(document(t, left)), "Observation")

    assert one["dataAbsentReason"]["text"] == "not assessed: crying"


def test_a_text_is_called_no_recording(spoken: Callable[[str], Transcript]) -> None:
    made = bundle(document(spoken("the left hip is tight")))  # words that came as text

    (one,) = resources(made, "DocumentReference")
    assert "text of the visit" == one["content"][0]["attachment"]["title"]
    assert not resources(made, "Media")
    assert not any("recording of the visit" in text or "from a recording" in text for text in strings(made))


def test_every_stretch_stays_with_its_words(spoken: Callable[[str], Transcript]) -> None:
    t = spoken("clunk left sorry right clunk")
    hip = item(t, (0, 1), "joint.clunk", "present", site="hip", side="right")
    first, second = hip.evidence[0], item(t, (4, 5), "joint.clunk", "present").evidence[0]
    spans = (first, second.model_copy(update={"role": "repeat"}))

    (one,) = resources(bundle(document(t, hip.model_copy(update={"evidence": spans}))), "Observation")

    assert [(s["role"], s["start-ms"], s["end-ms"], s["quote"]) for s in own(one, "evidence")] == [
        ("said", 0, 500, "clunk"),
        ("repeat", 2000, 2500, "clunk"),
    ]


def remark(n: int, urgency: Urgency, *, safeguarding: bool = False) -> Remark:
    return Remark(id=f"RF{n}", rule=f"RF{n}", urgency=urgency, title=f"title {n}", reason="invented", source="invented",
                  mark=Mark.OURS, safeguarding=safeguarding)  # fmt: skip


def test_dangers_are_flags_and_safeguarding_is_held_back(spoken: Callable[[str], Transcript]) -> None:
    plain = document(spoken("invented"))
    remarks = (
        *(remark(n, urgency) for n, urgency in enumerate(Urgency)),
        remark(50, Urgency.REFER).model_copy(update={"answer": "sent on: today"}),
        remark(90, Urgency.EMERGENCY, safeguarding=True),
        remark(91, Urgency.SAME_DAY, safeguarding=True),
    )
    note = plain.drafted.note.model_copy(update={"remarks": remarks})
    made = bundle(plain.model_copy(update={"drafted": plain.drafted.model_copy(update={"note": note})}))

    assert {own(flag, "urgency")[0] for flag in resources(made, "Flag")} == {"refer", "same_day", "emergency"}
    assert [own(flag, "answer") for flag in resources(made, "Flag") if own(flag, "answer")] == [["sent on: today"]]
    assert not [text for text in strings(made) if re.search("RF9[01]|title 9[01]", text)]


HOSTILE = '</div><script>x</script>"\x00\u202e{{7*7}} -->'


def test_hostile_words_stay_words(spoken: Callable[[str], Transcript]) -> None:
    t = spoken("clunk here")
    hip = item(t, (0, 1), "joint.clunk", "present", site="hip")
    spans = (hip.evidence[0].model_copy(update={"quote": HOSTILE}),)
    given = document(t, hip.model_copy(update={"evidence": spans, "detail": HOSTILE}))
    infant = given.record.infant.model_copy(update={"code_name": HOSTILE})
    given = given.model_copy(update={"record": given.record.model_copy(update={"infant": infant})})

    made = bundle(given)

    plain = '</div><script>x</script>"{{7*7}} -->'
    assert resources(made, "Patient")[0]["name"][-1]["text"] == plain
    assert resources(made, "Observation")[0]["note"] == [{"text": plain}]
    assert not [text for text in strings(made) if "\x00" in text or "\u202e" in text]
    assert not [text for text in strings(made) if text.startswith("<div") and "<script" in text]


def test_an_addition_stands_in_the_document(spoken: Callable[[str], Transcript]) -> None:
    from exporting import AT, SIGNED

    from pipeline.export import Addition

    late = Addition(name="Invented Person", at=AT, text="the report came", what="late")
    made = bundle(document(spoken("invented"), signatures=SIGNED, additions=(late,)))
    (section,) = (s for s in made["entry"][0]["resource"]["section"] if s["title"].startswith("Added"))

    assert section["title"] == "Added after signing (late)"
    assert "the report came" in section["text"]["div"]


def test_what_reads_otherwise_than_signed_is_in_words_alone(spoken: Callable[[str], Transcript]) -> None:
    """The signed line holds; no coded finding of a later program may contradict it."""
    from exporting import SIGNED

    t = spoken("hips fine neck tight")
    hip, neck = (item(t, (0, 2), "joint.clunk", "absent", site="hip"), item(t, (2, 4), "tissue.tension", "tight"))
    signed = document(t, hip, neck).drafted.note
    later = document(t, hip.model_copy(update={"result": "present"}), neck, signed_note=signed, signatures=SIGNED)

    made = bundle(later)

    assert [one["code"]["coding"][-1]["code"] for one in resources(made, "Observation")] == ["tissue.tension"]
    assert "hip joint.clunk: absent" in json.dumps(made)
    assert "present" not in json.dumps(made["entry"][0]["resource"]["section"][0])


# ---------------------------------------------------------------- suggested codes


def fit(concept: str, result: str, codes: Codes = CODES, *, age: int | None = None, **slots: Any) -> tuple[str, ...]:
    return codes.suggested(said(concept, result).model_copy(update=slots), age, VOCAB)


def test_every_code_that_may_be_suggested_is_a_leaf() -> None:
    codes = tuple(dict.fromkeys(code for row in CODES.suggestions for code in row.codes))

    assert [coding.code for coding in leaves(codes)] == list(codes)
    assert all(coding.display for coding in leaves(codes))


def test_what_is_no_leaf_is_never_suggested() -> None:
    assert list(leaves(("Q66.2", "Q68", "Z00-Z13", "no code"))) == []


def test_rows_name_what_the_vocabulary_holds() -> None:
    families = {concept.partition(".")[0] + ".*" for concept in VOCAB.concepts}
    told = [(row.id, row.concepts, row.results) for row in CODES.suggestions]
    told += [(row.id, row.concepts, row.results) for row in CODES.interpretations]
    for key, names, results in told:
        assert set(names) <= {*VOCAB.concepts, *families}, key
        concepts = [c for c in VOCAB.concepts.values() if {c.id, c.id.partition(".")[0] + ".*"} & set(names)]
        assert set(results) <= {result for c in concepts for result in c.results}, key
    for suggestion in CODES.suggestions:
        assert set(suggestion.sites) <= set(VOCAB.sites), suggestion.id
        assert set(suggestion.sides) <= {"left", "right", "both"}, suggestion.id
    assert {key for slot, key in CODES.terms if slot == "code"} <= set(VOCAB.concepts)


@pytest.mark.parametrize(
    ("concept", "result", "more", "codes"),
    [
        ("sign.torticollis", "present", {}, ("M43.6", "Q68.0")),
        ("sign.torticollis", "absent", {}, ()),
        ("sign.clubfoot", "present", {"side": "left"}, ("Q66.02",)),
        ("sign.clubfoot", "present", {"side": "both"}, ("Q66.01", "Q66.02")),
        ("sign.clubfoot", "present", {"side": "none"}, ()),
        ("symptom.latch", "poor", {"age": 28}, ("P92.5",)),
        ("symptom.latch", "poor", {"age": 29}, ("R63.31",)),
        ("symptom.latch", "poor", {}, ()),
        ("motion.rotation", "limited", {"site": "cervical_spine"}, ("M99.01",)),
        ("motion.rotation", "normal", {"site": "cervical_spine"}, ()),
        ("motion.general", "limited", {"site": "sacroiliac"}, ("M99.05",)),
        ("joint.click", "present", {"site": "knee"}, ()),
    ],
)
def test_which_codes_fit(concept: str, result: str, more: dict[str, Any], codes: tuple[str, ...]) -> None:
    assert fit(concept, result, **more) == codes


def test_a_suggestion_is_asked_for_and_is_no_code_of_the_finding(spoken: Callable[[str], Transcript]) -> None:
    t = spoken("tongue tie")
    given = document(t, item(t, (0, 2), "sign.tongue_tie", "present", site="tongue"))

    (plain,) = resources(bundle(given), "Observation")
    (asked,) = resources(bundle(given, suggest=True), "Observation")

    assert own(plain, "suggestions") == []
    (code,) = own(asked, "suggestions")
    assert (code["system"], code["code"], code["userSelected"]) == (ICD_10_CM, "Q38.1", False)
    assert asked["code"] == plain["code"]
    assert ICD_10_CM not in set(strings(asked["code"]))
