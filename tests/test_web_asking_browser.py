"""The third moment of use in a real browser, over the real command: a question and its answers that play, the infants,
one of them over time, what is due.

Needs the package playwright and a Chromium (Debian: apt-get install chromium); skipped with the reason without them.
HANDSPOKEN_SHOTS names a folder for pictures of the main states.
"""

import re
import shutil
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from browsing import Server, accessible, fits, opened_window
from reviewing import file_course

from pipeline.model import Transcript

playwright: Any = pytest.importorskip("playwright.sync_api", reason="the package playwright is not installed")
CHROMIUM = shutil.which("chromium")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine (apt-get install chromium)")

HOSTILE = "<img src=x onerror=window.ran=1>"
WIDTHS = (360, 1280)
FIRST = (
    "The left SCM is tight. The left masseter is tight. Rotation to the right is limited to sixty degrees. "
    "Ortolani is positive on the left. Weight four point two kilos. Length fifty four centimetres. "
    "I'll look at the jaw again next time. See you in two weeks."
)
SECOND = "The left SCM is soft. Rotation to the right is full, eighty degrees. Weight 4.9 kilos. She can't settle."
LISTEN = """
window.heard = [];
const play = HTMLMediaElement.prototype.play;
HTMLMediaElement.prototype.play = function () {
  if (!this.watched) {
    this.watched = true;
    for (const kind of ["playing", "pause"]) {
      this.addEventListener(kind, () => window.heard.push([kind, Math.round(this.currentTime * 1000), this.src]));
    }
  }
  return play.call(this);
};
"""


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory, spoken: Callable[[str], Transcript]) -> tuple[Path, list[str]]:
    """A record with two visits of one infant, and one of an infant with a hostile name."""
    home = tmp_path_factory.mktemp("asking") / "home"
    visits = file_course(home, "Wren", (date(2026, 11, 11), spoken(FIRST)), (date(2026, 11, 25), spoken(SECOND)))
    other = file_course(home, HOSTILE, (date(2026, 11, 20), spoken("No tongue tie. The right SCM is tight.")))
    return home, visits + other


@pytest.fixture(scope="module")
def server(filed: tuple[Path, list[str]]) -> Iterator[Server]:
    running = Server(filed[0])
    yield running
    running.kill()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as driver:
        arguments = ["--no-sandbox", "--autoplay-policy=no-user-gesture-required"]
        running = driver.chromium.launch(executable_path=CHROMIUM, args=arguments)
        yield running
        running.close()


@pytest.fixture
def window(browser: Any, server: Server) -> Iterator[Any]:
    with opened_window(browser, server, script=LISTEN) as page:
        yield page


def at(page: Any, path: str) -> Any:
    """Go to a path of the pages."""
    page.goto(re.sub(r"(:\d+)/.*", rf"\1{path}", page.url))
    return page


def ask(page: Any, question: str) -> Any:
    """Ask by keyboard alone: the field has the focus when the page opens."""
    at(page, "/search").keyboard.type(question)
    page.keyboard.press("Enter")
    page.wait_for_selector("h2#answers")
    return page


def answers(page: Any) -> list[str]:
    return [text.strip() for text in page.locator(".answers .found bdi").all_inner_texts()]


def heard(page: Any, link: Any) -> tuple[int, int, str]:
    """Press Enter on a time: where its sound began and ended by itself (ms), and which sound it was."""
    page.evaluate("window.heard = []")
    link.focus()
    page.keyboard.press("Enter")
    page.wait_for_function("() => window.heard.some(([kind]) => kind === 'pause')")
    (first, begun, source), *_, (last, ended, _) = page.evaluate("window.heard")
    assert ("playing", "pause") == (first, last)
    return begun, ended, source


def test_a_question_how_it_was_understood_and_answers_that_play(window: Any, filed: tuple[Path, list[str]]) -> None:
    page = ask(window, "tight left SCM")

    assert ["tension: tight", "sternocleidomastoid", "left"] == [
        word for word, told in zip(("tension: tight", "sternocleidomastoid", "left"),
                                   page.locator(".steps li").all_inner_texts(), strict=True) if word in told
    ]  # fmt: skip
    assert ["Sternocleidomastoid muscle, left: tight"] == answers(page), "neither the soft one nor the right one"
    link = page.locator(".answers a.time")
    start, end = (int(link.get_attribute(name)) for name in ("data-start", "data-end"))
    begun, ended, source = heard(page, link)
    assert abs(begun - start) < 150
    assert end <= ended < end + 700, "it stops at the end of its stretch"
    assert source.endswith(f"/visits/{filed[1][0]}/sound")
    assert page.locator(".time.playing").count() == 0


@pytest.mark.parametrize(
    ("question", "wanted"),
    [
        ("jaw", ["Masseter muscle, left: tight"]),
        ("positive Ortolani", ["Ortolani, left: positive"]),
        ("no tongue tie", ["Tongue: no tongue tie"]),
        ("limited rotation right under 3 months", ["Neck, rotation to the right: restricted, 60°"]),
        ("weight over 4.5 kg", ["Weight: 4.9 kg"]),
        ("can't", ["She can't settle."]),
        ("negative Ortolani", []),
        ("tongue tie", []),
    ],
)
def test_questions_of_a_colleague(question: str, wanted: list[str], window: Any) -> None:
    assert wanted == answers(ask(window, question))


