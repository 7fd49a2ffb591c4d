"""What recording and hearing at once cost, and what a kill loses; figures go to benchmarks/live.json.

    python benchmarks/live.py [kills] [memory] [latency] [visit] [second]     (all of them where none is named)

kills: 100 recorders killed at random moments: the sound that is missing of what had been taken.
memory: two hours through the recorder as fast as it takes them: resident memory, and how fast that was.
latency: a visit in real time: from the end of an utterance to its line on the board; the longest the disk went without.
visit: ten minutes in real time: from the end of the recording to its draft; the same sound drafted as a file beside it.
second: a visit recorded while the one before is still being heard: samples missing, and the longest wait.
The load average stands beside each figure: other work on the same cores makes all of them worse.
"""

import json
import os
import queue
import random
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from pipeline.audio import RATE, open_sound
from pipeline.capture import Capture, begin, find, start_hearer
from pipeline.config import HOME_VARIABLE, Config, Settings
from pipeline.hear import Pieces
from pipeline.live import read_board
from pipeline.record import PCM, Played, Recorder, Writer, length_ms, record, seal
from pipeline.visits import Told

ROOT = Path(__file__).parent.parent
FIGURES = Path(__file__).with_suffix(".json")
KILLS, AT_ONCE = 100, 5
Samples = npt.NDArray[np.int16]
KILLED = """
import queue, sys
from datetime import UTC, datetime
from pathlib import Path
import numpy as np
from pipeline.record import Played, Recorder, Writer, record
class Loud(Played):
    def read(self, timeout_s):
        part = super().read(timeout_s)
        print(self._at, flush=True)
        return part
samples = np.fromfile(sys.argv[2], dtype="<i2")
record(Recorder(Writer(Path(sys.argv[1]), lambda: datetime.now(UTC))), Loud(samples), queue.SimpleQueue())
"""


def sample(name: str) -> Samples:
    return np.concatenate(list(open_sound(ROOT / "samples" / f"{name}.opus").blocks()))


def now() -> datetime:
    return datetime.now(UTC)


def kills(folder: Path) -> dict[str, Any]:
    sound, chance = np.random.default_rng(1).integers(-3000, 3000, 60 * RATE).astype(np.int16), random.Random(8)
    sound.tofile(folder / "sound")
    lost, wrong = [], 0
    for first in range(0, KILLS, AT_ONCE):
        places = [folder / f"rec{k}" for k in range(first, first + AT_ONCE)]
        words = [sys.executable, "-c", KILLED]
        runs = [
            subprocess.Popen([*words, str(p), str(folder / "sound")], stdout=subprocess.PIPE, text=True, cwd=ROOT)
            for p in places
        ]
        for place, run in zip(places, runs, strict=True):
            assert run.stdout is not None
            taken, until = 0, time.monotonic() + chance.uniform(0.0, 3.0)
            while taken < RATE or time.monotonic() < until:
                taken = int(run.stdout.readline())
            run.kill()
            taken = max([taken, *map(int, run.stdout.read().split())])
            run.wait()
            kept = np.concatenate(list(open_sound(seal(place).path).blocks()))
            wrong += not np.array_equal(kept, sound[: len(kept)])
            lost.append((taken - len(kept)) / RATE)
    return {"kills": len(lost), "seconds lost, median": float(np.median(lost)), "worst": max(lost), "altered": wrong}


def memory(folder: Path) -> dict[str, Any]:
    minute = np.random.default_rng(2).integers(-3000, 3000, 60 * RATE).astype(np.int16)
    recorder = Recorder(Writer(folder / "rec", now))
    before = began = 0.0
    for k in range(120):
        if k == 10:
            before, began = float(rss_mb()), time.monotonic()
        for at in range(0, len(minute), 1600):
            recorder.take(minute[at : at + 1600])
            if at % 16_000 == 0:
                recorder.tick()
    seconds = time.monotonic() - began
    after = rss_mb()
    recorder.end()
    return {
        "hours": 2,
        "MB after ten minutes": before,
        "MB after two hours": after,
        "times real time": round(110 * 60 / seconds),
        "bytes on disk as expected": (folder / "rec" / PCM).stat().st_size == 120 * len(minute) * 2,
    }


def rss_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return round(pages * resource.getpagesize() / 1e6, 1)


def opened(folder: Path, name: str) -> tuple[Config, Capture]:
    config = Config(home=folder / "home", settings=Settings())
    os.environ[HOME_VARIABLE] = str(config.home)
    told = Told(infant=name, age="6 weeks", gestation_weeks=39)
    return config, begin(config, told, "Ana, mother", today=date.today())


