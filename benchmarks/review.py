"""What it takes to put drafts right on the real page, and how fast the page is; the figures go to ``review.json``.

    python benchmarks/review.py [FOLDER ...] [--only d01,d03] [--steps] [--no-write]

A folder holds pairs of NAME.vtt and NAME.json, as for ``extraction.py``; without one, ``benchmarks/narrations``. Each
narration is drafted and filed, its page opened in headless Chromium and its lines put right until they are the gold
items (kind, concept, site, side, level, result, value, by the contract's rules); what is on disk is then compared with
the gold. Keys and touches are counted alike as presses; answering the points before signing is not among them.
Needs the package playwright and a Chromium (Debian: apt-get install chromium).
"""

import argparse
import json
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import Any

from review_page import Person, Spoken
from review_plan import left, plan
from score import Slots, scored

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from pipeline.config import Config, Settings  # noqa: E402  (the checkout need not be installed)
from pipeline.review import Sheets  # noqa: E402
from pipeline.run import extraction_json  # noqa: E402
from pipeline.stages import ShippedStages  # noqa: E402
from pipeline.visits import Told, draft  # noqa: E402
from pipeline.vocabulary import load_vocabulary  # noqa: E402

FIGURES = ROOT / "benchmarks/review.json"
PER = 50  # lines
DAY = date(2026, 11, 25)


class Desk:
    """A record of narrations, and the program's own stages to look at it."""

    def __init__(self, home: Path) -> None:
        self.config = Config(home=home, settings=Settings())
        self.stages = ShippedStages(load_vocabulary(), self.config)

    def file(self, path: Path) -> str:
        data = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
        told = Told(infant=path.stem, age=data["age"], gestation_weeks=data["gestation_weeks"], on=DAY)
        return draft(path, told, self.config, self.stages, today=DAY).record.visit

    def items(self, visit: str) -> list[Slots]:
        """The lines of a visit as they are on disk."""
        drafted = Sheets(self.config, self.stages, datetime.now).draft_of(visit)
        found: list[Slots] = extraction_json(drafted.extraction, self.stages.vocab)["items"]
        return found

    def spoken(self, visit: str) -> Spoken:
        drafted = Sheets(self.config, self.stages, datetime.now).draft_of(visit)
        return Spoken([(word.text, word.start_ms) for word in drafted.transcript.words])

    def names(self, slots: Slots) -> dict[str, Any]:
        vocab = self.stages.vocab
        site, concept = vocab.sites.get(slots.get("site") or ""), vocab.concepts.get(slots.get("concept") or "")
        result = concept.results.get(slots.get("result") or "") if concept else None
        return {
            "site": (site.label, *site.say) if site else (),
            "concept": (concept.label, *concept.say) if concept else (),
            "result": (result.label, *result.say) if result else (),
        }


@contextmanager
def served(home: Path) -> Iterator[str]:
    """``handspoken review`` as a person starts it; gives the link."""
    environment = {**os.environ, "HANDSPOKEN_HOME": str(home), "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "pipeline", "review", "--no-browser"]
    running = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True)
    try:
        assert running.stdout is not None
        shown = re.search(r"http://\S+", running.stdout.readline())
        assert shown, "the program did not start"
        yield shown[0]
    finally:
        running.terminate()
        running.communicate()


@contextmanager
def browser(link: str) -> Iterator[Any]:
    """A page of a browser that has opened the link."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        arguments = ["--no-sandbox", "--autoplay-policy=no-user-gesture-required"]
        running = driver.chromium.launch(executable_path=shutil.which("chromium"), args=arguments)
        page = running.new_context(viewport={"width": 1400, "height": 900}).new_page()
        page.set_default_timeout(60_000)
        page.goto(link)
        page.wait_for_url(re.compile(r":\d+/$"))
        yield page
        running.close()


def put_right(page: Any, desk: Desk, visit: str, gold: list[Slots], *, steps: bool) -> dict[str, float]:
    """Put one draft right through the page; gives the figures, per 50 gold lines where a key says so."""
    page.goto(re.sub(r"(:\d+)/.*", rf"\1/visits/{visit}", page.url))
    page.wait_for_selector("#desk[data-ready]")
    points = int(re.sub(r"\D", "", page.inner_text("#count")) or 0)
    person = Person(page, desk.names, desk.spoken(visit))
    for step in plan(gold, desk.items(visit)):
        person.do(step)
    if steps:
        sys.stdout.write("".join(f"  {presses:3} {step}\n" for step, presses in person.told))
    lines, spent = sum(not item["optional"] for item in scored(gold)), person.spent
    return {
        "lines": lines,
        "edits": spent.edits,
        "keys": spent.keys,
        "touches": spent.touches,
        "seconds": round(spent.seconds + spent.waited, 1),
        "points": points,
        "presses_per_50": round(spent.presses * PER / lines, 1),
        "seconds_per_50": round((spent.seconds + spent.waited) * PER / lines, 1),
        "still_wrong": left(gold, desk.items(visit)),
    }


def measure(folder: Path, only: list[str], *, steps: bool) -> dict[str, dict[str, float]]:
    """The figures of every narration of a folder."""
    found: dict[str, dict[str, float]] = {}
    with tempfile.TemporaryDirectory() as temporary:
        desk = Desk(Path(temporary) / "home")
        paths = [path for path in sorted(folder.glob("*.vtt")) if not only or path.stem in only]
        visits = {path: desk.file(path) for path in paths}
        with served(desk.config.home) as link, browser(link) as page:
            for path, visit in visits.items():
                gold = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["items"]
                found[path.stem] = put_right(page, desk, visit, gold, steps=steps)
                sys.stdout.write(f"{path.stem} {found[path.stem]}\n")
                sys.stdout.flush()
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", nargs="*", type=Path, metavar="FOLDER")
    parser.add_argument("--only", default="", help="names of narrations, comma between; writes no figures")
    parser.add_argument("--steps", action="store_true", help="print every edit with its presses")
    parser.add_argument("--no-write", action="store_true", help="leave review.json as it is")
    args = parser.parse_args()
    only = [name for name in args.only.split(",") if name]
    figures: dict[str, Any] = json.loads(FIGURES.read_text(encoding="utf-8")) if FIGURES.exists() else {}
    for folder in args.folders or [ROOT / "benchmarks/narrations"]:
        each = measure(folder.resolve(), only, steps=args.steps)
        median = {
            key: statistics.median(row[key] for row in each.values()) for key in ("presses_per_50", "seconds_per_50")
        }
        wrong = sum(row["still_wrong"] for row in each.values())
        sys.stdout.write(f"{folder.resolve().name}: median {median}, still wrong: {wrong}\n")
        figures[folder.resolve().name] = {"median": median, "still_wrong": wrong, "each": each}
    if not (only or args.no_write):
        FIGURES.write_text(json.dumps(figures, indent=1, sort_keys=True) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
