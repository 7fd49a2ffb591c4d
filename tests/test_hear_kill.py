"""Killed at any moment, hearing resumes: what is kept is whole, and the transcript is the same in the end."""

import os
import random
import subprocess
import sys
import time
import wave
from pathlib import Path

import numpy as np
import pytest

from pipeline.audio import RATE, open_sound
from pipeline.hear import Hearer, ModelFiles, embedded_model
from pipeline.hear.keep import ChunkResult, FreePass
from pipeline.vocabulary import load_vocabulary

CLIP = Path(__file__).parent / "sounds" / "hips.ogg"
KILLS = 5
HEAR = """
import sys
from pathlib import Path
from pipeline.audio import open_sound
from pipeline.hear import Hearer, ModelFiles
from pipeline.vocabulary import load_vocabulary
folder, name, sha256, sound, keep = sys.argv[1:]
hearer = Hearer(ModelFiles(Path(folder), name, sha256), load_vocabulary(), keep=Path(keep))
hearer.load()
print("begun", flush=True)
print(hearer.hear(open_sound(Path(sound))).model_dump_json())
"""

pytestmark = pytest.mark.model


def kept(folder: Path) -> int:
    """The number of results in a folder; each must read as one of the two kinds."""
    paths = [p for p in folder.rglob("*.json") if not p.name.startswith(".")]
    for path in paths:
        kind = ChunkResult if b'"words"' in path.read_bytes() else FreePass
        kind.model_validate_json(path.read_bytes())
    return len(paths)


def begin(model: ModelFiles, sound: Path, keep: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", HEAR, str(model.folder), model.name, model.sha256, str(sound), str(keep)],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parent.parent)},
    )


def test_a_killed_run_resumes(tmp_path: Path) -> None:
    clip = np.concatenate(list(open_sound(CLIP).blocks()))
    parts = [np.roll(clip, 7 * k) for k in range(KILLS)]  # unlike each other, so that no result serves twice
    sound = tmp_path / "long.wav"
    with wave.open(str(sound), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE)
        for part in parts:
            out.writeframes(part.tobytes() + bytes(2 * RATE * 5))
    model, keep = embedded_model(), tmp_path / "keep"
    moments = random.Random(20261125)
    found = 0
    for _ in range(KILLS):
        run = begin(model, sound, keep)
        assert run.stdout is not None
        assert run.stdout.readline() == "begun\n"
        while kept(keep) == found and run.poll() is None:
            time.sleep(0.05)
        time.sleep(moments.uniform(0.0, 1.5))  # somewhere in the next chunk, or in its writing
        run.kill()
        run.wait()
        run.stdout.close()
        now = kept(keep)
        assert now > found or now == 2 * KILLS  # each run goes on where the one before was killed
        found = now
    whole = Hearer(model, load_vocabulary(), keep=keep).hear(open_sound(sound))
    fresh = Hearer(model, load_vocabulary()).hear(open_sound(sound))
    assert whole == fresh
