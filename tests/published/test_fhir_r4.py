"""FHIR R4 (4.0.1, hl7.org/fhir/R4): required bindings, the rules of documents and of the resources used here.

The lists of codes are those that the package ``fhir.resources`` carries beside each element that is bound to a required
value set (of R4B, which are those of R4 for these elements, from memory); what it leaves open is listed below, from
memory. Invariants by their number, from memory.
"""

import base64
import hashlib
import re
from collections.abc import Callable, Iterator
from typing import Any
from uuid import UUID

import pytest
from exporting import AT, SIGNED, bundle, document, own, resources, strings
from fhir.resources.R4B.bundle import Bundle
from invented import item
from pydantic import BaseModel

from pipeline.export import Addition, ConsentTold, VisitDocument
from pipeline.model import Carer, Dose, Mark, Onset, Remark, Transcript, Urgency
from pipeline.records import ContactEntry

OBSERVATION_STATUS = {  # from memory
    *("registered", "preliminary", "final", "amended", "corrected", "cancelled", "entered-in-error", "unknown")
}
OPEN_LISTS = {("Observation", "status"): OBSERVATION_STATUS}
# CodeSystem data-absent-reason, from memory.
ABSENT = {
    *("unknown", "asked-unknown", "temp-unknown", "not-asked", "asked-declined", "masked", "not-applicable"),
    *("unsupported", "as-text", "error", "not-a-number", "negative-infinity", "positive-infinity"),
    *("not-performed", "not-permitted"),
}
INTERPRETATION = {
    "N",
    "A",
    "POS",
    "NEG",
    "IND",
    "B",
    "W",
}  # those of v3-ObservationInterpretation used here, from memory
CATEGORY = {  # CodeSystem observation-category, from memory
    *("social-history", "vital-signs", "imaging", "laboratory", "procedure", "survey", "exam", "therapy", "activity")
}
SCOPES = {"adr", "research", "patient-privacy", "treatment"}  # CodeSystem consentscope, from memory

SENTENCE = "left hip clunks and the head turns sixty degrees okay he cried so no Moro consent is fine hold it rest"


def full(spoken: Callable[[str], Transcript], *, signed: bool = False, added: bool = False) -> VisitDocument:
    """A visit with something of everything."""
    t = spoken(SENTENCE)
    hold = item(t, (10, 12), "technique.position_hold", "released", kind="treatment", site="hip", side="left")
    items = (
        item(t, (0, 3), "joint.clunk", "present", site="hip", side="left", level=None),
        item(t, (4, 8), "motion.rotation", "limited", site="neck", side="right", value=60.0, unit="deg"),
        item(t, (8, 9), "measure.weight", "value", site="whole_body", value=4.1, unit="kg"),
        item(t, (9, 12), "reflex.moro", "not_assessed", site="whole_body").model_copy(update={"reason": "he cried"}),
        item(t, (12, 13), "tissue.tension", None, site="sternocleidomastoid"),
        item(t, (13, 14), "treatment.consent", "given", kind="treatment", site="whole_body"),
        hold.model_copy(update={"dose": Dose(seconds=30.0, times=2.0, per="day"), "degree": "slight"}),
        item(t, (14, 15), "technique.withheld", "withheld", kind="treatment", site="whole_body"),
        item(t, (15, 16), "advice.tummy_time", "given", kind="advice", site="whole_body"),
        item(t, (16, 17), "plan.refer", "planned", kind="plan").model_copy(update={"detail": "the doctor today"}),
        item(t, (17, 18), "plan.next_visit", "value", kind="plan", site="whole_body", value=2.0, unit="wk"),
        item(t, (18, 19), "symptom.vomiting", "absent", kind="history", site="whole_body").model_copy(
            update={"reporter": "caregiver", "source_role": "mother", "onset": Onset(value=3, unit="d", sudden=True)}
        ),
    )
    plain = document(t, *items)
    remarks = tuple(
        Remark(id=f"RF{n}:x", rule=f"RF{n}", urgency=urgency, title=title, reason="invented", source="invented",
               mark=Mark.OURS, items=(items[0].id,), spans=items[0].evidence, safeguarding=title == "secret")
        for n, (urgency, title) in enumerate(((Urgency.REFER, "hip"), (Urgency.WATCH, "watch"),
                                              (Urgency.SAME_DAY, "secret")))
    )  # fmt: skip
    infant = plain.record.infant.model_copy(
        update={"carers": (Carer(name="Ann Invented", role="mother", may_consent=True),), "gestation_weeks": 36}
    )
    record = plain.record.model_copy(update={"infant": infant})
    note = plain.drafted.note.model_copy(update={"remarks": remarks})
    return plain.model_copy(
        update={
            "record": record,
            "drafted": plain.drafted.model_copy(update={"note": note}),
            "signatures": SIGNED if signed else (),
            "additions": (Addition(name="Invented Person", role="chiropractor", at=AT, text="late"),)
            if added
            else (),
            "contacts": (
                ContactEntry(id="01J00000000000000000000004", infant=infant.id, day=plain.record.day, what="report",
                             text="came", files=(("0" * 64, "letter.pdf", 9),)),
                ContactEntry(id="01J00000000000000000000005", infant=infant.id, day=plain.record.day,
                             what="visit_missed", text="ill"),
            ),
            "consents": (ConsentTold(id="01J00000000000000000000003", at=AT, scope="record", state="given",
                                     giver="mother"),),
        }
    )  # fmt: skip


