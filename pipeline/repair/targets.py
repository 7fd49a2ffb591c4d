"""The trade terms that a repair may restore, by sound; and what stands in the vocabulary already, by letters."""

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property, lru_cache

import numpy as np
from rapidfuzz.distance import Levenshtein
from rapidfuzz.process import cdist

from pipeline.repair.compiling import Compiled, Target, compiled
from pipeline.repair.rules import Rules, TradeWords, load_rules
from pipeline.sound import SoundIndex, coarse, similarities, table_of
from pipeline.vocabulary import Vocabulary

_SIEVE = 0.1  # how much less alike two coarse sounds may be than the finely compared ones need to be
_BATCHES = (7, 11, 17)  # lengths up to which sounds are compared together: a table is as wide as its longest
_SLAB = 4096  # sounds sifted at a time, so that memory stays flat


_NONE = (0.0, Target("", "", ""))


class Lexicon:
    """Everything that repair needs of one vocabulary, compiled once."""

    def __init__(self, made: Compiled, rules: Rules) -> None:
        self.rules = rules
        self.soft = made.soft
        self.trade_words = made.trade_words
        self.is_trade = TradeWords(rules)
        self.misheard = made.misheard
        self.openers = frozenset(words[0] for words in made.misheard)
        self.targets = made.targets
        self._coarse = [coarse(t.sound) for t in self.targets]
        self._table = table_of([t.sound for t in self.targets])
        self._phrases = made.phrases
        self._forms = made.forms
        self._lengths = made.lengths

    @cached_property
    def _phrase_index(self) -> SoundIndex:
        return SoundIndex([t.sound for t in self._phrases])

    def nearest(self, sounds: Sequence[str], least: float, most: int) -> list[list[tuple[float, Target]]]:
        """For each encoded sound the phrases most like it, at most ``most`` of likeness ``least`` at least."""
        near: list[dict[str, tuple[float, Target]]] = [{} for _ in sounds]
        for row, column, score in self._phrase_index.near(sounds, least):
            target = self._phrases[column]
            if score > near[row].get(target.text, _NONE)[0]:
                near[row][target.text] = (score, target)
        return [sorted(found.values(), key=lambda pair: -pair[0])[:most] for found in near]

    def standing(self, words: Sequence[str]) -> list[bool]:
        """For each word whether it belongs to a spoken form that stands there in full (longest first)."""
        marks = [False] * len(words)
        at = 0
        while at < len(words):
            step = 1
            for length in self._lengths.get(words[at], ()):
                if at + length <= len(words) and " ".join(words[at : at + length]) in self._forms:
                    marks[at : at + length] = [True] * length
                    step = length
                    break
            at += step
        return marks

    def near(self, floors: Mapping[str, float]) -> dict[str, tuple[float, Target]]:
        """For each encoded sound the term most like it, where any is at least as like as the sound's own floor.

        Sifted by coarse sound first (rapidfuzz, all pairs of about the same length), then compared finely.
        """
        by_length: dict[int, list[str]] = {}
        for sound in floors:
            by_length.setdefault(len(sound), []).append(sound)
        best: dict[str, tuple[float, Target]] = {}
        group: list[str] = []
        rows: list[int] = []
        columns: list[int] = []
        batches = iter((*_BATCHES, max(by_length, default=0)))
        limit = next(batches)
        for length in sorted(by_length):
            while length > limit:
                self._compare(group, rows, columns, floors, best)
                group, rows, columns, limit = [], [], [], next(batches)
            for start in range(0, len(by_length[length]), _SLAB):
                slab = by_length[length][start : start + _SLAB]
                for row, column in self._sift(slab, length, floors):
                    rows.append(len(group) + row)
                    columns.append(column)
                group += slab
        self._compare(group, rows, columns, floors, best)
        return best

    def _sift(self, sounds: list[str], length: int, floors: Mapping[str, float]) -> Iterator[tuple[int, int]]:
        """Pairs of a sound and a term that may be like enough, by coarse sound."""
        low, high = np.searchsorted(self._table.lengths, [int(length * 0.7), int(length * 1.4) + 2])
        if low == high:
            return
        lowest = np.array([[floors[sound] - _SIEVE] for sound in sounds], np.float32)
        rough = cdist(
            [coarse(sound) for sound in sounds],
            self._coarse[low:high],
            scorer=Levenshtein.normalized_similarity,
            score_cutoff=float(lowest.min()),
            dtype=np.float32,
        )
        rows, columns = np.nonzero(rough >= np.maximum(lowest, 1e-6))
        yield from zip(rows.tolist(), (columns + low).tolist(), strict=True)

    def _compare(
        self,
        sounds: list[str],
        rows: list[int],
        columns: list[int],
        floors: Mapping[str, float],
        best: dict[str, tuple[float, Target]],
    ) -> None:
        """Compare the sifted pairs finely and keep the best term of each sound."""
        if not rows:
            return
        table = table_of(sounds).take(np.array(rows, np.intp))
        alike = similarities(table, self._table.take(np.array(columns, np.intp))).tolist()
        for row, column, score in zip(rows, columns, alike, strict=True):
            sound = sounds[row]
            if score >= floors[sound] and (sound not in best or score > best[sound][0]):
                best[sound] = (score, self.targets[column])


class _ByHash:
    """A vocabulary as a cache key: its hash names exactly its state."""

    def __init__(self, vocab: Vocabulary) -> None:
        self.vocab = vocab

    def __hash__(self) -> int:
        return hash(self.vocab.hash)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _ByHash) and other.vocab.hash == self.vocab.hash


def lexicon_of(vocab: Vocabulary) -> Lexicon:
    """The compiled lexicon of a vocabulary; compiled once for each state of it."""
    return _compiled(_ByHash(vocab))


@lru_cache(maxsize=2)
def _compiled(key: _ByHash) -> Lexicon:
    rules = load_rules()
    return Lexicon(compiled(key.vocab, rules), rules)
