"""The drafted note: what a line says, where it stands, what is asked before signing. All narrations are invented."""

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.draft import draft_note, load_wording
from pipeline.draft.lines import LineWriter
from pipeline.draft.wording import fill
from pipeline.model import (
    Age,
    ClauseAccount,
    ClauseClass,
    Dose,
    Dropped,
    Extraction,
    Heard,
    Infant,
    Item,
    Line,
    Mark,
    Note,
    Onset,
    Remark,
    Section,
    Span,
    TraceStep,
    Transcript,
    Urgency,
    item_id,
    span_of,
)
from pipeline.vocabulary import load_vocabulary

VOCAB = load_vocabulary()
WRITER = LineWriter(VOCAB, load_wording())
Spoken = Callable[[str], Transcript]


def said(transcript: Transcript, words: str, concept: str, result: str | None, **slots: Any) -> Item:
    """An item that rests on the first stretch of the transcript that reads ``words``."""
    wanted, all_words = words.split(), [word.text for word in transcript.words]
    i0 = next(i for i in range(len(all_words)) if all_words[i : i + len(wanted)] == wanted)
    span = span_of(transcript.words, i0, i0 + len(wanted))
    known = VOCAB.concepts[concept]
    slots = {"site": known.site, "kind": known.kind, "evidence": (span,), **slots}
    ident = item_id(transcript.recording, concept, slots["site"], span.start_ms)
    return Item(id=ident, concept=concept, result=result, **slots)


def draft(transcript: Transcript, *items: Item, **more: Any) -> Note:
    """The note of an invented visit of Wren."""
    extraction = more.pop("extraction", Extraction(items=items, clauses=()))
    return draft_note(
        extraction,
        more.pop("remarks", ()),
        transcript,
        infant=Infant(id="i1", code_name="Wren"),
        age=Age(days=63, as_said="9 weeks"),
        on=date(2026, 11, 25),
        visit="v1",
        vocab=VOCAB,
        **more,
    )


def section(note: Note, wanted: str) -> Section:
    return next(part for part in note.parts() if part.id == wanted)


def every_line(note: Note) -> list[Line]:
    return [line for part in note.parts() for line in part.lines]


def line_of(note: Note, item: Item) -> Line:
    return next(line for line in every_line(note) if line.id == item.id)


def check_texts(note: Note) -> list[str]:
    return [line.text for part in note.sections if part.id == "check" for line in part.lines]


