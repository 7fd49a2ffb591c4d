"""The second moment of use in a real browser, over the real command: from the draft to an addendum, by keyboard.

Needs the package playwright and a Chromium (Debian: apt-get install chromium); skipped with the reason without them.
HANDSPOKEN_SHOTS names a folder for pictures of the main states.
"""

import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from browsing import Server, accessible, opened_window
from reviewing import NARRATION, file_narration

from pipeline.model import LineEdit, Transcript
from pipeline.store import Store
from pipeline.store.events import Addendum

playwright: Any = pytest.importorskip("playwright.sync_api", reason="the package playwright is not installed")
axe: Any = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed")
CHROMIUM = shutil.which("chromium")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine (apt-get install chromium)")

HOSTILE = "<img src=x onerror=window.ran=1><script>window.ran=1</script>{{7*7}}\u202egnirts\u0007"
ROOT = Path(__file__).parent.parent
ARGUMENTS = ["--no-sandbox", "--autoplay-policy=no-user-gesture-required"]


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory, spoken: Callable[[str], Transcript]) -> tuple[Path, dict[str, str]]:
    """A record with three visits: to go through, to meet in two windows, with hostile words everywhere."""
    home = tmp_path_factory.mktemp("browser") / "home"
    hostile = spoken(NARRATION.replace("whatsit", HOSTILE.replace(" ", "\u00a0")))
    return home, {
        "path": file_narration(home, spoken(NARRATION), "Wren"),
        "two": file_narration(home, spoken("The left hip is tight. " + NARRATION), "Pebble"),
        "hostile": file_narration(home, hostile, HOSTILE[:60]),
    }


@pytest.fixture(scope="module")
def server(filed: tuple[Path, dict[str, str]]) -> Iterator[Server]:
    running = Server(filed[0])
    yield running
    running.kill()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield running
        running.close()


@pytest.fixture
def window(browser: Any, server: Server) -> Iterator[Any]:
    """A window of a browser that opened the link; no script may fail in it."""
    with opened_window(browser, server) as page:
        yield page


def review(page: Any, visit: str) -> Any:
    """Open a visit and wait until its keys work."""
    page.goto(re.sub(r"(:\d+)/.*", rf"\1/visits/{visit}", page.url))
    page.wait_for_selector("#desk[data-ready]")
    return page


def saved(page: Any, act: Callable[[], Any]) -> None:
    """Do something that saves, and wait for it."""
    with page.expect_response(lambda answer: "/changes" in answer.url and answer.request.method == "POST") as answered:
        act()
    assert answered.value.status == 200, answered.value.text()
    page.wait_for_function("() => document.getElementById('saved').textContent.startsWith('saved')")


def test_from_the_draft_to_an_addendum_by_keyboard(window: Any, filed: tuple[Path, dict[str, str]]) -> None:
    home, visits = filed
    visit = visits["path"]
    accessible(window, "visits")
    page, press = review(window, visit), window.keyboard.press
    accessible(page, "draft")

    # a line plays its span and unfolds its words
    page.evaluate(
        "() => { window.sounds = []; const s = document.getElementById('sound');"
        " for (const k of ['playing', 'pause']) s.addEventListener(k, () => sounds.push(s.currentTime)); }"
    )
    for _ in range(20):
        press("j")
        if "Anterior fontanelle" in page.evaluate("() => document.activeElement.textContent"):
            break
    press("Enter")
    page.wait_for_function("() => sounds.length >= 2")
    start, end = page.evaluate("() => sounds")[:2]
    assert start == pytest.approx(5.5, abs=0.6)
    assert end == pytest.approx(8.5, abs=0.6)
    page.wait_for_selector(".heard-words .own-word")
    press("ArrowRight")
    assert page.evaluate("() => document.querySelectorAll('.line.rests').length") == 1
    accessible(page, "words")
    press("Escape")

    # points by keyboard alone, dangers first
    press("n")
    assert "Fever under three months" in page.evaluate("() => document.activeElement.textContent")
    saved(page, lambda: press("1"))
    assert "Which side?" in page.evaluate("() => document.activeElement.textContent"), "on to the next by itself"
    saved(page, lambda: press("1"))
    assert page.inner_text("#count") == "3 points to check"
    assert page.get_by_text("Sternocleidomastoid muscle, left: tight").count() >= 1

    # put right, strike, add, undo and again
    _go_to(page, "Moro")
    press("e")
    page.wait_for_selector("#slip:not([hidden])")
    accessible(page, "slip")
    page.select_option("#f-result", "absent")
    saved(page, lambda: press("Enter"))
    assert page.get_by_text("Moro: absent").count() >= 1
    _go_to(page, "Tummy time")
    saved(page, lambda: press("x"))
    assert "Tummy time, 3 times a day" in page.inner_text(".line.struck")
    saved(page, lambda: press("u"))
    assert page.locator(".line.struck").count() == 0
    press("a")
    page.keyboard.type("hip right abd limited 40")
    page.wait_for_selector("#f-lines [aria-selected=true]")
    accessible(page, "adding")
    saved(page, lambda: press("Enter"))
    assert page.get_by_text("Hip, right, abduction").count() >= 1
    press("?")
    accessible(page, "keys")
    press("Escape")
    page.wait_for_function("() => !document.getElementById('keys').open")

    # sign, then add
    press("g")
    page.wait_for_url(re.compile("/sign$"))
    page.fill("#name", "A. Invented")
    page.fill("#role", "osteopath")
    for reason in page.locator("[data-reason]").all():
        reason.fill("told to the mother, arranged for today")
    accessible(page, "sign")
    with page.expect_response(lambda answer: answer.url.endswith("/signature")) as answered:
        page.locator("#role").press("Enter")
    assert answered.value.status == 200, answered.value.text()
    page.wait_for_selector("#addition")
    accessible(page, "signed")
    page.fill("#text", "The mother rang: the fever is gone.")
    page.fill("#reason", "told the day after")
    page.locator("#reason").press("Enter")
    page.wait_for_selector(".addendum")
    assert "The mother rang" in page.inner_text(".addendum")
    with Store(home) as store:
        events = [event.payload for event in store.events(visit=visit)]
    assert [type(e) for e in events[-1:]] == [Addendum]
    assert len([e for e in events if isinstance(e, LineEdit)]) == 4


