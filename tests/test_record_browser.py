"""Recording in a real browser with its own fake microphone, end to end: page, socket, writer, board. Invented speech.

Needs the package playwright and a Chromium (Debian: apt-get install chromium); skipped with the reason without them.
"""

import fcntl
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import wave
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import parse_qs, urlparse

import numpy as np
import numpy.typing as npt
import pytest

from pipeline.audio import RATE, open_sound
from pipeline.capture import find, kept
from pipeline.config import Config, Settings
from pipeline.hear import Hearer, embedded_model
from pipeline.live import BoardView
from pipeline.live.board import ShownLine, write_board
from pipeline.model import Word
from pipeline.record import FLAC, length_ms
from pipeline.store import Store
from pipeline.vocabulary import load_vocabulary

playwright: Any = pytest.importorskip("playwright.sync_api", reason="the package playwright is not installed")
CHROMIUM = shutil.which("chromium")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine (apt-get install chromium)")

CLIP = Path(__file__).parent / "sounds" / "hips.ogg"
QUIET_MS = 6_000  # before the speech: a busy machine opens the microphone long before the recording has begun
SPOKEN_MS = 12_000  # once so much is on disk, all of the clip is
Samples = npt.NDArray[np.float64]


class Running(NamedTuple):
    """The pages as a process of their own."""

    home: Path
    process: "subprocess.Popen[str]"
    origin: str
    token: str

    def at(self, path: str) -> str:
        return f"{self.origin}/open?token={self.token}&to={path}"


def start(home: Path, port: int) -> Running:
    process = subprocess.Popen(
        [sys.executable, "-m", "pipeline", "review", "--no-browser", "--port", str(port)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "HANDSPOKEN_HOME": str(home), "PATH": os.environ["PATH"], "PYTHONUNBUFFERED": "1"},
        cwd=Path(__file__).parent.parent,
    )
    assert process.stdout is not None
    link = next(line for line in process.stdout if "http://" in line)
    url = urlparse(link[link.index("http") :].strip())
    return Running(home, process, f"http://{url.netloc}", parse_qs(url.query)["token"][0])


