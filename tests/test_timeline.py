"""One infant over time: what became of findings, growth, motion, the card for the door, the charts and the page."""

import json
import re
from collections.abc import Callable
from datetime import date
from pathlib import Path
from xml.etree import ElementTree

import pytest
from invented import file_visit, infant, item, record_of

from pipeline.check.growth import value_at, z_score
from pipeline.config import Config, Settings
from pipeline.errors import NotFoundError
from pipeline.model import Age, Infant, Transcript
from pipeline.search import compile_lexicon
from pipeline.show.over_time import door_lines, timeline_json, timeline_lines
from pipeline.store import Store
from pipeline.store.events import Consent
from pipeline.store.past import Point, Seen, Told
from pipeline.timeline import Timeline, centile_told, timeline, write_page
from pipeline.timeline.charts import growth_chart, motion_chart
from pipeline.timeline.course import State, is_found, is_in_order, threads
from pipeline.timeline.glance import glance
from pipeline.timeline.growth import CURVES
from pipeline.vocabulary import load_vocabulary

LEXICON = compile_lexicon(load_vocabulary())
Spoken = Callable[[str], Transcript]


def told(visit: str, concept: str, result: str | None, side: str = "none", **more: object) -> Told:
    """A line as it stands on record."""
    facts = LEXICON.concepts[concept]
    given: dict[str, object] = {
        "id": f"{visit}{concept}{side}{result}", "visit": visit, "kind": facts.kind, "concept": concept,
        "site": facts.site or "hip", "side": side, "level": None, "result": result, "value": None, "unit": None,
        "degree": None, "change": None, "text": f"{concept} {result}", "quote": "invented", "start_ms": 0, "end_ms": 1,
    }  # fmt: skip
    return Told(**(given | more))  # type: ignore[arg-type]


def visits(*lines: list[Told]) -> list[Seen]:
    """One visit for each list of lines."""
    return [
        Seen(chr(ord("A") + n), "I", date(2026, 1 + n, 1), None, None, drafted=True, signed=True, lines=tuple(one))
        for n, one in enumerate(lines)
    ]


T, C, R, ORT = "tissue.tension", "joint.clunk", "motion.rotation", "test.ortolani"


@pytest.mark.parametrize(
    ("lines", "states"),
    [
        ([[told("A", T, "tight", "left")]], ["found"]),
        ([[], [told("B", T, "tight", "left")]], ["new"]),
        ([[told("A", T, "tight", "left")], [told("B", T, "tight", "left")]], ["found", "unchanged"]),
        ([[told("A", T, "tight", "left")], [told("B", T, "tight", "left", change="better")]], ["found", "changed"]),
        ([[told("A", T, "tight", "left")], [told("B", T, "tight", "left", degree="slight")]], ["found", "changed"]),
        ([[told("A", T, "tight", "left")], [told("B", T, "normal", "left")]], ["found", "resolved"]),
        ([[told("A", T, "tight", "left")], [told("B", T, "normal", "both")]], ["found", "resolved"]),
        ([[told("A", T, "tight", "left")], [told("B", T, "normal")]], ["found", "resolved"]),
        ([[told("A", T, "tight", "left")], []], ["found", "not looked at again"]),
        ([[told("A", T, "tight", "left")], [told("B", T, "normal", "right")]], ["found", "not looked at again"]),
        ([[told("A", T, "tight", "left"), told("A", T, "normal", "left")]], ["resolved"]),
        (
            [[told("A", T, "tight", "left")], [told("B", T, "normal", "left")], [told("C", T, "tight", "left")]],
            ["found", "resolved", "back"],
        ),
        ([[told("A", T, "tight", "left")], [told("B", T, "normal", "left")], []], ["found", "resolved"]),
        ([[told("A", C, "absent", "left")], [told("B", C, "present", "left")]], ["in order", "new"]),
        ([[told("A", "reflex.moro", "absent")], [told("B", "reflex.moro", "present")]], ["found", "resolved"]),
        ([[told("A", R, "limited", "left")], [told("B", R, "normal", "left")]], ["found", "resolved"]),
        ([[told("A", R, "normal", "left")], [told("B", R, "limited", "left")]], ["in order", "new"]),
        ([[told("A", R, "limited", "left")], [told("B", R, "value", "left", value=70.0)]], ["found", "changed"]),
        (
            [[told("A", R, "limited", "left"), told("A", R, "value", "left", value=70.0)], []],
            ["found", "not looked at again"],
        ),
        ([[told("A", R, "value", "left", value=70.0)], [told("B", R, "limited", "left")]], ["looked at", "new"]),
        (
            [[told("A", ORT, "positive", "left")], [told("B", ORT, "equivocal", "left")], []],
            ["found", "changed", "not looked at again"],
        ),
        (
            [[told("A", ORT, "positive", "left")], [told("B", ORT, "not_assessed", "left")]],
            ["found", "not looked at again"],
        ),
        ([[told("A", ORT, "equivocal", "left")], [told("B", ORT, "negative", "left")]], ["looked at", "resolved"]),
        (
            [[told("A", "symptom.vomiting", "present")], [told("B", "symptom.vomiting", "absent")]],
            ["found", "resolved"],
        ),
    ],
)
def test_what_became_of_a_finding(lines: list[list[Told]], states: list[State]) -> None:
    (thread,) = threads(visits(*lines), LEXICON)

    assert states == [step.state for step in thread.steps]