_MAMA = {"reporter": "caregiver", "source_role": "mother"}
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
    ("symptom.fever", "present", {**_MAMA, "onset": Onset(value=2, unit="d")},
     "Fever, for 2 days, told by mother"),
    ("symptom.vomiting", "present", {**_MAMA, "onset": Onset(sudden=True)},
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


def test_the_note_follows_the_hands(spoken: Spoken) -> None:
    transcript = spoken("a b c d e f g h i j k l.")
    words = iter([*"abcdefghijk", "l."])
    rows: list[tuple[str, str, dict[str, Any]]] = [
        ("plan.next_visit", "planned", {}),
        ("advice.return_if", "given", {}),
        ("exam.overall", "normal", {"site": "foot", "side": "both"}),
        ("reflex.moro", "present", {}),
        ("tissue.tension", "tight", {"site": "psoas", "side": "left"}),
        ("technique.traction", "done", {"site": "sacrum"}),
        ("fontanelle.anterior", "normal", {}),
        ("history.concern", "stated", _MAMA),
        ("measure.weight", "value", {"value": 5, "unit": "kg"}),
        ("tissue.tension", "tight", {"site": "sternocleidomastoid", "side": "left"}),
        ("treatment.consent", "given", _MAMA),
        ("impression.stated", "stated", {}),
    ]
    note = draft(transcript, *(said(transcript, next(words), c, r, **slots) for c, r, slots in rows))

    assert [part.id for part in note.sections] == [
        "present", "consent", "reason", "found", "reflexes", "measurements", "impression", "treatment", "advice",
        "plan", "places",
    ]  # fmt: skip
    found = section(note, "found")
    assert [part.id for part in found.subsections] == ["found.head", "found.neck", "found.trunk", "found.leg"]


def test_a_line_carries_the_evidence_of_its_item(spoken: Spoken) -> None:
    transcript = spoken("Left hip has a clunk.")
    item = said(transcript, "Left hip has a clunk.", "joint.clunk", "present", site="hip", side="left")

    line = line_of(draft(transcript, item), item)

    assert line.spans == item.evidence
    assert line.items == (item.id,)
    assert line.checks == ()


def test_what_the_caregiver_tells_and_who_was_there(spoken: Spoken) -> None:
    transcript = spoken("Mum says he sleeps well. Dad says no fever. Grandma feels a lump.")
    sleep = said(transcript, "Mum says he sleeps well.", "symptom.sleep", "good", **_MAMA)
    fever = said(
        transcript, "Dad says no fever.", "symptom.fever", "absent", reporter="caregiver", source_role="father"
    )
    lump = said(
        transcript,
        "Grandma feels a lump.",
        "tissue.mass",
        "present",
        site="neck",
        reporter="caregiver",
        source_role="other_carer",
    )
    note = draft(transcript, sleep, fever, lump)

    assert line_of(note, sleep).text == "Sleep: good, told by mother"
    assert line_of(note, fever).text == "No fever, told by father"
    assert line_of(note, lump).text.endswith("told by another carer")
    assert [line.id for line in section(note, "present").lines] == [
        "present:mother",
        "present:father",
        "present:other_carer",
    ]
    assert "Who was present was not heard." not in check_texts(note)


def test_presence_and_consent_are_asked_for_where_they_were_not_heard(spoken: Spoken) -> None:
    transcript = spoken("Hips fine. Yes go ahead.")
    hips = said(transcript, "Hips fine.", "exam.overall", "normal", site="hip", side="both")
    consent = said(transcript, "Yes go ahead.", "treatment.consent", "given", **_MAMA)

    assert check_texts(draft(transcript, hips)) == [
        "Who was present was not heard.",
        "Consent to examine or treat was not heard.",
    ]
    assert not check_texts(draft(transcript, hips, consent))
    assert not check_texts(draft(transcript))


FLAGS = [
    ("side_missing", "Which side? None was said."),
    ("conflict", "Two statements do not agree. Which one holds?"),
    ("force_unsaid", "What force was used? None was said."),
    ("low_confidence", "Heard unsurely. Is the line right?"),
    ("repaired_term", "A term was put right. Is it the word that was said?"),
    ("corrected", "Corrected while speaking. Is this what was meant?"),
    ("side?", "The side was heard unsurely. Is it right?"),
    ("number?", "The number was heard unsurely. Is it right?"),
    ("unit_assumed", "Which unit? None was said; the usual one is taken."),
    ("level?", "The level was heard unsurely. Is it right?"),
    ("something_new", "Look at this line again: something new."),
]


@pytest.mark.parametrize(("flag", "point"), FLAGS, ids=[flag for flag, _ in FLAGS])
def test_each_flag_is_a_point_to_check(flag: str, point: str, spoken: Spoken) -> None:
    transcript = spoken("The hip is tight.")
    item = said(transcript, "The hip is tight.", "tissue.tension", "tight", site="hip", flags=(flag,))
    note = draft(transcript, item)

    assert line_of(note, item).checks == (point,)
    assert f"Hip: tight: {point}" in check_texts(note)


def test_the_most_pressing_point_of_a_line_comes_first(spoken: Spoken) -> None:
    transcript = spoken("The hip is tight.")
    flags = ("low_confidence", "corrected", "side_missing")
    item = said(transcript, "The hip is tight.", "tissue.tension", "tight", site="hip", flags=flags)

    checks = line_of(draft(transcript, item), item).checks
    assert [check.split()[0] for check in checks] == ["Which", "Corrected", "Heard"]


def test_a_correction_shows_what_was_taken_back(spoken: Spoken) -> None:
    transcript = spoken("on the right, sorry, the left hip clunks.")
    spans = (span_of(transcript.words, 0, 3, "retracted"), span_of(transcript.words, 4, 8))
    item = said(
        transcript, "the left", "joint.clunk", "present", site="hip", side="left", evidence=spans, flags=("corrected",)
    )

    (check,) = line_of(draft(transcript, item), item).checks
    assert check == "Corrected while speaking; taken back: “on the right”. Is this what was meant?"


def test_unsure_words_are_named_and_a_repair_shows_what_was_heard(spoken: Spoken) -> None:
    plain = spoken("The left psoas is tight.")
    words = list(plain.words)
    words[1] = replace(words[1], flags=("side?",))
    words[2] = replace(words[2], heard=(Heard("free", "so as", 0.4),), source="lexicon")
    words[4] = replace(words[4], p=0.2)
    transcript = plain.model_copy(update={"words": tuple(words)})
    item = said(
        transcript,
        "The left psoas is tight.",
        "tissue.tension",
        "tight",
        site="psoas",
        side="left",
        flags=("repaired_term",),
    )
    line = line_of(draft(transcript, item), item)

    assert line.unsure_words == (1, 4)
    assert set(line.checks) == {
        "A term was put right: heard “so as”, reads “psoas”. Is it the word that was said?",
        "The side was heard unsurely: “left”. Is it right?",
        "Heard unsurely: “tight.”. Is the line right?",
    }


def test_an_unsure_word_that_gave_the_line_nothing_is_shown_but_not_asked_about(spoken: Spoken) -> None:
    plain = spoken("Well the hip clunks.")
    words = tuple(replace(word, p=0.1) for word in plain.words)
    transcript = plain.model_copy(update={"words": words})
    item = said(transcript, "Well the hip clunks.", "joint.clunk", "present", site="hip", side="left")
    trace = {item.id: (TraceStep(slot="concept", value="joint.clunk", rule="named", words=(3, 4)),)}
    line = line_of(draft(transcript, extraction=Extraction(items=(item,), clauses=(), trace=trace)), item)

    assert line.unsure_words == (0, 1, 2, 3)
    assert line.checks == ("Heard unsurely: “clunks.”. Is the line right?",)


def test_a_line_without_its_structure_asks_for_it(spoken: Spoken) -> None:
    transcript = spoken("There is a lump.")
    item = said(transcript, "There is a lump.", "tissue.mass", "present", site=None)

    assert line_of(draft(transcript, item), item).checks == ("Which structure? None was said.",)


def test_a_students_finding_is_marked_and_asked_about(spoken: Spoken) -> None:
    transcript = spoken("The student feels a click.")
    item = said(transcript, "The student feels a click.", "joint.click", "present", site="hip", source_role="student")
    line = line_of(draft(transcript, item), item)

    assert line.text == "Hip: click on movement, student’s finding"
    assert line.checks == ("Student: did the clinician find the same?",)


def test_what_found_no_place_and_what_was_not_heard_is_shown(spoken: Spoken) -> None:
    plain = spoken("Nice weather today. The atlas feels odd. Lovely.")
    transcript = plain.model_copy(update={"dropped": (Dropped(start_ms=1500, end_ms=2000, reason="noise"),)})
    clauses = (
        ClauseAccount(words=(0, 3), clause_class=ClauseClass.CHAT),
        ClauseAccount(words=(3, 7), clause_class=ClauseClass.UNPLACED, terms=("cervical_spine",)),
        ClauseAccount(words=(7, 8), clause_class=ClauseClass.UNPLACED),
    )
    note = draft(transcript, extraction=Extraction(items=(), clauses=clauses))

    lines = section(note, "check").lines
    assert [line.text for line in lines] == ["Not heard: noise.", "Not placed in the note: “The atlas feels odd.”"]
    assert [(line.spans[0].start_ms, line.spans[0].end_ms) for line in lines] == [(1500, 2000), (1500, 3500)]


def test_a_state_said_again_after_treatment_says_so(spoken: Spoken) -> None:
    transcript = spoken("Left psoas tight. Holding it, it lets go. Now it is soft.")
    psoas: dict[str, Any] = {"site": "psoas", "side": "left"}
    before = said(transcript, "Left psoas tight.", "tissue.tension", "tight", **psoas)
    hold = said(transcript, "Holding it, it lets go.", "technique.sustained_pressure", "released", **psoas)
    after = said(transcript, "Now it is soft.", "tissue.tension", "normal", **psoas)
    note = draft(transcript, before, hold, after)

    assert line_of(note, before).text == "Psoas muscle, left: tight"
    assert line_of(note, after).text == "Psoas muscle, left: tension normal, said after treatment"


def _remark(item: Item, urgency: Urgency, **slots: Any) -> Remark:
    known: dict[str, Any] = {"id": f"R:{urgency}", "rule": "R", "title": "Title", "reason": "Reason.", "source": "s"}
    return Remark(**{**known, "urgency": urgency, "mark": Mark.OURS, "items": (item.id,), **slots})


def test_remarks_that_ask_are_points_and_blocking_ones_come_first(spoken: Spoken) -> None:
    transcript = spoken("The hip clunks.")
    item = said(transcript, "The hip clunks.", "joint.clunk", "present", site="hip", side="left")
    remarks = (
        _remark(item, Urgency.ASK, title="Gestation not given"),
        _remark(item, Urgency.REFER, title="Withhold", blocks_signing=True),
        _remark(item, Urgency.EXPECTED, title="Fine"),
    )
    points = check_texts(draft(transcript, item, remarks=remarks))

    assert points[:2] == ["Withhold. Reason.", "Gestation not given. Reason."]
    assert not any("Fine" in point for point in points)


def test_two_lines_that_disagree_are_asked_about_once(spoken: Spoken) -> None:
    transcript = spoken("Hip fine. Hip clunks.")
    fine = said(transcript, "Hip fine.", "joint.clunk", "absent", site="hip", flags=("conflict",))
    clunk = said(transcript, "Hip clunks.", "joint.clunk", "present", site="hip", flags=("conflict",))
    asked = _remark(clunk, Urgency.ASK, title="Which holds?", items=(fine.id, clunk.id))

    assert line_of(draft(transcript, fine, clunk), fine).checks
    note = draft(transcript, fine, clunk, remarks=(asked,))
    assert not line_of(note, fine).checks
    assert "Which holds? Reason." in check_texts(note)


def test_safeguarding_stands_in_no_line(spoken: Spoken) -> None:
    transcript = spoken("A bruise on the cheek.")
    item = said(transcript, "A bruise on the cheek.", "tissue.bruise", "present", site="face")
    remark = _remark(item, Urgency.EMERGENCY, title="Secret", blocks_signing=True, safeguarding=True)
    note = draft(transcript, item, remarks=(remark,))

    assert note.remarks == (remark,)
    assert not any("Secret" in line.text or "Secret" in str(line.checks) for line in every_line(note))


def test_not_looked_at_is_left_out_until_it_is_known(spoken: Spoken) -> None:
    transcript = spoken("Hips fine.")
    coverage = (
        ("eyes", "not_mentioned", ""),
        ("hips", "looked_at", ""),
        ("gag reflex", "skipped", "asleep"),
        ("weight", "not_mentioned", ""),
    )

    assert all(part.id != "not_looked_at" for part in draft(transcript).sections)
    lines = section(draft(transcript, coverage=coverage), "not_looked_at").lines
    assert [line.text for line in lines] == ["Not mentioned: eyes, weight", "Skipped (asleep): gag reflex"]


def test_places_are_found_looked_at_or_open_and_no_side_is_guessed(spoken: Spoken) -> None:
    transcript = spoken("a b c d e.")
    items = (
        said(transcript, "a", "joint.clunk", "present", site="hip"),
        said(transcript, "b", "tissue.tension", "tight", site="sternocleidomastoid", side="left"),
        said(transcript, "c", "tissue.tension", "normal", site="sternocleidomastoid", side="right"),
        said(transcript, "d", "exam.overall", "not_assessed", site="foot", side="both", reason="asleep"),
        said(transcript, "e.", "test.ortolani", "negative"),
    )
    states = {line.id: line.text for line in section(draft(transcript, *items), "places").lines}

    assert states["place:found:hip:none"] == "Hip, side not said: found"
    assert states["place:looked:hip:left"] == "Hip, left: looked at"
    assert states["place:found:side_of_neck:left"] == "Side of the neck, left: found"
    assert states["place:looked:side_of_neck:right"] == "Side of the neck, right: looked at"
    assert states["place:open:foot:left"] == "Foot, left: open"
    assert states["place:open:chest:none"] == "Chest: open"


def test_a_watchful_remark_marks_its_place_as_found(spoken: Spoken) -> None:
    transcript = spoken("Head is 39.")
    item = said(transcript, "Head is 39.", "measure.head_circumference", "value", value=39, unit="cm")

    plain = {line.id for line in section(draft(transcript, item), "places").lines}
    watched = draft(transcript, item, remarks=(_remark(item, Urgency.WATCH),))
    assert "place:looked:skull:none" in plain
    assert "place:found:skull:none" in {line.id for line in section(watched, "places").lines}


def test_a_note_carries_the_cautions_it_is_given(spoken: Spoken) -> None:
    transcript = spoken("Holding the neck.")
    treated = said(transcript, "Holding the neck.", "technique.position_hold", "done", site="neck")

    assert draft(transcript, treated, cautions=("A draft.", "Treat with care.")).cautions == (
        "A draft.",
        "Treat with care.",
    )
    assert draft(transcript).cautions == ()


def test_every_wording_row_names_what_the_vocabulary_holds() -> None:
    wording = load_wording()
    families = {concept.partition(".")[0] + ".*" for concept in VOCAB.concepts}
    for phrase in wording.phrases.values():
        assert phrase.id in VOCAB.concepts or phrase.id in families
        if phrase.id in VOCAB.concepts:
            known = VOCAB.concepts[phrase.id].results
            assert {*phrase.results, *phrase.whole, *phrase.quiet} <= {*known}, phrase.id
    for part in wording.parts:
        assert all(concept in VOCAB.concepts or concept in families for concept in part.concepts)
        assert all(site in VOCAB.sites for site in part.sites)
    assert all(site in VOCAB.sites for place in wording.places for site in place.sites)
    assert set(wording.sites) <= set(VOCAB.sites)


def test_the_same_input_gives_the_same_note(spoken: Spoken) -> None:
    transcript = spoken("Left hip clunks. Right hip fine.")
    items = (
        said(transcript, "Left hip clunks.", "joint.clunk", "present", site="hip", side="left"),
        said(transcript, "Right hip fine.", "exam.overall", "normal", site="hip", side="right"),
    )
    note = draft(transcript, *items)

    assert draft(transcript, *reversed(items)) == note
    assert Note.model_validate_json(note.model_dump_json()) == note


@pytest.mark.parametrize(
    ("said", "present"),
    [
        ("Okay, this is Wren. Mum's in the room, and she agrees.", ["present:mother"]),
        ("First visit, and dad has brought him.", ["present:father"]),
        ("Wren, here with mum, first visit. Grandma is here too.", ["present:mother", "present:other_carer"]),
        ("The student is watching.", ["present:student"]),
        ("If mum is here next week we go on.", []),
        ("Not with dad in the room.", []),
        ("Mum says no fever.", []),
        ("Dad isn't here.", []),
    ],
)
def test_who_is_said_to_be_there_is_present(said: str, present: list[str], spoken: Spoken) -> None:
    note = draft(spoken(said))

    lines = [line for part in note.sections if part.id == "present" for line in part.lines]
    assert present == [line.id for line in lines]
    assert all(line.spans and line.spans[0].quote in said for line in lines)


def test_long_doses_read_in_minutes(spoken: Spoken) -> None:
    transcript = spoken("Upright for twenty minutes after a feed.")
    upright = said(transcript, "Upright for twenty minutes", "advice.upright_after_feed", "given",
                   dose=Dose(seconds=1200, per="feed"))  # fmt: skip

    assert "20 minutes a feed" in line_of(draft(transcript, upright), upright).text


def test_a_count_reads_without_a_unit(spoken: Spoken) -> None:
    transcript = spoken("Six wet nappies.")
    nappies = said(transcript, "Six wet nappies.", "symptom.wet_nappies", "value", value=6, unit="1")

    assert line_of(draft(transcript, nappies), nappies).text.endswith("6")