@contextmanager
def served(home: Path) -> Iterator[Running]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    pages = start(home, port)
    yield pages
    pages.process.terminate()
    pages.process.wait()
    assert pages.process.stdout is not None
    pages.process.stdout.close()


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    """The pages, with a hearer that another one keeps from starting: what is heard is not asked here."""
    home = tmp_path / "home"
    home.mkdir()
    with (home / "hearer.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        with served(home) as pages:
            yield pages


@pytest.fixture(scope="module")
def spoken_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What the fake microphone plays: quiet, speech, quiet to the end."""
    path = tmp_path_factory.mktemp("sound") / "spoken.wav"
    speech = np.concatenate(list(open_sound(CLIP).blocks()))
    quiet = np.zeros(QUIET_MS * RATE // 1000, dtype=np.int16)
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE)
        out.writeframes(np.concatenate([quiet, speech, np.zeros(20 * RATE, dtype=np.int16)]).tobytes())
    return path


@pytest.fixture
def browser(spoken_file: Path) -> Iterator[Any]:
    with playwright.sync_playwright() as driver:
        opened = driver.chromium.launch(
            executable_path=CHROMIUM,
            args=[
                "--no-sandbox",
                "--use-fake-ui-for-media-stream",
                "--use-fake-device-for-media-stream",
                f"--use-file-for-fake-audio-capture={spoken_file}%noloop",
            ],
        )
        yield opened
        opened.close()


def until(ready: Callable[[], Any], seconds: float = 60) -> Any:
    """Wait until something is there; no test of speed."""
    end = time.monotonic() + seconds
    while not (found := ready()):
        assert time.monotonic() < end
        time.sleep(0.05)
    return found


def begin(browser: Any, pages: Running) -> Any:
    page = browser.new_context(permissions=["microphone"]).new_page()
    page.faults = []
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    page.goto(pages.at("/record"))
    page.wait_for_url("**/record")
    page.fill("#consent", "Ana, mother")
    page.fill("#infant", "Wren")
    page.fill("#age", "6 weeks")
    page.click("#start")
    page.wait_for_selector("#during[data-state=recording]", timeout=60_000)
    return page


def end(page: Any) -> None:
    """Press End until it is taken: two presses must fall within seconds, which a busy machine does not always do."""

    def ended() -> bool:
        page.locator("#end").dispatch_event("click")
        return bool(page.is_visible("#after"))

    until(ended)


def folder_of(pages: Running) -> Path:
    return next(kept(Config(home=pages.home, settings=Settings()))).folder


def low_passed(samples: Samples, below_hz: float = 4000.0) -> Samples:
    spectrum = np.fft.rfft(samples)
    spectrum[np.fft.rfftfreq(len(samples), 1 / RATE) > below_hz] = 0
    return np.fft.irfft(spectrum, len(samples))


def snr_db(kept_sound: Samples, wanted: Samples) -> float:
    """Signal to noise after the best lag and gain, in decibel, below 4 kHz."""
    size = 1 << (len(kept_sound) + len(wanted)).bit_length()
    together = np.fft.irfft(np.fft.rfft(kept_sound, size) * np.conj(np.fft.rfft(wanted, size)), size)
    lag = int(np.argmax(together[: len(kept_sound)]))
    heard = low_passed(kept_sound[lag : lag + len(wanted)])
    meant = low_passed(wanted[: len(heard)])
    # The two clocks differ by parts of a sample: the rest of the lag is a turn of the phases.
    turn = np.fft.rfft(heard) * np.conj(np.fft.rfft(meant))
    steps = np.linspace(-1, 1, 401)
    hertz = np.fft.rfftfreq(len(heard), 1 / RATE)
    best = max(steps, key=lambda s: float(np.sum((turn * np.exp(2j * np.pi * hertz * s / RATE)).real)))
    meant = np.fft.irfft(np.fft.rfft(meant) * np.exp(-2j * np.pi * hertz * best / RATE), len(meant))
    gain = float(np.dot(heard, meant) / np.dot(meant, meant))
    return 10 * float(np.log10(np.sum((gain * meant) ** 2) / np.sum((heard - gain * meant) ** 2)))


def test_what_the_microphone_hears_is_kept_and_sealed(running: Running, browser: Any) -> None:
    page = begin(browser, running)
    folder = folder_of(running)
    wanted = np.concatenate(list(open_sound(CLIP).blocks())).astype(float)
    until(lambda: length_ms(folder) > SPOKEN_MS)
    page.click("#mark")
    page.click("#end")
    assert page.inner_text("#end") == "Press again to end"
    end(page)

    sealed = until(lambda: folder / FLAC if (folder / FLAC).exists() else None)
    assert snr_db(np.concatenate(list(open_sound(sealed).blocks())).astype(float), wanted) >= 20
    assert find(folder).told.infant == "Wren"
    assert "It is being drafted" in until(lambda: page.inner_text("#drafted"))
    assert page.faults == []


def test_the_board_stands_beside_it_and_is_blank_at_the_end(running: Running, browser: Any) -> None:
    page = begin(browser, running)
    folder = folder_of(running)
    board = browser.new_page()
    board.goto(running.at("/board"))
    board.wait_for_selector("body[data-state=recording]")
    write_board(
        folder, BoardView(lines=(ShownLine(text="Left hip: <b>tight</b>", early=True),), asks=("Knee: high",)), None
    )
    board.wait_for_selector("li.early")
    assert "Left hip: <b>tight</b>" in board.inner_text(".heard-lines")
    assert "which side?" in board.inner_text(".ask")
    page.click("#off")
    board.wait_for_selector("body[data-state=off_record]")
    page.click("#pause")
    board.wait_for_selector("body[data-state=paused]")
    page.click("#withdraw")
    board.wait_for_selector("body[data-state=none]")
    assert board.inner_text("main") == ""
    page.click("#destroy-now")
    until(lambda: not folder.exists())
    until(lambda: "destroyed" in page.inner_text("#ended"))


def test_a_browser_that_is_killed_takes_nothing_with_it(running: Running, browser: Any) -> None:
    page = begin(browser, running)
    folder = folder_of(running)
    until(lambda: length_ms(folder) > 2000)
    page.close()
    before = length_ms(folder)
    again = browser.new_context(permissions=["microphone"]).new_page()
    again.goto(running.at("/record"))
    again.wait_for_selector("#during[data-state=recording]", timeout=60_000)

    until(lambda: length_ms(folder) > before + 1000)


def test_pages_that_are_killed_leave_a_recording_to_recover(running: Running, browser: Any) -> None:
    page = begin(browser, running)
    folder = folder_of(running)
    until(lambda: length_ms(folder) > 2000)
    running.process.send_signal(signal.SIGKILL)
    running.process.wait()

    page.wait_for_selector("#during[data-state=away]", timeout=60_000)
    assert "kept in this page" in page.inner_text("#state")
    assert find(folder).state == "open"
    assert length_ms(folder) > 2000
    with served(running.home) as pages:
        page.goto(pages.at("/record"))
        page.wait_for_selector("#left")
        assert "Wren" in page.inner_text("#left")
        page.click("#recover")
        until(lambda: (folder / FLAC).exists())


def plain(words: tuple[Word, ...]) -> list[str]:
    return [word.text.lower().strip(".,?!") for word in words]


@pytest.mark.model
def test_what_is_said_stands_on_the_board_and_in_the_draft(tmp_path: Path, browser: Any) -> None:
    with served(tmp_path / "home") as pages:
        page = begin(browser, pages)
        folder = folder_of(pages)
        board = browser.new_page()
        board.goto(pages.at("/board"))
        board.wait_for_selector(".heard-lines li:not(.none)", timeout=180_000)
        assert "hip" in board.inner_text(".heard-lines").lower()
        until(lambda: length_ms(folder) > SPOKEN_MS)  # the board may show a line before the last word is said
        end(page)
        until(lambda: page.inner_text("#drafted") not in ("", "It is being drafted. You may leave this page."), 180)
        assert page.inner_text("#drafted") == "Read the draft"

        drafted = find(folder).drafted()
        assert drafted is not None
        with Store(pages.home) as store:
            record = store.record(drafted.visit)
    whole = Hearer(embedded_model(), load_vocabulary()).hear(open_sound(CLIP))
    assert plain(record.transcript.words) == plain(whole.words)
