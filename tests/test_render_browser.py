"""The note's page in a real browser: a time plays exactly its span, and no spoken word runs. The visit is invented.

Needs the package playwright and a Chromium (Debian: apt-get install chromium); skipped with the reason without them.
"""

import io
import math
import shutil
import struct
import wave
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pipeline.draft import draft_note
from pipeline.model import Extraction, Infant, Item, Note, Transcript, item_id, span_of
from pipeline.render import AudioBeside, EmbeddedAudio, render_html
from pipeline.vocabulary import load_vocabulary

playwright: Any = pytest.importorskip("playwright.sync_api", reason="the package playwright is not installed")
CHROMIUM = shutil.which("chromium")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine (apt-get install chromium)")

RATE = 8000
ROWS = (Path(__file__).parent / "published" / "media_fragments.tsv").read_text(encoding="utf-8").splitlines()
EXAMPLES = [row.split("\t") for row in ROWS if not row.startswith("#")]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as driver:
        running = driver.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--autoplay-policy=no-user-gesture-required"]
        )
        yield running
        running.close()


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    opened = browser.new_page(viewport={"width": 1280, "height": 900})
    opened.faults = []
    opened.on("pageerror", lambda error: opened.faults.append(str(error)))
    opened.on("console", lambda message: opened.faults.append(message.text) if message.type == "error" else None)
    opened.on("dialog", lambda dialog: (opened.faults.append("dialog"), dialog.dismiss()))
    yield opened
    assert not opened.faults
    opened.close()


@pytest.fixture(scope="module")
def tone() -> bytes:
    """Twelve seconds of a tone as a wave file."""
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        samples = (int(8000 * math.sin(k * 2 * math.pi * 330 / RATE)) for k in range(12 * RATE))
        file.writeframes(b"".join(struct.pack("<h", sample) for sample in samples))
    return out.getvalue()


def _note(transcript: Transcript) -> Note:
    items = []
    for i0, i1, site, result in ((2, 4, "hip", "normal"), (6, 9, "knee", "normal"), (12, 16, "foot", "abnormal")):
        span = span_of(transcript.words, i0, i1)
        ident = item_id(transcript.recording, "exam.overall", site, span.start_ms)
        items.append(
            Item(
                id=ident,
                kind="finding",
                concept="exam.overall",
                site=site,
                side="left",
                result=result,
                evidence=(span,),
            )
        )
    return draft_note(
        Extraction(items=tuple(items), clauses=()),
        (),
        transcript,
        infant=Infant(id="i1", code_name=f"Wren {transcript.words[0].text}"),
        age=None,
        on=date(2026, 11, 25),
        visit="v1",
        vocab=load_vocabulary(),
    )


@pytest.fixture
def words(spoken: Callable[[str], Transcript]) -> Transcript:
    return spoken(" ".join(f"word{k}" for k in range(22)))


@pytest.fixture(params=["inside", "beside"])
def opened(request: pytest.FixtureRequest, page: Any, words: Transcript, tone: bytes, tmp_path: Path) -> Any:
    """The page, open in the browser, with its sound inside it or as a file beside it."""
    (tmp_path / "tone 1.wav").write_bytes(tone)
    audio = EmbeddedAudio(tone, "audio/wav") if request.param == "inside" else AudioBeside("tone 1.wav")
    file = tmp_path / "note.html"
    file.write_text(render_html(_note(words), words, audio), encoding="utf-8")
    page.goto(file.as_uri())
    page.wait_for_function("() => document.getElementById('sound').readyState >= 1")
    page.evaluate(
        """() => {
          const sound = document.getElementById('sound');
          window.seen = [];
          sound.addEventListener('playing', () => window.seen.push(sound.currentTime));
          sound.addEventListener('pause', () => window.seen.push(sound.currentTime));
        }"""
    )
    return page


def _played(page: Any) -> list[float]:
    page.wait_for_function("() => window.seen.length >= 2")
    return list(page.evaluate("() => window.seen"))


def test_choosing_a_time_plays_its_span_and_stops_at_its_end(opened: Any) -> None:
    opened.click("a.time[href$='t=3,4.5']")
    start, end = _played(opened)

    assert start == pytest.approx(3, abs=0.3)
    assert end == pytest.approx(4.5, abs=0.3)
    assert opened.evaluate("() => document.querySelectorAll('.line details[open]').length") == 1


def test_the_keyboard_plays_and_escape_stops(opened: Any) -> None:
    opened.focus("a.time[href$='t=6,8']")
    opened.keyboard.press("Space")
    opened.wait_for_function("() => window.seen.length === 1")
    assert opened.inner_text("#heard") == "Playing 0:06 to 0:08"
    opened.keyboard.press("Escape")
    start, end = _played(opened)

    assert start == pytest.approx(6, abs=0.3)
    assert end < 7.9
    assert opened.inner_text("#heard") == ""


