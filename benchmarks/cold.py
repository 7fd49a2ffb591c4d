"""How long a command takes from nothing: a process of its own each time, compiled words kept from the run before.

    python benchmarks/cold.py [TRANSCRIPT.vtt] [--rounds 10] [--to benchmarks/cold.json]

Seconds of the processor (user and system) and of the clock; the least of the rounds counts. ``first``: with nothing
kept yet, as after an installation.
"""

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
SAMPLE = ROOT / "benchmarks/narrations/h01.vtt"


def once(transcript: Path, cache: Path) -> tuple[float, float]:
    """Processor and clock seconds of one ``handspoken extract``."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "HANDSPOKEN_HOME": str(cache), "HANDSPOKEN_CACHE": str(cache)}
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    command = [sys.executable, "-m", "pipeline", "extract", str(transcript)]
    subprocess.run(command, env=environment, stdout=subprocess.DEVNULL, check=True)
    took, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, took


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("transcript", nargs="?", type=Path, default=SAMPLE)
    parser.add_argument("--rounds", type=int, default=10)
    parser.add_argument("--to", type=Path)
    given = parser.parse_args()
    load = round(os.getloadavg()[0], 1)
    with tempfile.TemporaryDirectory() as folder:
        first = once(given.transcript, Path(folder))
        rounds = [once(given.transcript, Path(folder)) for _ in range(given.rounds)]
    report = {
        "transcript": given.transcript.name,
        "load_before": load,
        "first": dict(zip(("cpu_s", "wall_s"), (round(s, 2) for s in first), strict=True)),
        "later": {"cpu_s": round(min(cpu for cpu, _ in rounds), 2), "wall_s": round(min(w for _, w in rounds), 2)},
    }
    text = json.dumps(report, indent=1)
    sys.stdout.write(text + "\n")
    if given.to:
        given.to.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