STATES = {"unsigned": {}, "signed": {"signed": True}, "added to": {"signed": True, "added": True}}
STATUS = {"unsigned": "preliminary", "signed": "final", "added to": "amended"}


@pytest.fixture(params=STATES, scope="module")
def state(request: pytest.FixtureRequest) -> str:
    """Whether the note was signed, and added to."""
    return str(request.param)


@pytest.fixture(scope="module")
def made(state: str, spoken: Callable[[str], Transcript]) -> dict[str, Any]:
    """The document of a visit that holds something of everything."""
    return bundle(full(spoken, **STATES[state]), suggest=True)


def bound(model: Any) -> Iterator[tuple[str, str, str, list[str]]]:
    """Every coded element with the codes that its required value set allows."""
    if isinstance(model, list):
        for part in model:
            yield from bound(part)
    elif isinstance(model, BaseModel):
        for name, field in type(model).model_fields.items():
            value = getattr(model, name)
            extra = field.json_schema_extra
            if isinstance(extra, dict) and (codes := extra.get("enum_values")) and value is not None:
                yield type(model).__name__, name, value, list(codes)  # type: ignore[arg-type]
            yield from bound(value)


def test_required_bindings(made: dict[str, Any]) -> None:
    checked = set()
    for kind, name, value, codes in bound(Bundle.model_validate(made)):
        allowed = OPEN_LISTS[kind, name] if "+" in codes else set(codes)
        assert value in allowed, (kind, name)
        checked.add(kind)

    assert checked >= {
        *("Bundle", "Composition", "Narrative", "HumanName", "Patient", "DeviceDeviceName", "DocumentReference"),
        *("Observation", "Procedure", "ServiceRequest", "CarePlan", "CarePlanActivityDetail", "Consent", "Flag"),
        "ProvenanceEntity",
        "Communication",
    }


def test_required_elements_are_there(made: dict[str, Any]) -> None:
    def missing(model: Any) -> Iterator[str]:
        if isinstance(model, list):
            for part in model:
                yield from missing(part)
        elif isinstance(model, BaseModel):
            for name, field in type(model).model_fields.items():
                extra = field.json_schema_extra
                if isinstance(extra, dict) and extra.get("element_required") and getattr(model, name) is None:
                    yield f"{type(model).__name__}.{name}"
                yield from missing(getattr(model, name))

    assert list(missing(Bundle.model_validate(made))) == []


def test_document_rules_of_the_bundle(made: dict[str, Any]) -> None:
    urls = [entry["fullUrl"] for entry in made["entry"]]

    assert made["type"] == "document"
    assert made["identifier"]["system"], "bdl-9"
    assert made["identifier"]["value"], "bdl-9"
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)", made["timestamp"]), "bdl-10"
    assert made["entry"][0]["resource"]["resourceType"] == "Composition", "bdl-11"
    assert len(set(urls)) == len(urls), "bdl-7"
    assert all({"fullUrl", "resource"} == set(entry) for entry in made["entry"]), "bdl-2, bdl-3, bdl-4"


