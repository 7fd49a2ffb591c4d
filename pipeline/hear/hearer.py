"""From sound to words: chunks in, an iterator of chunk results out, and a transcript of them all.

A file and a live recording are two sources of the same stream of chunks.
"""

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import Protocol, TypeVar

import numpy as np

from pipeline.errors import InputError
from pipeline.hear.chunks import Samples, SoundChunk, cut, halves, part
from pipeline.hear.engine import Engine
from pipeline.hear.guard import fault, holes
from pipeline.hear.keep import ChunkResult, Kept
from pipeline.hear.models import ModelFiles
from pipeline.hear.words import TimedWord, timed, utterances
from pipeline.model import Chunk, ChunkKey, Dropped, SpeechModel, Transcript, Word
from pipeline.vocabulary import Vocabulary

RECIPE = {"name": "one pass", "version": 1, "beam": 5, "chunk_s": 28}
_HOLE_MS = 1500  # voice without words that is heard again by itself
_SMALLEST_MS = 4000  # a chunk that loops is cut in two down to this
_SILENT_PEAK = 33  # of 32768: -60 dB

Progress = Callable[[int, int], None]
_Stretch = TypeVar("_Stretch", Chunk, Dropped)


class Source(Protocol):
    """Where sound comes from. ``duration_ms`` may be an estimate, or 0, until the blocks were read."""

    sha256: str
    duration_ms: int

    def blocks(self) -> Iterator[Samples]:
        """16 kHz mono int16 samples."""
        ...


class Hearer:
    """One speech model and a vocabulary; build once, hear many recordings.

    ``keep`` is a folder for chunk results (None: nothing is kept, nothing resumes). The model is loaded when the first
    chunk needs it. Raises ModelError then where it cannot be.
    """

    def __init__(
        self, model: ModelFiles, vocab: Vocabulary, *, keep: Path | None = None, device: str = "auto", threads: int = 0
    ) -> None:
        self._model, self._vocab = model, vocab
        self._device, self._threads = device, threads
        self._kept = Kept(keep)
        self.recipe_hash = hashlib.sha256(json.dumps(RECIPE, sort_keys=True).encode()).hexdigest()

    @cached_property
    def _engine(self) -> Engine:
        return Engine(self._model, device=self._device, threads=self._threads)

    def load(self) -> None:
        """Load the model now and not with the first chunk. Raises ModelError."""
        _ = self._engine

    def results(self, chunks: Iterable[SoundChunk]) -> Iterator[tuple[SoundChunk, ChunkResult]]:
        """Hear chunk after chunk; what is kept under the same key is taken as it is."""
        for chunk in chunks:
            key = ChunkKey(
                pcm_sha256=chunk.pcm_sha256,
                model_sha256=self._model.sha256,
                settings_hash=self.recipe_hash,
                vocab_hash=self._vocab.hash,
            )
            result = self._kept.get(key)
            if result is None:
                words, dropped = self._hear(chunk)
                result = _result(key, chunk, words, dropped)
                self._kept.put(result)
            yield chunk, result

    def hear(self, sound: Source, *, on_progress: Progress | None = None) -> Transcript:
        """The transcript of a whole recording. ``on_progress(done_ms, total_ms)`` is called after each chunk.

        Raises InputError where there is no speech in it, ModelError where the model cannot be used, StoreError where
        the results cannot be kept.
        """
        peak = 0

        def blocks() -> Iterator[Samples]:
            nonlocal peak
            for block in sound.blocks():
                peak = max(peak, int(np.max(np.abs(block.astype(np.int32)), initial=0)))
                yield block

        heard: list[tuple[int, ChunkResult]] = []
        for chunk, result in self.results(cut(blocks())):
            heard.append((chunk.start_ms, result))
            if on_progress is not None:
                on_progress(chunk.end_ms, max(sound.duration_ms, chunk.end_ms))
        if not any(result.words for _, result in heard):
            what = "nothing but silence" if peak < _SILENT_PEAK else "sound, but no speech that could be made out"
            raise InputError(f"The recording holds {what}. Check the microphone and that it is the right file.")
        if on_progress is not None:
            on_progress(sound.duration_ms, sound.duration_ms)
        return self._transcript(sound, heard)

    def _hear(self, chunk: SoundChunk) -> tuple[list[TimedWord], list[Dropped]]:
        words, why = self._pass(chunk)
        if why:
            if why == "loop" and chunk.end_ms - chunk.start_ms >= 2 * _SMALLEST_MS:
                heard = [self._hear(half) for half in halves(chunk)]
                return [w for ws, _ in heard for w in ws], [d for _, ds in heard for d in ds]
            text = " ".join(word.text for word in words)
            return [], [Dropped(start_ms=chunk.start_ms, end_ms=chunk.end_ms, reason=why, text=text)]
        dropped: list[Dropped] = []
        for low, high in holes(words, chunk.speech, _HOLE_MS):
            more, why = self._pass(part(chunk, low - 200, high + 200))
            fitting = [w for w in more if not why and low - 100 <= w.start_ms and w.end_ms <= high + 100]
            words.extend(fitting)
            if not fitting:
                dropped.append(Dropped(start_ms=low, end_ms=high, reason=why or "not made out"))
        return sorted(words, key=lambda word: word.start_ms), dropped

    def _pass(self, chunk: SoundChunk) -> tuple[list[TimedWord], str]:
        encoding = self._engine.encode(chunk.pcm)
        decoded = self._engine.decode(encoding)
        laid = self._engine.align(encoding, decoded.tokens)
        words = timed(self._engine, decoded.tokens, laid, chunk.start_ms, chunk.end_ms, chunk.speech)
        return words, fault(decoded, words, chunk.speech)

    def _transcript(self, sound: Source, heard: Sequence[tuple[int, ChunkResult]]) -> Transcript:
        words: list[Word] = []
        for start, result in heard:
            first = len(words)
            words.extend(
                replace(w, i=first + w.i, start_ms=w.start_ms + start, end_ms=w.end_ms + start) for w in result.words
            )
        name = "|".join((sound.sha256, self._model.sha256, self.recipe_hash, self._vocab.hash))
        return Transcript(
            id=hashlib.sha256(name.encode()).hexdigest()[:26],
            recording=sound.sha256,
            model=SpeechModel(name=self._model.name, sha256=self._model.sha256),
            recipe_hash=self.recipe_hash,
            vocab_hash=self._vocab.hash,
            words=tuple(words),
            utterances=tuple(utterances([(w.text, w.start_ms, w.end_ms) for w in words])),
            chunks=tuple(_moved(result.chunk, start) for start, result in heard),
            dropped=tuple(_moved(d, start) for start, result in heard for d in result.dropped),
            duration_ms=sound.duration_ms,
        )


def _result(key: ChunkKey, chunk: SoundChunk, words: Sequence[TimedWord], dropped: Sequence[Dropped]) -> ChunkResult:
    return ChunkResult(
        key=key,
        chunk=Chunk(start_ms=0, end_ms=chunk.end_ms - chunk.start_ms, snr_db=chunk.snr_db, pcm_sha256=chunk.pcm_sha256),
        words=tuple(
            Word(k, w.text, w.start_ms - chunk.start_ms, w.end_ms - chunk.start_ms, p=w.p, source="free")
            for k, w in enumerate(words)
        ),
        dropped=tuple(_moved(d, -chunk.start_ms) for d in dropped),
    )


def _moved(stretch: _Stretch, by_ms: int) -> _Stretch:
    return stretch.model_copy(update={"start_ms": stretch.start_ms + by_ms, "end_ms": stretch.end_ms + by_ms})
