"""Hearing killed at random moments and begun again: what is kept must be whole, and the end the same.

    python benchmarks/hearing_kills.py [AUDIO] [--kills 20] [--seed 20261125] [--to benchmarks/hearing/kills.json]

Each run is a process of its own, killed (SIGKILL) at a random moment of its start, its hearing or its writing; the
next one goes on with what is kept. In the end the transcript is compared with that of a run nobody disturbed.
"""

import argparse
import json
import os
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parent.parent
COMMAND = (sys.executable, "-m", "pipeline", "transcribe", "--json")


def begin(sound: Path, cache: Path, home: Path) -> subprocess.Popen[bytes]:
    """``handspoken transcribe`` with folders of its own."""
    env = {**os.environ, "PYTHONPATH": str(ROOT), "HANDSPOKEN_CACHE": str(cache), "HANDSPOKEN_HOME": str(home)}
    return subprocess.Popen([*COMMAND, str(sound)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=env)


def kept(cache: Path) -> tuple[int, int]:
    """Results that can be read as JSON, and half-written files under a final name (there must be none)."""
    good, bad = 0, 0
    for path in (cache / "chunks").rglob("*.json"):
        if path.name.startswith("."):
            continue
        try:
            json.loads(path.read_bytes())
            good += 1
        except ValueError:
            bad += 1
    return good, bad


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("audio", type=Path, nargs="?", default=ROOT / "samples" / "wren.opus")
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--seed", type=int, default=20261125)
    parser.add_argument("--to", type=Path)
    given = parser.parse_args()
    moments = random.Random(given.seed)
    with tempfile.TemporaryDirectory() as folder:
        cache, home = Path(folder) / "cache", Path(folder) / "home"
        start = time.perf_counter()
        whole, _ = begin(given.audio, Path(folder) / "other", home).communicate()
        undisturbed = time.perf_counter() - start
        rows: list[dict[str, Any]] = []
        for _ in range(given.kills):
            run = begin(given.audio, cache, home)
            wait = moments.uniform(0.0, undisturbed / 4)
            time.sleep(wait)
            ended = run.poll() is not None
            run.kill()
            run.communicate()
            good, bad = kept(cache)
            rows.append({"after_s": round(wait, 2), "had ended": ended, "kept": good, "half-written": bad})
            sys.stderr.write(f"{rows[-1]}\n")
        last, _ = begin(given.audio, cache, home).communicate()
    figures = {
        "audio": given.audio.name,
        "seed": given.seed,
        "kills": sum(not row["had ended"] for row in rows),
        "half-written files taken for whole": sum(row["half-written"] for row in rows),
        "the same in the end": json.loads(last) == json.loads(whole),
        "moments": rows,
    }
    text = json.dumps(figures, indent=1) + "\n"
    sys.stdout.write(text)
    if given.to:
        given.to.write_text(text)


if __name__ == "__main__":
    main()
