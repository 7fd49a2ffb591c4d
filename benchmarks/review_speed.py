"""How fast the review page is in a visit of an hour, measured inside the page; the figures go to ``review.json``.

    python benchmarks/review_speed.py [FOLDER] [--no-write]

All narrations of a folder, one after the other, are one visit with an hour of sound (a tone). Measured by the clock of
the page: from a key to the painted change (Event Timing: up to the next frame after the handlers), from the key that
strikes a line to "saved" (told when it is on disk), and from the key that plays a line to the first moment of sound.
"""

import argparse
import json
import re
import statistics
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from review import FIGURES, browser, served  # noqa: E402  (the checkout need not be installed)
from reviewing import file_narration, tone  # noqa: E402

from pipeline.model import Transcript, Word  # noqa: E402
from pipeline.vtt import read_vtt  # noqa: E402

HOUR_MS = 3_600_000
ROUNDS = 20


def as_one(folder: Path) -> Transcript:
    """The narrations of a folder as one recording."""
    words: list[Word] = []
    utterances: list[tuple[int, int]] = []
    clock = 0
    for path in sorted(folder.glob("*.vtt")):
        read = read_vtt(path)
        first = len(words)
        words += [
            replace(word, i=first + word.i, start_ms=word.start_ms + clock, end_ms=word.end_ms + clock)
            for word in read.words
        ]
        utterances += [(a + first, b + first) for a, b in read.utterances]
        clock = words[-1].end_ms + 1500
    update = {"words": tuple(words), "utterances": tuple(utterances), "duration_ms": max(clock, HOUR_MS)}
    return read.model_copy(update=update)


_CAN_BE_STRUCK = "() => document.querySelector('.line.current[data-slots]:not(.struck, .saving)') !== null"
_WATCH = """() => {
  window.painted = [];
  new PerformanceObserver((list) => {
    for (const e of list.getEntries()) if (e.name === 'keydown') window.painted.push(e.duration);
  }).observe({ type: 'event', durationThreshold: 16, buffered: false });
  window.saves = [];
  let began = 0;
  addEventListener('keydown', () => { began = performance.now(); }, true);
  new MutationObserver(() => {
    const text = document.getElementById('saved').textContent;
    if (text.startsWith('saved') && began) { window.saves.push(performance.now() - began); began = 0; }
  }).observe(document.getElementById('saved'), { childList: true, characterData: true, subtree: true });
  const sound = document.getElementById('sound');
  window.played = [];
  let asked = 0;
  addEventListener('keydown', (e) => { if (e.key === 'Enter') asked = performance.now(); }, true);
  sound.addEventListener('playing', () => { if (asked) window.played.push(performance.now() - asked); asked = 0; });
}"""


def measure(folder: Path) -> dict[str, Any]:
    """Milliseconds: median and worst of each kind."""
    with tempfile.TemporaryDirectory() as temporary:
        home = Path(temporary) / "home"
        words = as_one(folder)
        visit = file_narration(home, words, sound=tone(words.duration_ms / 1000))
        with served(home) as link, browser(link) as page:
            page.goto(re.sub(r"(:\d+)/.*", rf"\1/visits/{visit}", page.url))
            page.wait_for_selector("#desk[data-ready]")
            lines = page.locator(".line").count()
            page.evaluate(_WATCH)
            for n in range(ROUNDS):
                for _ in range(7):
                    page.keyboard.press("j")
                while not page.evaluate(_CAN_BE_STRUCK):
                    page.keyboard.press("j")
                page.keyboard.press("x")
                page.wait_for_function(
                    f"() => window.saves.length > {n} || document.getElementById('saved').matches('.fault')"
                )
            for n in range(ROUNDS // 2):
                for _ in range(23):
                    page.keyboard.press("j")
                page.keyboard.press("Enter")
                page.wait_for_function(f"() => window.played.length > {n}")
                page.keyboard.press("Escape")
            painted, saves, played = page.evaluate("() => [window.painted, window.saves, window.played]")
    return {
        "lines": lines,
        "words": len(words.words),
        "painted_ms": _of(painted),
        "saved_ms": _of(saves),
        "sound_ms": _of(played),
    }


def _of(times: list[float]) -> dict[str, float]:
    return {"median": round(statistics.median(times)), "worst": round(max(times)), "of": len(times)}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path, default=ROOT / "benchmarks/narrations", metavar="FOLDER")
    parser.add_argument("--no-write", action="store_true", help="leave review.json as it is")
    args = parser.parse_args()
    found = measure(args.folder)
    sys.stdout.write(json.dumps(found, indent=1) + "\n")
    if not args.no_write:
        figures = json.loads(FIGURES.read_text(encoding="utf-8")) if FIGURES.exists() else {}
        figures["an hour"] = found
        FIGURES.write_text(json.dumps(figures, indent=1, sort_keys=True) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
