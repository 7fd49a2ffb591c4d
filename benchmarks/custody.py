"""What encryption costs: the same commands on one record in clear and encrypted, in turns, in the same run.

    python benchmarks/custody.py [--visits 4000] [--runs 15] [--to benchmarks/custody.json]

Both records are made in a temporary folder and deleted afterwards. The encrypted one is open (``safe open``), so that
no passphrase is stretched at each command; what that costs is told by itself. Processor times tell more than those by
the wall on a machine that others use too.
"""

import argparse
import json
import os
import platform
import random
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

from search import load, questions

from pipeline.resources import data_path
from pipeline.search import Search, compile_lexicon
from pipeline.store.database import export
from pipeline.store.reading import DATABASE, Reader
from pipeline.vault import Growing, clear_blocks, read_grown, stored, use
from pipeline.vault.held import hold
from pipeline.vault.keyfile import create, unlock
from pipeline.vocabulary import load_vocabulary

ROOT = Path(__file__).resolve().parent.parent
PASSPHRASE = "five words for a benchmark"
TODAY = date(2026, 11, 25)
SOUND_MB = 115  # an hour: 16 kHz, 16 bit, mono

Took = tuple[float, float]


def own(work: Callable[[], object]) -> Took:
    """Seconds by the wall and of the processor."""
    start, busy = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - start, time.process_time() - busy


def command(home: Path, *words: str) -> Took:
    """The same of a command in a process of its own."""
    env = os.environ | {"HANDSPOKEN_HOME": str(home), "PYTHONPATH": str(ROOT), "HANDSPOKEN_ENCRYPTION": "off"}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    subprocess.run([sys.executable, "-m", "pipeline", *words], check=True, capture_output=True, env=env, cwd=ROOT)
    wall, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def in_turns(clear: Callable[[int], Took], locked: Callable[[int], Took], runs: int) -> dict[str, Any]:
    """Both, one after the other, the first of each left out; and how many times as long the second took."""
    took: tuple[list[Took], list[Took]] = ([], [])
    for n in range(runs + 1):
        for k in (0, 1) if n % 2 else (1, 0):
            took[k].append((clear, locked)[k](n))
    wall, busy = ([[one[k] for one in side[1:]] for side in took] for k in (0, 1))
    told = {
        name: {
            "wall_median_ms": round(1000 * statistics.median(wall[k]), 1),
            "processor_median_ms": round(1000 * statistics.median(busy[k]), 1),
        }
        for k, name in enumerate(("clear", "encrypted"))
    }
    ratios = {
        "wall_ratio": round(statistics.median(wall[1]) / statistics.median(wall[0]), 3),
        "processor_ratio": round(statistics.median(busy[1]) / statistics.median(busy[0]), 3),
    }
    return {"n": runs, **told, **ratios}


def warm(home: Path, search: Search, asked: list[Any], n: int) -> Took:
    """Twenty questions on a record that was just opened."""
    with Reader(home) as reader:
        return own(lambda: [search.ask(reader, q, today=TODAY, options=o) for _, q, o in asked[n % 5 :: 5]])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--visits", type=int, default=4000)
    parser.add_argument("--runs", type=int, default=15)
    parser.add_argument("--to", type=Path)
    given = parser.parse_args()
    vocab = load_vocabulary()
    report: dict[str, Any] = {
        "machine": f"{os.cpu_count()} cores, {platform.machine()}",
        "load_before": round(os.getloadavg()[0], 1),
        "visits": given.visits,
    }
    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory(dir="/dev/shm") as memory:
        os.environ |= {"XDG_RUNTIME_DIR": memory, "HANDSPOKEN_CACHE": str(Path(folder) / "cache")}
        clear, locked = Path(folder) / "clear", Path(folder) / "locked"
        clear.mkdir()
        locked.mkdir()
        load(clear, vocab, given.visits)
        unlocked, _ = create(PASSPHRASE)
        unlocked.write(locked)
        use(unlocked.keys)
        hold(unlocked.keys, 600)
        export(clear / DATABASE, None, locked / DATABASE, unlocked.keys)
        report["size_mb"] = [round((home / DATABASE).stat().st_size / 1e6) for home in (clear, locked)]
        report |= measured(clear, locked, vocab, given.runs)
        report["unlock_s"] = round(statistics.median(own(lambda: unlock(locked, PASSPHRASE))[0] for _ in range(7)), 3)
        report["sound"] = sound(Path(folder), unlocked.keys)
    report["load_after"] = round(os.getloadavg()[0], 1)
    text = json.dumps(report, indent=1)
    sys.stdout.write(text + "\n")
    if given.to:
        given.to.write_text(text + "\n")


def measured(clear: Path, locked: Path, vocab: Any, runs: int) -> dict[str, Any]:
    """Search cold and warm, start-up, and a draft of a visit of a minute and a half."""
    search, asked = Search(compile_lexicon(vocab)), questions(vocab, 100)
    spoken = clear.parent / "spoken"
    spoken.mkdir()

    def draft(home: Path, n: int) -> Took:
        path = spoken / f"{home.name}{n}.vtt"
        shutil.copy(data_path("samples/wren.vtt"), path)
        path.write_text(path.read_text().replace("hips", f"hips {n + 20}", 1))
        to = str(spoken / f"{home.name}{n}")
        return command(home, "draft", str(path), "--infant", f"Bench{n}", "--age", "6 weeks", "--to", to)

    def cold(home: Path, _: int) -> Took:
        return command(home, "search", "tight left SCM", "--limit", "5")

    def listed(home: Path, _: int) -> Took:
        return command(home, "due", "--infant", "Heron")

    jobs: dict[str, Callable[[Path, int], Took]] = {
        "search, a command": cold,
        "search, open record, 20 questions": lambda home, n: warm(home, search, asked, n),
        "start-up (due of one infant)": listed,
        "draft, a command": draft,
    }
    return {name: in_turns(partial(job, clear), partial(job, locked), runs) for name, job in jobs.items()}


def sound(folder: Path, keys: Any) -> dict[str, float]:
    """An hour of sound: sealed, read, recorded in blocks of a tenth of a second; MB a second."""
    data = random.Random(1).randbytes(SOUND_MB * 1_000_000)
    path, grown = folder / "cache" / "sound", folder / "cache" / "rec.pcm"
    path.parent.mkdir(exist_ok=True)

    def write() -> None:
        with path.open("wb") as out:
            out.writelines(stored(data, path, keys))  # type: ignore[arg-type]

    def record() -> None:
        growing = Growing(grown, keys)
        for at in range(0, len(data), 3200):
            growing.append(data[at : at + 3200])
        growing.close()

    def read() -> None:
        assert sum(map(len, clear_blocks(path))) == len(data)

    def read_recording() -> None:
        assert len(read_grown(grown)) == len(data)

    took = {"seal": own(write), "read": own(read), "record": own(record), "read_recording": own(read_recording)}
    return {f"{name}_mb_s": round(SOUND_MB / seconds[1]) for name, seconds in took.items()}


if __name__ == "__main__":
    main()
