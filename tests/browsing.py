"""A real browser over the real command, for the tests of the pages."""

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

axe: Any = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed")
ROOT = Path(__file__).parent.parent


class Server:
    """``handspoken review`` as a person starts it."""

    def __init__(self, home: Path, port: int = 0) -> None:
        environment = {**os.environ, "HANDSPOKEN_HOME": str(home), "PYTHONPATH": str(ROOT)}
        command = [sys.executable, "-m", "pipeline", "review", "--no-browser", "--port", str(port)]
        self.process = subprocess.Popen(
            command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        shown = re.search(r"http://127\.0\.0\.1:(\d+)\S+", self.process.stdout.readline())
        assert shown, self.process.stderr.read() if self.process.stderr else ""
        self.link, self.port = shown[0], int(shown[1])

    def kill(self) -> None:
        """As the power does."""
        self.process.send_signal(signal.SIGKILL)
        self.process.communicate()


@contextmanager
def opened_window(browser: Any, server: Server, script: str = "") -> Iterator[Any]:
    """A window of a browser that opened the link; no script may fail in it. ``script`` runs first on every page."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    if script:
        page.add_init_script(script)
    page.set_default_timeout(20_000)
    page.faults = []
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    page.on("dialog", lambda dialog: (page.faults.append("dialog"), dialog.dismiss()))
    page.goto(server.link)
    page.wait_for_url(re.compile(r":\d+/$"))
    yield page
    assert page.faults == []
    context.close()


def accessible(page: Any, state: str) -> None:
    """axe-core finds no violation; a picture is taken."""
    found = axe.Axe().run(page)
    assert found.violations_count == 0, f"{state}: {found.generate_report()}"
    if folder := os.environ.get("HANDSPOKEN_SHOTS"):
        page.screenshot(path=Path(folder) / f"{state}.png", full_page=True)


def fits(page: Any, width: int) -> None:
    """Nothing runs out of the page sideways."""
    assert page.evaluate("document.documentElement.scrollWidth") <= width