def watched(capture: Capture, sound: Samples, look: Callable[[float], None]) -> dict[str, Any]:
    """Record in real time; ``look`` gets the position of the sound, in ms, again and again."""
    thread, began = capture.run(Played(sound)), time.monotonic()
    size, grew, worst = 0, time.monotonic(), 0.0
    while thread.is_alive():
        if (length := length_ms(capture.folder)) != size:
            worst = max(worst, time.monotonic() - grew) if size else 0.0
            size, grew = length, time.monotonic()
        look((time.monotonic() - began) * 1000)
        time.sleep(0.02)
    kept = np.fromfile(capture.folder / PCM, dtype="<i2")
    same = len(kept) == len(sound) and bool(np.array_equal(kept, sound))
    return {"longest without a write, s": round(worst, 2), "every sample kept": same}


def pieces_of(sound: Samples) -> list[tuple[int, int]]:
    """Start and end, in ms, of the utterances as the hearer takes them."""
    return [(p.speech[0][0], p.speech[-1][1]) for p in Pieces().take(sound)]


def wait_for_draft(capture: Capture, began: float) -> float:
    while find(capture.folder).drafted() is None:
        time.sleep(0.05)
    return round(time.monotonic() - began, 1)


def latency(folder: Path) -> dict[str, Any]:
    sound = np.concatenate([sample("wren"), sample("pebble"), np.zeros(5 * RATE, dtype=np.int16)])
    ends = [end for _, end in pieces_of(sound)]
    config, capture = opened(folder, "Wren")
    start_hearer(config)
    time.sleep(15)  # the hearer is loaded, as it is when a person has filled in the form and begins to talk
    delays: list[float] = []
    seen: set[str] = set()

    def look(at_ms: float) -> None:
        view = read_board(capture.folder)
        fresh = {line.text for line in view.lines} - seen
        seen.update(fresh)
        if fresh and (said := [end for end in ends if end <= view.heard_ms]):
            delays.append((at_ms - said[-1]) / 1000)

    told = watched(capture, sound, look)
    capture.finish()
    wait_for_draft(capture, time.monotonic())
    p50, p95 = np.percentile(delays, [50, 95]) if delays else (float("nan"), float("nan"))
    return {"changes of the board": len(delays), "p50 s": round(float(p50), 2), "p95 s": round(float(p95), 2), **told}


def visit(folder: Path) -> dict[str, Any]:
    sound = np.concatenate([sample("clover"), sample("pebble"), sample("wren")])[: 600 * RATE]
    config, capture = opened(folder, "Wren")
    start_hearer(config)
    told = watched(capture, sound, lambda _: None)
    began = time.monotonic()
    sealed = capture.finish()
    copy = folder / "visit.flac"
    copy.write_bytes(sealed.path.read_bytes())
    after = wait_for_draft(capture, began)
    environment = {**os.environ, HOME_VARIABLE: str(folder / "other"), "HANDSPOKEN_CACHE": str(folder / "cache2")}
    environment["HANDSPOKEN_ENCRYPTION"] = "off"  # nobody is there to choose a passphrase
    words = [sys.executable, "-m", "pipeline", "draft", str(copy), "--infant", "Wren", "--age", "6 weeks"]
    began = time.monotonic()
    subprocess.run([*words, "--gestation", "39"], env=environment, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
    beside = round(time.monotonic() - began, 1)
    return {"minutes": round(len(sound) / RATE / 60, 1), "s from stop to draft": after, "s as a file": beside, **told}


def second(folder: Path) -> dict[str, Any]:
    config, first = opened(folder, "Wren")
    record(first.recorder, Played(sample("wren"), speed=0), queue.SimpleQueue())
    first.finish()
    start_hearer(config)
    _, other = opened(folder, "Clover")
    told = watched(other, sample("clover")[: 60 * RATE], lambda _: None)
    still = find(first.folder).drafted() is None
    other.finish()
    wait_for_draft(first, time.monotonic())
    wait_for_draft(other, time.monotonic())
    return {"the first was heard to the end of the second": still, **told}


def main() -> None:
    """Run what is named, and note the figures."""
    parts = {"kills": kills, "memory": memory, "latency": latency, "visit": visit, "second": second}
    figures = json.loads(FIGURES.read_text(encoding="utf-8")) if FIGURES.exists() else {}
    for name in sys.argv[1:] or parts:
        with tempfile.TemporaryDirectory() as place:
            load = os.getloadavg()[0]
            found = parts[name](Path(place))
            figures[name] = {**found, "load before and after": [round(load, 1), round(os.getloadavg()[0], 1)]}
        print(name, json.dumps(figures[name]), flush=True)  # noqa: T201
        FIGURES.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
