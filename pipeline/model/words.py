"""Words and transcripts: what was heard, with its times."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from pydantic import BaseModel, ConfigDict

WordRange = tuple[int, int]
Stretch = tuple[int, int]  # start and end in ms of the recording


class Frozen(BaseModel):
    """Base of the stored and shown types."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


@dataclass(frozen=True, slots=True)
class Heard:
    """What one pass of the recogniser heard where a word now stands."""

    source: Literal["free", "hot", "lexicon"]
    text: str
    p: float


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A reading that was not taken: the person may take it. ``score`` 0..1, higher is likelier."""

    text: str
    reason: str
    score: float


@dataclass(frozen=True, slots=True)
class Word:
    """One spoken word. Times in milliseconds; ``p`` = the recogniser's probability, 0..1 (1 for given text)."""

    i: int
    text: str
    start_ms: int
    end_ms: int
    p: float = 1.0
    timing: Literal["word", "cue"] = "word"
    source: Literal["free", "hot", "lexicon", "given", "edited", "typed", "destroyed"] = "given"
    heard: tuple[Heard, ...] = ()
    agree: bool | None = None
    margin: float | None = None
    flags: tuple[str, ...] = ()
    suggestions: tuple[Suggestion, ...] = ()
    speaker: str | None = None


class SpeechModel(Frozen):
    """The recogniser that made a transcript; ``sha256`` of its weights (of the text for a given transcript)."""

    name: str
    sha256: str


class Chunk(Frozen):
    """A stretch of the recording that was heard in one piece, and how noisy it was."""

    start_ms: int
    end_ms: int
    snr_db: float | None = None
    pcm_sha256: str = ""


class Dropped(Frozen):
    """A stretch that was not heard, or heard and not kept, and why (``noise``, ``other language``, ``loop`` ...)."""

    start_ms: int
    end_ms: int
    reason: str
    text: str = ""


class Transcript(Frozen):
    """The words of one recording. ``utterances`` are consecutive word ranges that cover all words."""

    id: str
    recording: str
    language: str = "en"
    model: SpeechModel
    recipe_hash: str = ""
    vocab_hash: str = ""
    words: tuple[Word, ...]
    utterances: tuple[WordRange, ...]
    chunks: tuple[Chunk, ...] = ()
    dropped: tuple[Dropped, ...] = ()
    duration_ms: int = 0

    def quote(self, span: WordRange) -> str:
        """The words of a range as they stand, one space between."""
        return " ".join(word.text for word in self.words[span[0] : span[1]])

    def within(self, stretches: Sequence[Stretch]) -> "Transcript":
        """The words whose middle lies in one of the stretches, counted anew; times stay those of the recording."""

        def inside(start_ms: int, end_ms: int) -> bool:
            return any(start <= (start_ms + end_ms) / 2 < end for start, end in stretches)

        def touched(start_ms: int, end_ms: int) -> bool:
            return any(start < end_ms and start_ms < end for start, end in stretches)

        words: list[Word] = []
        utterances: list[WordRange] = []
        for i0, i1 in self.utterances:
            kept = [word for word in self.words[i0:i1] if inside(word.start_ms, word.end_ms)]
            if kept:
                utterances.append((len(words), len(words) + len(kept)))
                words += [replace(word, i=len(words) + n) for n, word in enumerate(kept)]
        return self.model_copy(
            update={
                "words": tuple(words),
                "utterances": tuple(utterances),
                "chunks": tuple(chunk for chunk in self.chunks if touched(chunk.start_ms, chunk.end_ms)),
                "dropped": tuple(lost for lost in self.dropped if touched(lost.start_ms, lost.end_ms)),
            }
        )
