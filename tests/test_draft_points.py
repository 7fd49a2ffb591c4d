"""What is asked before signing, and beside which line. All narrations are invented."""

from dataclasses import replace
from typing import Any

import pytest
from drafting import MAMA, Spoken, check_texts, draft, every_line, line_of, remark_on, said, section

from pipeline.model import (
    ClauseAccount,
    ClauseClass,
    Dropped,
    Extraction,
    Heard,
    TraceStep,
    Urgency,
    span_of,
)


def test_presence_and_consent_are_asked_for_where_they_were_not_heard(spoken: Spoken) -> None:
    transcript = spoken("Hips fine. Yes go ahead.")
    hips = said(transcript, "Hips fine.", "exam.overall", "normal", site="hip", side="both")
    consent = said(transcript, "Yes go ahead.", "treatment.consent", "given", **MAMA)

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


def test_remarks_that_ask_are_points_and_blocking_ones_come_first(spoken: Spoken) -> None:
    transcript = spoken("The hip clunks.")
    item = said(transcript, "The hip clunks.", "joint.clunk", "present", site="hip", side="left")
    remarks = (
        remark_on(item, Urgency.ASK, title="Gestation not given"),
        remark_on(item, Urgency.REFER, title="Withhold", blocks_signing=True),
        remark_on(item, Urgency.EXPECTED, title="Fine"),
    )
    points = check_texts(draft(transcript, item, remarks=remarks))

    assert points[:2] == ["Withhold. Reason.", "Gestation not given. Reason."]
    assert not any("Fine" in point for point in points)


def test_two_lines_that_disagree_are_asked_about_once(spoken: Spoken) -> None:
    transcript = spoken("Hip fine. Hip clunks.")
    fine = said(transcript, "Hip fine.", "joint.clunk", "absent", site="hip", flags=("conflict",))
    clunk = said(transcript, "Hip clunks.", "joint.clunk", "present", site="hip", flags=("conflict",))
    asked = remark_on(clunk, Urgency.ASK, title="Which holds?", items=(fine.id, clunk.id))

    assert line_of(draft(transcript, fine, clunk), fine).checks
    note = draft(transcript, fine, clunk, remarks=(asked,))
    assert not line_of(note, fine).checks
    assert "Which holds? Reason." in check_texts(note)


def test_safeguarding_stands_in_no_line(spoken: Spoken) -> None:
    transcript = spoken("A bruise on the cheek.")
    item = said(transcript, "A bruise on the cheek.", "tissue.bruise", "present", site="face")
    remark = remark_on(item, Urgency.EMERGENCY, title="Secret", blocks_signing=True, safeguarding=True)
    note = draft(transcript, item, remarks=(remark,))

    assert note.remarks == (remark,)
    assert not any("Secret" in line.text or "Secret" in str(line.checks) for line in every_line(note))