def _go_to(page: Any, text: str) -> None:
    """To the line that begins so, by keyboard."""
    for key in ["k"] * 40 + ["j"] * 40:
        page.keyboard.press(key)
        if page.evaluate("() => document.activeElement.querySelector('.text')?.textContent || ''").startswith(text):
            return
    raise AssertionError(text)


def test_two_windows_lose_nothing_that_was_typed(
    window: Any, browser: Any, server: Server, filed: tuple[Path, dict[str, str]]
) -> None:
    visit = filed[1]["two"]
    first = review(window, visit)
    other = browser.new_context().new_page()  # another browser of the same person: no channel between them
    other.goto(server.link)
    other.wait_for_url(re.compile(r":\d+/$"))
    second = review(other, visit)
    for page in (first, second):
        _go_to(page, "Moro")
        page.keyboard.press("d")
        page.wait_for_selector("#slip:not([hidden])")
    first.fill("#f-reason", "crying")
    saved(first, lambda: first.keyboard.press("Enter"))
    second.fill("#f-reason", "asleep")

    second.keyboard.press("Enter")
    second.wait_for_function("() => document.getElementById('slip-fault').textContent.includes('another window')")

    assert second.input_value("#f-reason") == "asleep"
    assert second.get_by_text("“crying”").count() >= 1, "what the other window did is shown"
    saved(second, lambda: second.keyboard.press("Enter"))
    assert second.get_by_text("“asleep”").count() >= 1
    second.context.close()


def test_hostile_words_are_shown_and_never_run(window: Any, filed: tuple[Path, dict[str, str]]) -> None:
    visit = filed[1]["hostile"]
    assert "<img src=x" in window.inner_text("main")
    page = review(window, visit)
    for line in page.locator(".line").all()[:14]:
        line.locator(".margin").click()
    page.keyboard.press("a")
    page.keyboard.type(HOSTILE.replace("\u0007", ""))
    page.wait_for_selector("#f-lines [aria-selected=true]")
    page.keyboard.press("ArrowUp")  # the last: in these words
    saved(page, lambda: page.keyboard.press("Enter"))

    assert page.evaluate("() => window.ran") is None
    assert page.locator("#parts img, #parts script").count() == 0
    text = page.inner_text("#desk")
    assert "{{7*7}}" in text
    assert "\u202e" not in text


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280, 2560])
def test_nothing_scrolls_sideways(width: int, scheme: str, window: Any, filed: tuple[Path, dict[str, str]]) -> None:
    window.set_viewport_size({"width": width, "height": 900})
    window.emulate_media(color_scheme=scheme)
    page = review(window, filed[1]["hostile"])
    page.keyboard.press("n")
    accessible(page, f"draft-{width}-{scheme}")
    assert page.evaluate("() => document.documentElement.scrollWidth") <= width
    page.keyboard.press("e")

    assert page.evaluate("() => document.documentElement.scrollWidth") <= width


def test_what_was_saved_stands_after_a_kill_and_the_page_goes_on(
    browser: Any, filed: tuple[Path, dict[str, str]], tmp_path: Path
) -> None:
    home = tmp_path / "home"
    shutil.copytree(filed[0], home)
    visit = filed[1]["hostile"]
    running = Server(home)
    context = browser.new_context()
    page = context.new_page()
    page.goto(running.link)
    page.wait_for_url(re.compile(r":\d+/$"))
    review(page, visit)
    page.keyboard.press("n")
    saved(page, lambda: page.keyboard.press("1"))
    running.kill()
    with Store(home) as store:
        kept = len(store.record(visit).edits)

    page.keyboard.press("1")
    page.wait_for_function("() => document.getElementById('saved').textContent === 'not saved'")
    again = Server(home, running.port)
    opening = context.new_page()
    opening.goto(again.link)
    opening.wait_for_url(re.compile(r":\d+/$"))
    page.bring_to_front()
    page.keyboard.press("n")
    saved(page, lambda: page.keyboard.press("1"))
    with Store(home) as store:
        assert len(store.record(visit).edits) == kept + 1, "all that was shown as saved, and no more"
    again.kill()
    context.close()