def test_a_slip_gets_a_suggestion(window: Any) -> None:
    page = ask(window, "tight maseter")

    assert "Did you mean “masseter”" in page.inner_text("main")


def test_exact_filters_by_keyboard(window: Any) -> None:
    page = at(window, "/search")
    assert not page.locator("#side").is_visible()
    page.locator("summary").focus()
    page.keyboard.press("Enter")
    page.locator("#side").focus()
    page.keyboard.press("r")  # the option that begins so
    page.locator("#result").focus()
    page.keyboard.type("tight")
    page.keyboard.press("Enter")
    page.wait_for_selector("h2#answers")

    assert ["Sternocleidomastoid muscle, right: tight"] == answers(page)
    assert page.locator("#side").is_visible(), "filters in use are shown"
    assert "side exactly: right" in page.inner_text(".steps")
    accessible(page, "search-filters")
    page.locator("#site").fill("nonsense")
    page.keyboard.press("Enter")
    page.wait_for_selector("[role=alert]")
    assert "nonsense" in page.inner_text("[role=alert]")


def test_from_an_answer_to_the_infant_and_to_the_note(window: Any, filed: tuple[Path, list[str]]) -> None:
    page = ask(window, "tight left SCM")
    page.locator(".answers a", has_text="Wren").press("Enter")
    page.wait_for_url(re.compile("/infants/Wren$"))
    page.locator("#visits ~ h3 a", has_text="11 November 2026").press("Enter")
    page.wait_for_url(re.compile(f"/visits/{filed[1][0]}$"))
    page.locator("a", has_text="Wren over time").press("Enter")
    page.wait_for_url(re.compile("/infants/Wren$"))
    page.locator(".menu a", has_text="Infants").press("Enter")
    page.wait_for_url(re.compile("/infants$"))
    accessible(page, "infants")
    page.locator("main a", has_text="<img").press("Enter")
    page.wait_for_selector("#door")
    assert page.evaluate("window.ran") is None
    assert HOSTILE in page.inner_text("h1")


def test_an_infant_over_time(window: Any) -> None:
    page = at(window, "/infants/Wren")
    rows = {
        row.split("\t")[0].strip(): row.split("\t")[1:]
        for row in page.locator("#followed ~ .wide tr").all_inner_texts()
    }

    door = page.inner_text(".door")
    for text in ("25 November 2026", "unstable", "weight 4.9 kg", "length 54 cm", "jaw", "Consent"):
        assert text in door
    assert ["found", "resolved"] == [cell.split()[0] for cell in rows["sternocleidomastoid muscle, left: tension"]]
    assert ["found", "resolved"] == [cell.split()[0] for cell in rows["neck, right: rotation"]]
    assert "not looked at again" in rows["hip, left: Ortolani"][1]
    link = page.locator("#followed ~ .wide a.time").first
    begun, _, source = heard(page, link)
    assert abs(begun - int(link.get_attribute("data-start"))) < 150
    assert source.endswith(f"/visits/{link.get_attribute('data-visit')}/sound")


@pytest.mark.parametrize("width", WIDTHS)
def test_charts_can_be_read_and_have_a_table_behind_each(window: Any, width: int) -> None:
    window.set_viewport_size({"width": width, "height": 900})
    page = at(window, "/infants/Wren")

    figures = page.locator("figure").all()
    assert 3 == len(figures), "weight, length, rotation"
    for figure in figures:
        chart = figure.locator("svg[role=img]")
        title, description = (
            page.evaluate("id => document.getElementById(id).textContent", name)
            for name in chart.get_attribute("aria-labelledby").split()
        )
        assert "of Wren" in title
        assert re.search(r"\d", description)
        assert figure.locator("tbody tr").count() >= 1
        assert figure.locator("table").is_visible()
        sizes = chart.locator("text").evaluate_all("texts => texts.map(t => t.getBoundingClientRect().height)")
        assert min(sizes) >= 8, "letters of the chart in px"
        assert figure.locator("tbody a.time").count() == figure.locator("tbody tr").count()


@pytest.mark.parametrize(("width", "theme"), [(360, "dark"), (1280, "light")])
@pytest.mark.parametrize(
    ("name", "path"),
    [("search", "/search"), ("answers", "/search?q=tight"), ("nothing", "/search?q=tight+maseter&side=left"),
     ("infant", "/infants/Wren"), ("infants", "/infants"), ("due", "/due"), ("visits", "/")],
)  # fmt: skip
def test_every_page_fits_and_is_accessible(name: str, path: str, width: int, theme: str, window: Any) -> None:
    window.emulate_media(color_scheme=theme)
    window.set_viewport_size({"width": width, "height": 900})
    page = at(window, path)

    fits(page, width)
    accessible(page, f"{name}-{width}-{theme}")


def test_what_is_due_leads_on_and_plays(window: Any) -> None:
    page = at(window, "/due")

    told = page.inner_text("table")
    assert "look again" in told
    assert "unsigned note" in told
    link = page.locator("a.time").first
    begun, _, _ = heard(page, link)
    assert abs(begun - int(link.get_attribute("data-start"))) < 150


def test_print_shows_charts_and_tables(window: Any) -> None:
    page = at(window, "/infants/Wren")
    page.emulate_media(media="print")

    assert not page.locator(".menu").is_visible()
    for figure in page.locator("figure").all():
        assert figure.locator("svg").is_visible()
        assert figure.locator("table").is_visible()