def test_what_the_vocabulary_calls_bad_is_never_in_order() -> None:
    """Over the whole vocabulary: to deny a full motion is to find a limited one."""
    for concept, facts in LEXICON.concepts.items():
        for result in facts.results.keys() & LEXICON.bad:
            if concept not in LEXICON.wanted_present:
                assert is_found(told("A", concept, result), LEXICON), (concept, result)


def test_both_sides_are_followed_each_by_itself() -> None:
    both = threads(visits([told("A", T, "tight", "both")], [told("B", T, "normal", "left")]), LEXICON)

    assert {"left": ["found", "resolved"], "right": ["found", "not looked at again"]} == {
        thread.side: [step.state for step in thread.steps] for thread in both
    }


@pytest.mark.parametrize(
    "line", [told("A", T, "normal"), told("A", C, "absent"), told("A", "reflex.moro", "present"),
             told("A", "history.caesarean", "present"), told("A", "measure.weight", "value", value=4.0)],
)  # fmt: skip
def test_what_is_in_order_or_told_of_the_birth_is_not_followed(line: Told) -> None:
    assert [] == threads(visits([line]), LEXICON)


def test_no_result_is_both_found_and_in_order() -> None:
    """Over the whole vocabulary."""
    for concept, facts in LEXICON.concepts.items():
        for result in facts.results:
            line = told("A", concept, result)
            assert not (is_found(line, LEXICON) and is_in_order(line, LEXICON)), (concept, result)


@pytest.mark.parametrize(("share", "z"), CURVES)
def test_a_curve_lies_where_its_centile_is(share: int, z: float) -> None:
    value = value_at("measure.weight", "female", 100, z)

    assert z == pytest.approx(z_score("measure.weight", "female", 100, value))
    assert {97: "97th", 85: "85th", 50: "50th", 15: "15th", 3: "3rd"}[share] == centile_told(share)


@pytest.mark.parametrize(
    ("centile", "text"),
    [(99.7, "above the 99th"), (0.2, "below the 1st"), (11.2, "11th"), (21.9, "22nd"), (1.0, "1st")],
)
def test_centiles_are_told(centile: float, text: str) -> None:
    assert text == centile_told(centile)


@pytest.fixture
def config(tmp_path: Path) -> Config:
    return Config(home=tmp_path / "home", settings=Settings())


@pytest.fixture
def finch() -> Infant:
    return infant("Finch <b>", born=date(2026, 9, 1), sex="male", gestation_weeks=35)


@pytest.fixture
def course(config: Config, finch: Infant, spoken: Spoken) -> Timeline:
    said = (
        ("Left one tight, rotation forty left and eighty right, weight four, look again.", "tight", 40.0, 4.0),
        ("Left one soft, rotation seventy left and eighty right, weight five, see you in a week.", "normal", 70.0, 5.0),
    )
    with Store(config.home) as store:
        for n, (text, result, degrees, weight) in enumerate(said):
            words = spoken(text)
            record = record_of(words, finch, date(2026, 10 + n, 10), Age(days=39 + 31 * n, corrected_days=4 + 31 * n))
            visit = file_visit(
                store, record,
                item(words, (0, 3), "tissue.tension", result, site="sternocleidomastoid", side="left"),
                item(words, (3, 6), "motion.rotation", "value", site="neck", side="left", value=degrees, unit="deg"),
                item(words, (6, 9), "motion.rotation", "value", site="neck", side="right", value=80, unit="deg"),
                item(words, (9, 11), "measure.weight", "value", site="whole_body", value=weight, unit="kg"),
                item(words, (11, 12), "plan.recheck", "planned", kind="plan", site="jaw", side="left"),
            ).visit  # fmt: skip
            with store.writing() as unit:
                unit.append(Consent(scope="record", state="given"), visit=visit, infant=finch.id)
    return timeline(finch.code_name, config)


