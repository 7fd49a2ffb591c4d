"""The search page, an infant over time and what is due, as the pages show them. The visits are invented."""

from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest
from invented import file_visit, infant, item, record_of
from webbing import Pages, pages

from pipeline.model import Age, Transcript
from pipeline.store import Store

NAME = "<b>robin</b> / 1"


@pytest.fixture
def opened(tmp_path: Path, spoken: Callable[[str], Transcript]) -> Iterator[Pages]:
    words = spoken("The left one is tight. <script>alert(1)</script> See you in two weeks.")
    with Store(tmp_path / "home") as store:
        who = infant(NAME, sex="female", gestation_weeks=40)
        record = record_of(words, who, date(2026, 11, 1), Age(days=60, corrected_days=60))
        file_visit(
            store, record,
            item(words, (0, 5), "tissue.tension", "tight", site="sternocleidomastoid", side="left"),
            item(words, (1, 4), "measure.weight", "value", site="whole_body", value=5.0, unit="kg"),
            item(words, (6, 11), "plan.next_visit", "planned", kind="plan", site="whole_body"),
        )  # fmt: skip
    with pages(tmp_path / "home", spoken) as client:
        yield client


def test_a_question_is_answered_with_how_it_was_understood(opened: Pages) -> None:
    shown = opened.get("/search", params={"q": "tight left SCM"}).text

    assert "tension: tight" in shown
    assert "1 line, 1 visit, 1 infant." in shown
    assert "&lt;b&gt;robin&lt;/b&gt;" in shown
    assert "<b>robin" not in shown
    assert 'data-start="0" data-end="2500"' in shown
    assert '/infants/%3Cb%3Erobin%3C/b%3E%20/%201"' in shown or "/infants/%3Cb%3Erobin%3C%2Fb%3E%20%2F%201" in shown


def test_what_was_denied_or_is_not_there_gives_no_answer(opened: Pages) -> None:
    assert "Nothing on record answers that." in opened.get("/search", params={"q": "tight right SCM"}).text
    assert "masseter" in opened.get("/search", params={"q": "tight maseter"}).text


@pytest.mark.parametrize("q", ["", "   ", "<script>", '"', "*", "%", "\u202e", "x" * 500])
def test_any_question_is_a_page(q: str, opened: Pages) -> None:
    answer = opened.get("/search", params={"q": q})

    assert 200 == answer.status_code
    assert "<script>" not in answer.text
    assert "\u202e" not in answer.text


@pytest.mark.parametrize("params", [{"q": "x" * 501}, {"by": "nobody"}, {"order": "sideways"}])
def test_what_the_form_does_not_offer_is_refused(params: dict[str, str], opened: Pages) -> None:
    assert 422 == opened.get("/search", params=params).status_code


def test_exact_filters_narrow_the_answers(opened: Pages) -> None:
    both = opened.get("/search", params={"q": "tight", "side": "left", "until": "2026-11-30"}).text
    assert "side exactly: left" in both
    assert "1 line, 1 visit, 1 infant." in both
    assert "1 line, 1 visit, 1 infant." in opened.get("/search", params={"result": "tight"}).text, "no question needed"
    for filters in ({"side": "right"}, {"since": "2026-11-02"}, {"age": "under 1 month"}, {"site": "jaw"}):
        assert "Nothing on record answers that." in opened.get("/search", params={"q": "tight", **filters}).text


@pytest.mark.parametrize("wrong", [{"site": "nonsense"}, {"since": "yesterday"}, {"age": "old"}, {"infant": "nobody"}])
def test_a_filter_that_cannot_be_read_is_told(wrong: dict[str, str], opened: Pages) -> None:
    answer = opened.get("/search", params={"q": "tight", **wrong})

    assert 200 == answer.status_code
    assert 'role="alert"' in answer.text
    assert next(iter(wrong.values())) in answer.text.partition('role="alert"')[2]


def test_the_infants_lead_to_each_course(opened: Pages) -> None:
    shown = opened.get("/infants").text

    assert "&lt;b&gt;robin" in shown
    assert "1 visit<" in shown
    link = shown.partition('href="/infants/')[2].partition('"')[0]
    assert "At the door" in opened.get(f"/infants/{link}").text


def test_an_infant_over_time(opened: Pages) -> None:
    shown = opened.get("/search", params={"q": "SCM"}).text
    link = shown.partition('<a href="/infants/')[2].partition('"')[0]
    page = opened.get(f"/infants/{link}")

    assert 200 == page.status_code
    for text in (
        "At the door",
        "Findings from visit to visit",
        "on the WHO 2006 curves for girls",
        "The numbers behind",
    ):
        assert text in page.text
    assert "<svg" in page.text
    assert "style=" not in page.text, "the policy refuses inline styles"
    assert 404 == opened.get("/infants/nobody").status_code


def test_what_is_due(opened: Pages) -> None:
    shown = opened.get("/due").text

    assert "15 November 2026" in shown
    assert "unsigned note" in shown


def test_a_record_that_is_not_there_yet(tmp_path: Path, spoken: Callable[[str], Transcript]) -> None:
    with pages(tmp_path / "empty", spoken) as client:
        assert "draft one first" in client.get("/search", params={"q": "hip"}).text
        assert "No infant is on record yet." in client.get("/infants").text
        assert "Nothing is due" in client.get("/due").text


def test_without_the_link_nothing_is_told(opened: Pages) -> None:
    opened.cookies.clear()
    for path in ("/search?q=tight", "/due", "/infants", "/infants/x"):
        answer = opened.get(path)
        assert 401 == answer.status_code
        assert "robin" not in answer.text
