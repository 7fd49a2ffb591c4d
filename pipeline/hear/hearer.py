"""From sound to words: chunks in, an iterator of chunk results out, and a transcript of them all.

A file and a live recording are two sources of the same stream of chunks.
"""

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Protocol, TypeVar

import numpy as np

from pipeline.errors import InputError
from pipeline.hear.chunks import Samples, SoundChunk, cut
from pipeline.hear.engine import FREE_RECIPE, Decoded, Engine
from pipeline.hear.keep import ChunkResult, FreePass, Kept
from pipeline.hear.listen import Listened, Listener, Refine
from pipeline.hear.lists import load_lists
from pipeline.hear.models import ModelFiles
from pipeline.hear.terms import Terms
from pipeline.hear.words import utterances
from pipeline.model import Chunk, ChunkKey, Dropped, SpeechModel, Transcript, Word
from pipeline.vault import Keys
from pipeline.vocabulary import Vocabulary

RECIPE = "free and hotword passes fused, sides and levels checked; version 4"
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


@dataclass(frozen=True, slots=True)
class Preview:
    """One piece at first hearing, in ms of the recording. ``why``: it cannot be believed (noise, a loop), or ""."""

    start_ms: int
    end_ms: int
    words: tuple[Word, ...]
    why: str


class Hearer:
    """One speech model and a vocabulary; build once, hear many recordings.

    ``keep`` is a folder for chunk results (None: nothing is kept, nothing resumes), sealed where there are ``keys``.
    ``refine`` puts misheard terms right while the sound of the chunk is at hand: it gets the transcript of one chunk
    and a scorer, and ``recipe`` names what it does (another name, other results). ``likely``: words to listen for
    first. The model is loaded when the first chunk needs it. Raises ModelError then where it cannot be. ``between`` is
    called before each step of the model, so that what presses is not kept waiting by a whole chunk.
    """

    def __init__(
        self,
        model: ModelFiles,
        vocab: Vocabulary,
        *,
        keep: Path | None = None,
        keys: Keys | None = None,
        refine: Refine | None = None,
        recipe: str = "",
        likely: Sequence[str] = (),
        device: str = "auto",
        threads: int = 0,
        between: Callable[[], None] | None = None,
    ) -> None:
        self._model, self._vocab = model, vocab
        self._device, self._threads, self._between = device, threads, between
        self._refine, self._likely = refine, tuple(likely)
        self._kept = Kept(keep, keys)
        what = [RECIPE, recipe, refine is not None, self._likely]
        self.recipe_hash = hashlib.sha256(json.dumps(what).encode()).hexdigest()

    @cached_property
    def _listener(self) -> Listener:
        engine = Engine(self._model, device=self._device, threads=self._threads, between=self._between)
        return Listener(engine, Terms(self._vocab), load_lists(), self._refine, self._likely)

    def load(self) -> None:
        """Load the model now and not with the first chunk. Raises ModelError."""
        _ = self._listener

    def preview(self, piece: SoundChunk) -> Preview:
        """What a piece sounds like at first hearing, after one pass; nothing is kept."""
        words, why = self._listener.first(piece)
        return Preview(piece.start_ms, piece.end_ms, tuple(words), why)

    def results(self, chunks: Iterable[SoundChunk]) -> Iterator[tuple[SoundChunk, ChunkResult]]:
        """Hear chunk after chunk; what is kept under the same key is taken as it is."""
        for chunk in chunks:
            key = ChunkKey(
                pcm_sha256=chunk.pcm_sha256,
                model_sha256=self._model.sha256,
                settings_hash=self.recipe_hash,
                vocab_hash=self._vocab.hash,
            )
            result = self._kept.get(key, ChunkResult)
            if result is None:
                result = _result(key, chunk, self._listen(chunk))
                self._kept.put(result)
            yield chunk, result

    def _listen(self, chunk: SoundChunk) -> Listened:
        """Hear a chunk; its free pass is taken from what is kept where only the vocabulary is new."""
        key = ChunkKey(
            pcm_sha256=chunk.pcm_sha256, model_sha256=self._model.sha256, settings_hash=FREE_RECIPE, vocab_hash=""
        )
        kept = self._kept.get(key, FreePass)
        free = Decoded(kept.tokens, kept.log_p, kept.ratio, kept.no_speech, kept.temperature) if kept else None
        listened = self._listener.hear(chunk, free)
        if kept is None:
            self._kept.put(FreePass(key=key, **asdict(listened.free)))
        return listened

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
        masked: list[Dropped] = []
        for chunk, result in self.results(cut(blocks())):
            heard.append((chunk.start_ms, result))
            masked += [Dropped(start_ms=a, end_ms=b, reason="noise") for a, b in chunk.masked]
            if on_progress is not None:
                on_progress(chunk.end_ms, max(sound.duration_ms, chunk.end_ms))
        if not any(result.words for _, result in heard):
            what = "nothing but silence" if peak < _SILENT_PEAK else "sound, but no speech that could be made out"
            raise InputError(f"The recording holds {what}. Check the microphone and that it is the right file.")
        if on_progress is not None:
            on_progress(sound.duration_ms, sound.duration_ms)
        return self._transcript(sound, heard, masked)

    def _transcript(
        self, sound: Source, heard: Sequence[tuple[int, ChunkResult]], masked: Sequence[Dropped]
    ) -> Transcript:
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
            dropped=tuple(
                sorted(
                    [*masked, *(_moved(d, start) for start, result in heard for d in result.dropped)],
                    key=lambda d: d.start_ms,
                )
            ),
            duration_ms=sound.duration_ms,
        )


def _result(key: ChunkKey, chunk: SoundChunk, heard: Listened) -> ChunkResult:
    start = chunk.start_ms
    return ChunkResult(
        key=key,
        chunk=Chunk(start_ms=0, end_ms=chunk.end_ms - start, snr_db=chunk.snr_db, pcm_sha256=chunk.pcm_sha256),
        words=tuple(
            replace(w, i=i, start_ms=w.start_ms - start, end_ms=w.end_ms - start) for i, w in enumerate(heard.words)
        ),
        dropped=tuple(_moved(d, -start) for d in heard.dropped),
    )


def _moved(stretch: _Stretch, by_ms: int) -> _Stretch:
    return stretch.model_copy(update={"start_ms": stretch.start_ms + by_ms, "end_ms": stretch.end_ms + by_ms})