def test_addresses_are_uuids_of_version_five_and_stay(spoken: Callable[[str], Transcript]) -> None:
    given = full(spoken)
    urls, again = ([entry["fullUrl"] for entry in bundle(given)["entry"]] for _ in range(2))
    signed = {entry["fullUrl"] for entry in bundle(given.model_copy(update={"signatures": SIGNED}))["entry"]}

    assert urls == again
    assert set(urls) < signed, "a signature adds the one who signed and changes no address"
    for url in urls:
        assert url.startswith("urn:uuid:")
        assert UUID(url[9:]).version == 5


def references(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        if isinstance(value.get("reference"), str):
            yield value["reference"]
        for part in value.values():
            yield from references(part)
    elif isinstance(value, list):
        for part in value:
            yield from references(part)


def test_every_reference_resolves_inside_and_everything_is_referred_to(made: dict[str, Any]) -> None:
    inside = {entry["fullUrl"]: entry["resource"] for entry in made["entry"]}
    waiting, reached = [made["entry"][0]["fullUrl"]], set()
    while waiting:
        url = waiting.pop()
        if url not in reached:
            reached.add(url)
            waiting += list(references(inside[url]))  # a KeyError here is a reference to nothing
    for url, resource in inside.items():  # "Documents": Provenance may point at the document from outside
        if resource["resourceType"] == "Provenance":
            assert set(references(resource)) <= reached
            reached.add(url)

    assert set(inside) == reached


def test_the_status_follows_the_signature(made: dict[str, Any], state: str) -> None:
    composition = made["entry"][0]["resource"]
    observed = {one["status"] for one in resources(made, "Observation")}

    assert composition["status"] == STATUS[state]
    assert observed == {"preliminary" if state == "unsigned" else "final"}
    assert bool(composition.get("attester")) == (state != "unsigned")
    assert ("Draft" in composition["title"]) == (state == "unsigned")
    if state != "unsigned":
        (attester,) = composition["attester"]
        assert attester["mode"] == "legal"
        assert attester["time"] == "2026-11-25T18:40:00Z"
        (signer,) = resources(made, "Practitioner")
        assert attester["party"]["reference"] == f"urn:uuid:{signer['id']}"
        assert signer["name"] == [{"text": "Invented Person"}]
        assert composition["author"][0] == attester["party"]
    assert {one["status"] for one in resources(made, "CarePlan") + resources(made, "ServiceRequest")} == {
        "draft" if state == "unsigned" else "active"
    }


def test_sections_hold_text_or_entries_or_sections(made: dict[str, Any]) -> None:
    def walk(sections: list[dict[str, Any]]) -> Iterator[dict[str, Any]]:
        for section in sections:
            yield section
            yield from walk(section.get("section", []))

    for section in walk(made["entry"][0]["resource"]["section"]):
        assert {"text", "entry", "section"} & set(section), "cmp-1"
        assert not ("emptyReason" in section and "entry" in section), "cmp-2"
        if "text" in section:
            assert section["text"]["div"].startswith('<div xmlns="http://www.w3.org/1999/xhtml">'), "txt-1"
            assert re.sub(r"<[^>]*>", "", section["text"]["div"]).strip(), "txt-2"


def test_every_concept_is_said_in_text_too(made: dict[str, Any]) -> None:
    def concepts(value: Any) -> Iterator[dict[str, Any]]:
        if isinstance(value, dict):
            if isinstance(value.get("coding"), list):
                yield value
            for part in value.values():
                yield from concepts(part)
        elif isinstance(value, list):
            for part in value:
                yield from concepts(part)

    found = list(concepts(made))
    assert len(found) > 30
    assert all(concept.get("text") for concept in found)
    assert all({"system", "code", "display"} <= set(code) for concept in found for code in concept["coding"])


def test_codes_of_the_value_sets_that_are_not_required(made: dict[str, Any]) -> None:
    for one in resources(made, "Observation"):
        assert {code["code"] for concept in one["category"] for code in concept["coding"]} <= CATEGORY
        for concept in one.get("interpretation", []):
            assert {code["code"] for code in concept["coding"]} <= INTERPRETATION
        for code in one.get("dataAbsentReason", {}).get("coding", []):
            assert code["code"] in ABSENT


def test_invariants_of_observation(made: dict[str, Any]) -> None:
    for one in resources(made, "Observation"):
        values = [key for key in one if key.startswith("value")]
        assert len(values) + ("dataAbsentReason" in one) == 1, "obs-6; and one of the two is there"
        for component in one.get("component", []):
            assert component["code"] != one["code"], "obs-7"


def test_invariants_of_consent(made: dict[str, Any]) -> None:
    found = resources(made, "Consent")

    assert len(found) == 2
    for one in found:
        assert "policy" in one or "policyRule" in one, "ppc-1"
        assert one["patient"], "ppc-2, ppc-4"
        assert {code["code"] for code in one["scope"]["coding"]} <= SCOPES
        assert one["category"]


def test_a_missed_visit_is_no_contact_that_was_made(made: dict[str, Any]) -> None:
    """Communication.status: event-status "not-done"."""
    assert [one["status"] for one in resources(made, "Communication")] == ["completed", "not-done"]
    report, _ = resources(made, "Communication")
    assert report["payload"][1]["contentAttachment"]["url"].startswith("ni:///sha-256;")


def test_an_extension_holds_a_value_or_extensions(made: dict[str, Any]) -> None:
    def walk(value: Any) -> Iterator[dict[str, Any]]:
        if isinstance(value, dict):
            yield from value.get("extension", ())
            for part in value.values():
                yield from walk(part)
        elif isinstance(value, list):
            for part in value:
                yield from walk(part)

    found = list(walk(made))
    assert found
    for one in found:
        assert ("extension" in one) != any(key.startswith("value") for key in one), "ext-1"
    assert not [text for text in strings(made) if text == "modifierExtension"]


def test_no_empty_part_and_no_control_character(made: dict[str, Any]) -> None:
    def parts(value: Any) -> Iterator[Any]:
        yield value
        if isinstance(value, dict | list):
            for part in value.values() if isinstance(value, dict) else value:
                yield from parts(part)

    assert not [part for part in parts(made) if part in ("", [], {}, None)], "ele-1"
    assert not [text for text in strings(made) if re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f]", text)], "string"


def test_an_attachment_names_its_content(spoken: Callable[[str], Transcript]) -> None:
    """Attachment.hash is "the SHA-1 of the data, base64 encoded"; a reference is RFC 6920, section 3."""
    given, sound = full(spoken), b"invented sound"
    sha256 = hashlib.sha256(sound).hexdigest()
    recording = given.record.recording.model_copy(update={"media_type": "audio/ogg", "sha256": sha256})
    given = given.model_copy(update={"record": given.record.model_copy(update={"recording": recording})})

    (carried,) = (one["content"] for one in resources(bundle(given, sound=sound), "Media"))
    (referred,) = (one["content"] for one in resources(bundle(given), "Media"))

    assert base64.b64decode(carried["data"]) == sound
    assert base64.b64decode(carried["hash"]) == hashlib.sha1(sound).digest()
    assert carried["size"] == len(sound)
    assert "url" not in carried
    name = base64.urlsafe_b64encode(hashlib.sha256(sound).digest()).decode().rstrip("=")
    assert referred["url"] == f"ni:///sha-256;{name}"
    assert "data" not in referred


def test_evidence_is_a_media_fragment_of_the_recording(made: dict[str, Any]) -> None:
    """W3C Media Fragments URI 1.0, section 4.2.1: npt in seconds."""
    (text,) = resources(made, "DocumentReference")
    for one in resources(made, "Observation"):
        (span,) = own(one, "evidence")
        assert span["recording"]["reference"] == f"urn:uuid:{text['id']}" == one["derivedFrom"][0]["reference"]
        assert span["plays"].startswith("ni:///sha-256;")
        start, end = re.fullmatch(r".*#t=([\d.]+),([\d.]+)", span["plays"]).groups()  # type: ignore[union-attr]
        assert (float(start) * 1000, float(end) * 1000) == (span["start-ms"], span["end-ms"])
