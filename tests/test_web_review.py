"""Putting a draft right over the wire: every kind of change, what is refused, what two windows see. All invented."""

import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from reviewing import NARRATION, file_narration, stages
from webbing import Pages, change, state

from pipeline.model import Answer, LineEdit, Transcript
from pipeline.review import Sheets
from pipeline.store import Store

Ask = Callable[..., Any]


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory, spoken: Callable[[str], Transcript]) -> tuple[Path, str]:
    """A record with one visit, made once; each test that changes it works on a copy."""
    home = tmp_path_factory.mktemp("filed") / "home"
    return home, file_narration(home, spoken(NARRATION))


@pytest.fixture(scope="module")
def looking(filed: tuple[Path, str]) -> Iterator[Pages]:
    """The pages over the first record, for tests that change nothing."""
    with Pages(filed[0], stages()) as client:
        yield client


@pytest.fixture
def opened(filed: tuple[Path, str], tmp_path: Path) -> Iterator[Pages]:
    shutil.copytree(filed[0], tmp_path / "home")
    with Pages(tmp_path / "home", stages()) as client:
        yield client


@pytest.fixture(scope="module")
def visit(filed: tuple[Path, str]) -> str:
    return filed[1]


@pytest.fixture
def do(opened: Pages, visit: str) -> Ask:
    """``do(type="strike", line=...)``: one change, which must be saved; gives the sheet after it."""

    def done(**what: Any) -> Any:
        answer = change(opened, visit, **what)
        assert answer.status_code == 200, answer.text
        return answer.json()

    return done


def sheet(opened: Pages, visit: str) -> Any:
    sheets = Sheets(opened.config, stages(), _never)
    return sheets.sheet(visit)


def _never() -> Any:
    raise AssertionError("looking asks for no time")


def line_of(opened: Pages, visit: str, concept: str) -> Any:
    (line,) = [line for line in sheet(opened, visit).lines() if line.slots and line.slots.concept == concept]
    return line


def point_of(opened: Pages, visit: str, code: str) -> Any:
    return next(p for p in sheet(opened, visit).points() if p.id.startswith(code))


def test_the_page_holds_the_note_its_points_and_the_outline(looking: Pages, visit: str) -> None:
    text = looking.get(f"/visits/{visit}").text

    assert "Sternocleidomastoid muscle: tight" in text
    assert "Which side? None was said." in text
    assert text.index("Fever under three months") < text.index("Which side?"), "dangers first"
    assert 'class="infant"' in text
    assert "5 points to check" in text
    assert not re.search(r"<[^>]+ (?:style|on\w+)=", text), "the policy would refuse it"


def test_a_side_is_answered_and_the_draft_follows(opened: Pages, visit: str, do: Ask) -> None:
    point = point_of(opened, visit, "side_missing:")

    shown = do(type="choose", point=point.id, say="left")

    assert shown["open"] == 4
    assert "Sternocleidomastoid muscle, left: tight" in shown["pieces"]["part-found"]
    assert "figure" in shown["pieces"], "the outline takes the side"
    assert "part-plan" not in shown["pieces"], "only what differs is sent"
    with Store(opened.config.home) as store:
        (edit,) = store.record(visit).edits
        assert isinstance(edit, LineEdit)
        assert (edit.before, edit.after) == ({"side": "none"}, {"side": "left"})


def test_a_danger_is_answered_in_words_and_asks_again(opened: Pages, visit: str, do: Ask) -> None:
    assert change(opened, visit, type="choose", point="RF01:whole_body", say="not so here").status_code == 400

    do(type="choose", point="RF01:whole_body", say="not so here", text="measured again: 37.2")
    answered = point_of(opened, visit, "RF01")
    do(type="reopen", point="RF01:whole_body")

    assert answered.answer == "not so here: measured again: 37.2"
    assert point_of(opened, visit, "RF01").answer == ""
    with Store(opened.config.home) as store:
        assert [type(edit) for edit in store.record(visit).edits] == [Answer, Answer], (
            "nothing is taken from the record"
        )


def test_strike_put_back_undo_and_redo(opened: Pages, visit: str, do: Ask) -> None:
    line = line_of(opened, visit, "reflex.moro")

    struck = do(type="strike", line=line.id)
    assert "part-struck" in struck["order"]
    assert "Moro" in struck["pieces"]["part-struck"]
    assert "part-struck" not in do(type="restore", line=line.id)["order"]
    assert "part-struck" in do(type="undo")["order"]
    assert "part-struck" not in do(type="undo")["order"]
    last = do(type="redo")
    assert "part-struck" in last["order"]
    assert last["can_redo"]