def test_the_course_of_an_infant(course: Timeline) -> None:
    (thread,) = course.threads
    (weight,) = course.growth
    (motion,) = course.motion

    assert ["found", "resolved"] == [step.state for step in thread.steps]
    assert [(4.0, 4), (5.0, 35)] == [(m.value, m.corrected_days) for m in weight.points]
    assert weight.points[0].z == pytest.approx(z_score("measure.weight", "male", 4, 4.0))
    assert [("left", 40), ("right", 80), ("left", 70), ("right", 80)] == [(p.side, p.degrees) for p in motion.points]
    assert 2 == len(course.plans[:2])


def test_the_card_for_the_door(course: Timeline) -> None:
    card = course.glance

    assert (date(2026, 11, 10), 5.0) == (card.last_visit, card.numbers[0][1].value)
    assert ["look again", "look again"] == [plan.what for plan in card.again]
    assert (("record", "given", date(2026, 11, 10)),) == card.consents
    assert ((), 0) == (card.flags, card.apart), "to be asked is no danger sign"


def test_what_several_visits_raise_is_one_flag_on_the_card() -> None:
    def point(visit: str, title: str, *, answered: bool = False) -> Point:
        return Point(f"{title}:{visit}", visit, "refer", title, not answered, safeguarding=False)

    points = [point("A", "hips"), point("A", "skin", answered=True), point("B", "hips"), point("C", "hips"),
              point("C", "skin")]  # fmt: skip
    card = glance(visits([], [], []), points, [], [], [], [])

    assert [("hips", "C", date(2026, 1, 1), date(2026, 3, 1)), ("skin", "C", date(2026, 3, 1), date(2026, 3, 1))] == [
        (flag.title, flag.visit, flag.since, flag.day) for flag in card.flags
    ]
    told = [line for line in door_lines(card) if "!" in line]
    assert ["since 2026-01-01, last 2026-03-01" in told[0], "since" in told[1]] == [True, False]


def test_an_infant_that_is_not_there(config: Config, course: Timeline) -> None:
    assert course.infant == timeline("finch <B>", config).infant
    for key in ("nobody", "", "%"):
        with pytest.raises(NotFoundError):
            timeline(key, config)


def test_the_terminal_and_the_object_tell_the_same(course: Timeline) -> None:
    lines = "\n".join(timeline_lines(course))

    for text in (
        "2026-10-10",
        "resolved: ",
        "planned: ",
        "centile",
        "in degrees",
        "consent to record: given",
        "At the door",
    ):
        assert text in lines
    told = json.loads(json.dumps(timeline_json(course)))
    assert [2, 1, 1] == [len(told["visits"]), len(told["threads"]), len(told["growth"])]
    assert "2026-11-10" == told["glance"]["last_visit"]


def charts(course: Timeline) -> list[str]:
    return [growth_chart(course.infant, course.growth[0]), motion_chart(course.infant, course.motion[0])]


def test_charts_have_a_title_a_description_and_ids_of_their_own(course: Timeline) -> None:
    seen: list[str] = []
    for chart in charts(course):
        root = ElementTree.fromstring(chart)
        first, second = list(root)[:2]
        assert (("title", "desc"), "img") == (
            tuple(e.tag.rpartition("}")[2] for e in (first, second)),
            root.get("role"),
        )
        assert f"{first.get('id')} {second.get('id')}" == root.get("aria-labelledby")
        assert "Finch <b>" in (first.text or "")
        assert re.search(r"\d", second.text or "")
        ids = [e.get("id", "") for e in root.iter() if e.get("id")]
        seen += ids
        for e in root.iter():
            assert e.get("style") is None, "a strict policy for styles refuses it"
            assert e.tag.rpartition("}")[2] not in ("style", "script", "metadata")
            for name, value in e.attrib.items():
                if name.endswith("href"):
                    assert value.removeprefix("#") in ids
    assert len(seen) == len(set(seen))
    assert charts(course) == charts(course), "the same numbers give the same picture"


def test_without_the_sex_there_are_no_curves(course: Timeline) -> None:
    from dataclasses import replace

    unknown = growth_chart(replace(course.infant, sex=None), course.growth[0])

    assert ">97<" in charts(course)[0]
    assert ">97<" not in unknown
    assert "curves" not in unknown


def test_the_page_holds_a_table_behind_each_chart(course: Timeline, tmp_path: Path) -> None:
    html = write_page(course, tmp_path / "page").read_text()

    assert html.count("<svg") == 2 == html.count("<summary>The numbers behind it</summary>")
    assert "Finch &lt;b&gt;" in html
    assert "<b>" not in html
    assert "note.html#t=0,1.5" in html
    assert "It never means normal" in html
    assert re.findall(r'(?:src|href)="(?!file:)[^"#]', html) == []