def test_another_span_takes_over_from_the_first(opened: Any) -> None:
    opened.click("a.time[href$='t=6,8']")
    opened.wait_for_function("() => window.seen.length === 1")
    opened.click("a.time[href$='t=1,2']")
    opened.wait_for_function("() => document.getElementById('sound').paused")

    assert opened.evaluate("() => document.getElementById('sound').currentTime") == pytest.approx(2, abs=0.3)


def test_an_address_with_a_time_plays_it(opened: Any) -> None:
    opened.evaluate("() => { location.hash = '#t=10,11'; }")
    start, end = _played(opened)

    assert start == pytest.approx(10, abs=0.3)
    assert end == pytest.approx(11, abs=0.3)


def test_the_page_reads_the_w3c_examples(page: Any, words: Transcript, tmp_path: Path) -> None:
    """The sound is replaced by a recorder of what the page's script asks of it."""
    file = tmp_path / "note.html"
    file.write_text(render_html(_note(words), words, AudioBeside("none.wav")), encoding="utf-8")
    page.add_init_script(
        """Object.defineProperty(HTMLMediaElement.prototype, 'currentTime', {
             set(time) { window.from = time; this.moved = time; }, get() { return this.moved || 0; } });
           HTMLMediaElement.prototype.play = function () { window.played = true; return Promise.resolve(); };
           HTMLMediaElement.prototype.pause = function () { window.stopped = this.moved; };
           Object.defineProperty(HTMLMediaElement.prototype, 'paused', { get() { return false; } });"""
    )
    page.goto(file.as_uri())
    asked = """([text, before, end]) => new Promise((done) => {
        const sound = document.getElementById('sound');
        const frames = (k, then) => k ? requestAnimationFrame(() => frames(k - 1, then)) : then();
        window.from = window.played = window.stopped = null;
        addEventListener('hashchange', () => frames(2, () => {
          const [from, played] = [window.from, window.played];
          sound.currentTime = before;
          frames(3, () => {
            const early = window.stopped;
            if (end !== null) sound.currentTime = end;
            frames(3, () => done([from, played, early, window.stopped]));
          });
        }), { once: true });
        location.hash = text;
      })"""
    read = {}
    for text, _, end, source in EXAMPLES:
        last = None if end in ("inf", "-") else float(end)
        before = 1e9 if last is None else last - 0.01
        read[source] = page.evaluate(asked, [text, before, last])
        page.evaluate("() => { history.replaceState(null, '', location.pathname); }")
    page.faults.clear()  # there is no sound file to load

    for _, start, end, source in EXAMPLES:
        if start == "-":
            assert read[source][:2] == [None, None], source
        else:
            assert read[source] == [float(start), True, None, None if end == "inf" else float(end)], source


def test_choosing_a_place_goes_to_its_lines(opened: Any) -> None:
    opened.click("a.place[aria-label='Foot, left: found'] path")

    assert opened.inner_text("#place") == "Foot, left: found, 1 line"
    assert opened.evaluate("() => document.activeElement.innerText.includes('Foot, left: abnormal')")


HOSTILE = (
    "<script>window.ran=1</script>",
    "<img src=x onerror=window.ran=1>",
    "'\"><svg onload=window.ran=1>",
    "</script><script>window.ran=1</script>",
    "</style><script>window.ran=1</script>",
    "<a href=javascript:window.ran=1>",
    "{{self}}",
)


def test_markup_in_speech_does_not_run(page: Any, words: Transcript, tmp_path: Path) -> None:
    said = tuple(replace(w, text=" ".join(HOSTILE), p=0.2) for w in words.words)
    hostile = words.model_copy(update={"words": said})
    file = tmp_path / "note.html"
    file.write_text(render_html(_note(hostile), hostile, None), encoding="utf-8")
    page.goto(file.as_uri())
    page.evaluate("() => document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    page.wait_for_timeout(100)

    assert page.evaluate("() => window.ran") is None
    assert page.evaluate("() => document.scripts.length") == 1
    assert " ".join(HOSTILE) in page.inner_text("main")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280, 2560])
def test_no_sideways_scroll(width: int, scheme: str, page: Any, words: Transcript, tmp_path: Path) -> None:
    long = words.model_copy(update={"words": tuple(replace(w, text="w" * 300) for w in words.words)})
    file = tmp_path / "note.html"
    file.write_text(render_html(_note(long), long, None), encoding="utf-8")
    page.set_viewport_size({"width": width, "height": 900})
    page.emulate_media(color_scheme=scheme)
    page.goto(file.as_uri())
    page.evaluate("() => document.querySelectorAll('details').forEach((d) => { d.open = true; })")

    assert page.evaluate("() => document.documentElement.scrollWidth") <= width