def test_a_line_is_added_typed_and_from_words(do: Ask) -> None:
    slots = {"concept": "motion.rotation", "site": "neck", "side": "left", "result": "limited"}

    typed = do(type="add", slots=slots, start_ms=13000, end_ms=13000)
    heard = do(type="add", slots=slots, start_ms=13000, end_ms=14000)
    own = {"concept": "written.note", "kind": "finding", "detail": "a <b>mark</b>", "part": "found.neck"}
    written = do(type="add", slots=own, start_ms=0, end_ms=0)

    assert re.search(r"written \d\d:\d\d for 0:13", typed["pieces"]["part-found"])
    assert re.search(r"added \d\d:\d\d from these words", heard["pieces"]["part-found"])
    assert "“a &lt;b&gt;mark&lt;/b&gt;”" in written["pieces"]["part-found"]


def test_words_put_right_are_read_again(opened: Pages, visit: str, do: Ask) -> None:
    heard = opened.get(f"/visits/{visit}/words", params={"i0": 0, "i1": 400}).json()
    (word,) = [w for w in heard if w["text"] == "whatsit"]

    shown = do(type="words", start_ms=word["start_ms"], end_ms=word["end_ms"], heard="whatsit", meant="tongue tie")

    assert "whatsit" not in "".join(shown["pieces"].values())
    after = opened.get(f"/visits/{visit}/words", params={"i0": word["i"], "i1": word["i"] + 1}).json()
    assert [w["text"] for w in after if w["edited"]] == ["tongue", "tie"]
    assert next(w for w in after if w["text"] == "tongue")["other"] == "whatsit"


def test_a_line_moves_and_is_marked_not_done(opened: Pages, visit: str, do: Ask) -> None:
    line = line_of(opened, visit, "reflex.moro")

    moved = do(type="slots", line=line.id, slots={"part": "found.general"})
    do(type="slots", line=line.id, slots={"result": "not_assessed", "reason": "crying"})

    assert "Moro" in moved["pieces"]["part-found"]
    assert line_of(opened, visit, "reflex.moro").text == "Moro: not assessed, reason given: “crying”"


def test_the_sex_is_answered_and_known_of_the_infant(opened: Pages, spoken: Callable[[str], Transcript]) -> None:
    visit = file_narration(opened.config.home, spoken("He weighs four point two kilos. Tummy time."), "Pebble")

    assert change(opened, visit, type="choose", point="ASK.sex", say="boy").status_code == 200

    with Store(opened.config.home) as store:
        assert store.record(visit).infant.sex == "male"


@pytest.mark.parametrize(
    ("point", "say", "text", "known"),
    [  # what the rules wait for
        ("ASK.gestation", "weeks at birth", "36+2", lambda record: record.infant.gestation_weeks == 36),
        ("ASK.birth_weight", "the birth weight is", "3.1 kg", lambda record: record.infant.birth_weight_kg == 3.1),
        ("ASK.age", "the age is", "9 weeks", lambda record: record.age.days == 63),
    ],
)
def test_what_the_checks_lack_is_told_in_words(
    point: str, say: str, text: str, known: Callable[[Any], bool], opened: Pages, spoken: Callable[[str], Transcript]
) -> None:
    said = "She weighs three kilos." if point == "ASK.age" else "She is ten days old. She weighs three kilos."
    visit = file_narration(opened.config.home, spoken(said), "Pebble", known=False)
    refused = change(opened, visit, type="choose", point=point, say=say, text="purple")
    assert refused.status_code == 400
    assert change(opened, visit, type="choose", point=point, say=say, text=text).status_code == 200

    with Store(opened.config.home) as store:
        assert known(store.record(visit))
    assert Sheets(opened.config, stages(), _never).sheet(visit).point(point) is None


@pytest.mark.parametrize(
    ("slots", "told"),
    [
        ({"concept": "no.such"}, "choose what the line is about"),
        ({"site": "wing"}, "choose the structure"),
        ({"side": "upwards"}, "side"),
        ({"result": "purple"}, "the result may be"),
        ({"value": "four"}, "give a number"),
        ({"value": 1e9}, "out of all bounds"),
        ({"evidence": []}, "a line has no evidence"),
        ({"part": "kitchen"}, "no part"),
        ({"detail": "x" * 501}, "too long"),
        ({}, "says that already"),
    ],
)
def test_a_slot_that_cannot_be_is_refused_and_nothing_is_kept(
    slots: dict[str, Any], told: str, looking: Pages, visit: str
) -> None:
    before = state(looking, visit)["version"]
    line = line_of(looking, visit, "tissue.tension")

    answer = change(looking, visit, type="slots", line=line.id, slots=slots)

    assert answer.status_code == 400
    assert told in answer.json()["error"]
    assert state(looking, visit)["version"] == before


@pytest.mark.parametrize(
    "what",
    [
        {"type": "strike", "line": "no-such-line"},
        {"type": "choose", "point": "no-such-point", "say": "left"},
        {"type": "choose", "point": "consent", "say": "perhaps"},
        {"type": "undo"},
        {"type": "redo"},
        {"type": "words", "start_ms": 5, "end_ms": 5, "heard": "a", "meant": "b"},
        {"type": "sing"},
        {"type": "strike", "line": "x" * 301},
    ],
)
def test_what_cannot_be_done_is_said(what: dict[str, Any], looking: Pages, visit: str) -> None:
    answer = change(looking, visit, **what)

    assert answer.status_code in (400, 404, 422)
    assert answer.json()["error"]


