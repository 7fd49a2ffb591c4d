"""One chunk heard: free pass, hotword passes, fusion, repair by sound, the check of sides and levels; and what was not.

Everything works on one encoding of the chunk.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from pipeline.hear import sides
from pipeline.hear.chunks import SoundChunk, halves, part
from pipeline.hear.engine import MAX_PREFIX, Decoded, Encoding, Engine
from pipeline.hear.fuse import fuse
from pipeline.hear.guard import fault, holes
from pipeline.hear.lists import Lists
from pipeline.hear.score import ChunkScorer
from pipeline.hear.terms import Terms, plain
from pipeline.hear.words import TimedWord, timed, utterances
from pipeline.model import Dropped, SpeechModel, Transcript, Word
from pipeline.sound import is_known

LOW_SNR_DB = 12.0  # between what was still heard well (20 dB) and what was not (10 dB, other talkers); a guess
NOISY = "noise"
HOT_LISTS = 1
_HOLE_MS = 1500  # voice without words that is heard again by itself
_SMALLEST_MS = 4000  # a chunk that loops is cut in two down to this
# Length from which a language can be told; probability of English below which it is another. English under babble at
# 10 dB gave 0.23 and more an utterance, 0.85 and more a chunk; eight other languages at most 0.20 and 0.13 (espeak-ng).
_FOREIGN_MS, _ENGLISH = 1500, 0.15
_CLEAR = 0.85  # words as sure as this are kept even in a chunk of another language
_ENGLISH_ENOUGH, _WEAK = 0.5, 0.6  # a chunk surer of English, and words surer than this, are not looked at again
_DIM, _DIM_SHARE = 0.5, 0.05  # a chunk with more words below this may hold terms taken for everyday words
_TURN_MS = 500  # a pause in which the speaker may have changed


Refine = Callable[[Transcript, ChunkScorer], Transcript]


@dataclass(frozen=True, slots=True)
class Listened:
    """Words and dropped stretches of a chunk, in ms of the recording, and the free pass for keeping."""

    words: list[Word]
    dropped: list[Dropped]
    free: Decoded


class Listener:
    """Engine, vocabulary terms and lists put together once; ``refine`` is the repair stage, or None.

    ``likely``: words that this visit is likely to hold; they come first among the hotwords.
    """

    def __init__(
        self, engine: Engine, terms: Terms, lists: Lists, refine: Refine | None, likely: Sequence[str] = ()
    ) -> None:
        self._engine, self._terms, self._lists, self._refine = engine, terms, lists, refine
        self._hot = [p for p in terms.hotwords(engine.tokens, MAX_PREFIX, HOT_LISTS, likely) if p]

    def hear(self, chunk: SoundChunk, free: Decoded | None = None, *, whole: bool = True) -> Listened:
        """Hear a chunk. ``free``: its free pass, where that is known already. ``whole``: look for holes in it."""
        encoding = self._engine.encode(chunk.pcm)
        decoded = free or self._engine.decode(encoding)
        skeleton, why = self._timed(chunk, encoding, decoded, ())
        if why == "loop" and chunk.end_ms - chunk.start_ms >= 2 * _SMALLEST_MS:
            left, right = (self.hear(half, whole=whole) for half in halves(chunk))
            return Listened(left.words + right.words, left.dropped + right.dropped, decoded)
        if why:
            text = " ".join(word.text for word in skeleton)
            return Listened([], [_dropped(chunk.start_ms, chunk.end_ms, why, text)], decoded)
        words = self._fused(chunk, encoding, skeleton)
        words, dropped = self._only_english(chunk, encoding, words)
        if whole:
            for low, high in holes(words, chunk.speech, _HOLE_MS):
                if inside := [d for d in dropped if d.start_ms < high and low < d.end_ms]:
                    low, high = min(low, inside[0].start_ms), max(high, inside[-1].end_ms)
                    text = " ".join(d.text for d in inside)
                    dropped = [d for d in dropped if d not in inside]
                    dropped.append(_dropped(low, high, "other language", text))
                    continue  # a piece of it may pass for English by itself
                again = self.hear(part(chunk, low - 200, high + 200), whole=False)
                fitting = [w for w in again.words if low - 100 <= w.start_ms and w.end_ms <= high + 100]
                words = sorted([*words, *fitting], key=lambda word: word.start_ms)
                if not fitting:
                    reason = again.dropped[0].reason if again.dropped else "not made out"
                    dropped.append(_dropped(low, high, reason, " ".join(w.text for w in again.words)))
        return Listened(words, dropped, decoded)

    def first(self, piece: SoundChunk) -> tuple[list[Word], str]:
        """The free pass alone over a short piece, terms put right; and why it cannot be believed, or ""."""
        encoding, decoded = self._engine.glance(piece.pcm, lambda tokens: _twice(self._engine.text(tokens)))
        skeleton, why = self._timed(piece, encoding, decoded, ())
        scorer = ChunkScorer(self._engine, encoding)
        words = fuse(skeleton, [], self._terms, scorer, self._lists.kept)
        if self._refine is not None and words and not why:
            words = list(self._refine(_transcript(words), scorer).words)
        return words, why

    def _timed(
        self, chunk: SoundChunk, encoding: Encoding, decoded: Decoded, prefix: Sequence[int]
    ) -> tuple[list[TimedWord], str]:
        laid = self._engine.align(encoding, decoded.tokens, prefix)
        words = timed(self._engine, decoded.tokens, laid, chunk.start_ms, chunk.end_ms, chunk.speech)
        return words, fault(decoded, words, chunk.speech, self._lists.stock)

    def _fused(self, chunk: SoundChunk, encoding: Encoding, skeleton: list[TimedWord]) -> list[Word]:
        passes = []
        for prefix in self._hot if self._trade(skeleton) else ():
            decoded = self._engine.decode(encoding, prefix)
            hot, why = self._timed(chunk, encoding, decoded, prefix)
            if not why:
                passes.append(hot)
        scorer = ChunkScorer(self._engine, encoding, self._hot[0] if self._hot else ())
        words = fuse(skeleton, passes, self._terms, scorer, self._lists.kept)
        if self._refine is not None and words:
            words = list(self._refine(_transcript(words), scorer).words)
        words = sides.check(words, scorer, self._lists.mistaken)
        if chunk.snr_db < LOW_SNR_DB:
            words = [replace(word, flags=(*word.flags, NOISY)) for word in words]
        return words

    def _trade(self, skeleton: Sequence[TimedWord]) -> bool:
        """Whether a trade term may stand in it: one is there, or words that are none, or words hardly made out."""
        words = [plain(word.text) for word in skeleton]
        if self._terms.find(words) or any(word.isalpha() and not is_known(word) for word in words):
            return True
        return sum(word.p < _DIM for word in skeleton) > _DIM_SHARE * len(words)

    def _only_english(
        self, chunk: SoundChunk, encoding: Encoding, words: list[Word]
    ) -> tuple[list[Word], list[Dropped]]:
        """Take out utterances in another language: written as English they would be inventions."""
        if not words or not self._engine.multilingual:
            return words, []
        english = self._engine.language(encoding)[2]
        foreign = english < _ENGLISH and chunk.end_ms - chunk.start_ms >= _FOREIGN_MS
        kept: list[Word] = []
        dropped: list[Dropped] = []
        for i0, i1 in utterances([(w.text, w.start_ms, w.end_ms) for w in words], _TURN_MS):
            said = words[i0:i1]
            start, end = said[0].start_ms, max(w.end_ms for w in said)
            sure = sum(w.p for w in said) / len(said)
            if foreign:
                other = sure < _CLEAR and not self._clear_term(said)
            else:
                weak = english < _ENGLISH_ENOUGH or sure < _WEAK
                other = weak and end - start >= _FOREIGN_MS and self._foreign(part(chunk, start - 100, end + 100), said)
            if other:
                dropped.append(_dropped(start, end, "other language", " ".join(w.text for w in said)))
            else:
                kept += said
        return kept, dropped

    def _clear_term(self, said: Sequence[Word]) -> bool:
        """Whether a trade term is heard clearly, which may sound foreign by itself."""
        terms = self._terms.find([plain(word.text) for word in said])
        return any(min(word.p for word in said[i0:i1]) > _WEAK for i0, i1 in terms)

    def _foreign(self, piece: SoundChunk, said: Sequence[Word]) -> bool:
        return not self._clear_term(said) and self._engine.language(self._engine.encode(piece.pcm))[2] < _ENGLISH


def _twice(text: str) -> bool:
    """Whether something is said, and then said again."""
    words = text.lower().split()
    half = len(words) // 2
    return half > 0 and words[:half] == words[half : 2 * half]


def _dropped(start: int, end: int, reason: str, text: str) -> Dropped:
    return Dropped(start_ms=start, end_ms=end, reason=reason, text=text)


def _transcript(words: Sequence[Word]) -> Transcript:
    return Transcript(
        id="",
        recording="",
        model=SpeechModel(name="", sha256=""),
        words=tuple(replace(word, i=i) for i, word in enumerate(words)),
        utterances=tuple(utterances([(w.text, w.start_ms, w.end_ms) for w in words])),
    )
