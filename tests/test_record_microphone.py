"""The command line against a sound server's own null device: sample for sample, and a device that goes away.

Needs PortAudio and PulseAudio (Debian: apt-get install libportaudio2 libasound2-plugins pulseaudio pulseaudio-utils);
skipped with the reason without them.
"""

import os
import shutil
import signal
import subprocess
import sys
import time
import wave
from collections.abc import Callable, Iterator
from ctypes.util import find_library
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from pipeline.audio import RATE, open_sound
from pipeline.record import FLAC, length_ms, read_log

ROOT = Path(__file__).parent.parent
pytestmark = pytest.mark.skipif(
    not (shutil.which("pulseaudio") and shutil.which("paplay") and find_library("portaudio")),
    reason="no PulseAudio or PortAudio (apt-get install libportaudio2 libasound2-plugins pulseaudio pulseaudio-utils)",
)


def until(ready: Callable[[], Any], seconds: float = 60) -> Any:
    """Wait until something is there; no test of speed."""
    end = time.monotonic() + seconds
    while not (found := ready()):
        assert time.monotonic() < end
        time.sleep(0.05)
    return found


@pytest.fixture
def server(tmp_path: Path) -> Iterator[dict[str, str]]:
    """A sound server of its own with a null sink at 16 kHz; gives the environment in which it is the system's."""
    (tmp_path / "asound.conf").write_text("</usr/share/alsa/alsa.conf>\npcm.!default {type pulse}\n")
    env = {
        **os.environ,
        "XDG_RUNTIME_DIR": str(tmp_path / "run"),
        "HOME": str(tmp_path),
        "ALSA_CONFIG_PATH": str(tmp_path / "asound.conf"),
        "HANDSPOKEN_HOME": str(tmp_path / "home"),
    }
    (tmp_path / "run").mkdir(mode=0o700)
    sink = "module-null-sink sink_name=mic rate=16000 channels=1"
    run = subprocess.Popen(
        ["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "-L", "module-native-protocol-unix", "-L", sink],
        env=env,
        stderr=subprocess.DEVNULL,
    )
    until(lambda: (tmp_path / "run" / "pulse" / "native").exists())
    yield {**env, "PULSE_PID": str(run.pid)}
    run.terminate()
    run.wait()


def record(env: dict[str, str]) -> "tuple[subprocess.Popen[str], Path]":
    """The command, once it says that it records; and the folder it writes to."""
    words = ["record", "--infant", "Wren", "--consent", "Ana, mother", "--no-draft", "--silent-minutes", "0"]
    run = subprocess.Popen(
        [sys.executable, "-m", "pipeline", *words],
        env=env, cwd=ROOT, stdin=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert run.stderr is not None
    assert any("RECORDING" in line and "NOT" not in line for line in run.stderr)
    (folder,) = (Path(env["HANDSPOKEN_HOME"]) / "recordings").iterdir()
    return run, folder


def play(env: dict[str, str], samples: npt.NDArray[np.int16], path: Path) -> None:
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE)
        out.writeframes(samples.tobytes())
    subprocess.run(["paplay", "--device=mic", str(path)], env=env, check=True)


def test_the_microphone_is_kept_sample_for_sample(server: dict[str, str], tmp_path: Path) -> None:
    samples = np.asarray(np.random.default_rng(5).normal(0, 4000, 3 * RATE), dtype=np.int16)
    samples[0], samples[-1] = 1, 1
    run, folder = record(server)
    lead = np.zeros(RATE, dtype=np.int16)  # the server itself cuts off the first tenth of a second of what is played
    play(server, np.concatenate([lead, samples]), tmp_path / "noise.wav")
    played = length_ms(folder)
    until(lambda: length_ms(folder) > played + 2000)
    run.send_signal(signal.SIGINT)
    assert run.stderr is not None
    last = run.stderr.read()
    assert run.wait() == 0
    assert "Sealed" in last
    run.stderr.close()

    heard = np.concatenate(list(open_sound(folder / FLAC).blocks()))
    first = int(np.flatnonzero(heard)[0])
    assert np.array_equal(heard[first : first + len(samples)], samples)
    assert [entry.kind for entry in read_log(folder)] == ["consent", "start"]


def test_a_device_that_goes_away_ends_the_recording_and_all_is_kept(server: dict[str, str]) -> None:
    run, folder = record(server)
    until(lambda: length_ms(folder) > 1500)
    os.kill(int(server["PULSE_PID"]), signal.SIGKILL)
    assert run.stderr is not None
    last = run.stderr.read()
    assert run.wait() == 0
    run.stderr.close()

    assert "no other was found" in last
    assert (folder / FLAC).exists()
    assert "gap" in [entry.kind for entry in read_log(folder)]