def test_two_windows_do_not_overwrite_each_other(opened: Pages, visit: str) -> None:
    version = state(opened, visit)["version"]
    line = line_of(opened, visit, "tissue.tension")

    first = change(opened, visit, version, type="slots", line=line.id, slots={"side": "left"})
    second = change(opened, visit, version, type="slots", line=line.id, slots={"side": "right"})

    assert (first.status_code, second.status_code) == (200, 409)
    assert "another window" in second.json()["error"]
    assert line_of(opened, visit, "tissue.tension").slots.side == "left"


def test_a_change_is_on_disk_when_it_is_answered_and_in_the_derived_tables(opened: Pages, visit: str, do: Ask) -> None:
    line = line_of(opened, visit, "tissue.tension")
    do(type="slots", line=line.id, slots={"side": "right"})

    with Store(opened.config.home) as store:
        from pipeline.store import schema

        with store.reading() as connection:
            row = connection.execute(schema.item.select().where(schema.item.c.id == line.id)).one()
    assert row.side == "right"


@pytest.mark.parametrize(
    ("typed", "say"),
    [
        ("scm tight l", "sternocleidomastoid muscle, left, tension, tight"),
        ("left hip abd limited 50 degrees", "hip, left, abduction, restricted, 50 deg"),
        ("barlow neg", "hip, Barlow, negative"),
        ("sternoclidomastoid tight right", "sternocleidomastoid muscle, right, tension, tight"),
    ],
)
def test_what_is_typed_is_found_forgiving_of_spelling(typed: str, say: str, looking: Pages, visit: str) -> None:
    found = looking.get(f"/visits/{visit}/lines", params={"q": typed}).json()

    assert found[0]["say"] == say


def test_what_is_typed_at_a_line_leaves_out_what_stands_there(looking: Pages, visit: str) -> None:
    beside = line_of(looking, visit, "motion.abduction").id
    found = looking.get(f"/visits/{visit}/lines", params={"q": "r full", "beside": beside}).json()

    assert found[0]["slots"] == {
        "kind": "finding", "concept": "motion.abduction", "site": "hip", "side": "right", "result": "normal",
    }  # fmt: skip


def test_a_line_is_offered_what_it_may_mean_and_one_key_does_it(opened: Pages, visit: str, do: Ask) -> None:
    line = line_of(opened, visit, "tissue.tension")
    offered = opened.get(f"/visits/{visit}/offers", params={"line": line.id}).json()
    changes = [offer["change"] for offer in offered]

    assert {"type": "slots", "line": line.id, "slots": {"result": "normal"}} in changes
    assert all(offer["change"]["slots"].get("result") != "tight" for offer in offered if "line" in offer["change"])
    do(**changes[0])
    assert opened.get(f"/visits/{visit}/offers", params={"line": "none"}).status_code == 404


def test_the_sentence_of_a_word_is_read_after_what_was_said_before_it(
    opened: Pages, spoken: Callable[[str], Transcript]
) -> None:
    said = "Mum is here. Neck rotation to the right is eighty. So to the left she gives me, oh, seventy five."
    visit = file_narration(opened.config.home, spoken(said), "Pebble")
    line = next(line for line in sheet(opened, visit).lines() if line.slots and line.slots.concept == "motion.rotation")
    last = len(said.split()) - 1
    offered = opened.get(f"/visits/{visit}/offers", params={"line": line.id, "word": last}).json()

    told = [
        (slots["concept"], slots.get("site"), slots.get("side"), slots.get("value"))
        for slots in (offer["change"]["slots"] for offer in offered)
    ]
    lines = [(i.concept, i.site, i.side, i.value) for i in (card.slots for card in sheet(opened, visit).lines()) if i]
    assert ("motion.rotation", "neck", "left", 75.0) in (*told, *lines)


def test_entries_of_the_vocabulary_are_found_by_name_and_by_id(looking: Pages) -> None:
    near = looking.get("/vocabulary/concepts", params={"q": "abductoin"}).json()
    one = looking.get("/vocabulary/sites", params={"key": "hip"}).json()

    assert "abduction" in [entry["label"] for entry in near]
    assert [(entry["id"], entry["sided"]) for entry in one] == [("hip", True)]


def test_words_hold_what_rests_on_them(looking: Pages, visit: str) -> None:
    line = line_of(looking, visit, "tissue.tension")
    words = looking.get(f"/visits/{visit}/words", params={"i0": line.words[0], "i1": line.words[1]}).json()

    resting = [word["text"] for word in words if line.id in word["lines"]]
    assert "sternocleidomastoid" in resting
    assert looking.get(f"/visits/{visit}/words", params={"i0": 9_999_999, "i1": 0}).json() == []
