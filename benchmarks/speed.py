"""Seconds and peak memory by stage on one recording, and plain faster-whisper beside it in the same run.

    python benchmarks/speed.py [AUDIO] [--rounds 2] [--to benchmarks/speed.json]

Every round runs each subject in a process of its own, one after the other; the fastest round counts. The peer is
faster-whisper's own ``transcribe`` with the same model files, int8, beam 5, voice filter and word times.
"""

import argparse
import json
import os
import platform
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

SAMPLE = Path(__file__).parent.parent / "samples" / "wren.opus"
Stages = dict[str, dict[str, float]]


def peak_mb() -> float:
    """The most memory held since the last reset, in MB (Linux; elsewhere since the start)."""
    status = Path("/proc/self/status")
    if status.exists():
        line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
        return int(line.split()[1]) / 1024
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20


@contextmanager
def stage(stages: Stages, name: str) -> Iterator[None]:
    """Measure one stage: seconds, and the peak of memory during it."""
    clear = Path("/proc/self/clear_refs")
    if clear.exists():
        clear.write_text("5")
    start = time.perf_counter()
    yield
    stages[name] = {"seconds": round(time.perf_counter() - start, 2), "peak_mb": round(peak_mb())}


def ours(path: Path) -> dict[str, Any]:
    """The program's own stages."""
    from pipeline.audio import compact_copy, open_sound
    from pipeline.hear import Hearer, embedded_model
    from pipeline.hear.chunks import cut
    from pipeline.repair import repaired
    from pipeline.vocabulary import load_vocabulary

    stages: Stages = {}
    with stage(stages, "read the sound"):
        sound = open_sound(path)
        for _ in sound.blocks():
            pass
    with stage(stages, "small copy for the note"):
        compact_copy(sound.blocks())
    with stage(stages, "read, and cut by voice"):
        chunks = list(cut(sound.blocks()))
    with stage(stages, "check and load the model"):
        vocab = load_vocabulary()
        hearer = Hearer(embedded_model(), vocab, refine=lambda words, scorer: repaired(words, vocab, scorer))
        hearer.load()
    with stage(stages, "hear"):
        results = list(hearer.results(chunks))
    words = sum(len(result.words) for _, result in results)
    return {"audio_s": sound.duration_ms / 1000, "words": words, "stages": stages}


def peer(path: Path) -> dict[str, Any]:
    """Plain faster-whisper, one pass."""
    from faster_whisper import WhisperModel
    from faster_whisper.audio import decode_audio

    from pipeline.hear import embedded_model

    stages: Stages = {}
    with stage(stages, "read the sound"):
        audio = decode_audio(str(path))
    with stage(stages, "check and load the model"):
        model = WhisperModel(
            str(embedded_model().folder), device="cpu", compute_type="int8", cpu_threads=os.cpu_count() or 1
        )
    with stage(stages, "hear"):
        segments, _ = model.transcribe(
            audio,
            language="en",
            beam_size=5,
            word_timestamps=True,
            vad_filter=True,
            condition_on_previous_text=False,
        )
        words = sum(len(segment.words or ()) for segment in segments)
    return {"audio_s": len(audio) / 16_000, "words": words, "stages": stages}


SUBJECTS: dict[str, Callable[[Path], dict[str, Any]]] = {"handspoken": ours, "plain faster-whisper": peer}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("audio", nargs="?", type=Path, default=SAMPLE)
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--to", type=Path)
    parser.add_argument("--subject", choices=SUBJECTS, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.subject:
        sys.stdout.write(json.dumps(SUBJECTS[given.subject](given.audio)))
        return
    best: dict[str, dict[str, Any]] = {}
    for _ in range(given.rounds):
        for name in SUBJECTS:
            command = [sys.executable, __file__, str(given.audio), "--subject", name]
            done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=Path(__file__).parent.parent)
            found = json.loads(done.stdout)
            if name not in best or _seconds(found) < _seconds(best[name]):
                best[name] = found
    report = {
        "audio": given.audio.name,
        "machine": f"{os.cpu_count()} cores, {platform.machine()}",
        "load_before": os.getloadavg()[0],
        "subjects": best,
        "hear_x_real_time": {n: round(_seconds(f) / f["audio_s"], 3) for n, f in best.items()},
        "hear_x_plain": round(_seconds(best["handspoken"]) / _seconds(best["plain faster-whisper"]), 2),
        "peak_x_plain": round(_peak(best["handspoken"]) / _peak(best["plain faster-whisper"]), 2),
    }
    text = json.dumps(report, indent=1)
    sys.stdout.write(text + "\n")
    if given.to:
        given.to.write_text(text + "\n")


def _seconds(found: dict[str, Any]) -> float:
    return float(found["stages"]["hear"]["seconds"])


def _peak(found: dict[str, Any]) -> float:
    return max(float(s["peak_mb"]) for s in found["stages"].values())


if __name__ == "__main__":
    main()
