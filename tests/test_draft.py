"""The drafted note: where a line stands, what it rests on, who was there. All narrations are invented."""

from typing import Any

import pytest
from drafting import MAMA, VOCAB, Spoken, check_texts, draft, line_of, remark_on, said, section

from pipeline.draft import load_wording
from pipeline.model import (
    Note,
    Urgency,
)
from pipeline.records import Looked


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
        ("history.concern", "stated", MAMA),
        ("measure.weight", "value", {"value": 5, "unit": "kg"}),
        ("tissue.tension", "tight", {"site": "sternocleidomastoid", "side": "left"}),
        ("treatment.consent", "given", MAMA),
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
    sleep = said(transcript, "Mum says he sleeps well.", "symptom.sleep", "good", **MAMA)
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


def test_not_looked_at_is_left_out_until_it_is_known(spoken: Spoken) -> None:
    transcript = spoken("Hips fine.")
    coverage = (
        Looked(label="eyes", state="not_mentioned"),
        Looked(label="hips", state="looked_at"),
        Looked(label="gag reflex", state="skipped", why="asleep"),
        Looked(label="weight", state="not_mentioned"),
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
    watched = draft(transcript, item, remarks=(remark_on(item, Urgency.WATCH),))
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
        assert phrase.id in VOCAB.concepts or phrase.id in families or phrase.id == "written.note"
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
