"""The items of a visit while it goes on: what was heard for good, and on top of it what was heard at first.

The same steps as over a whole recording, so the same items come out once all is heard. An utterance may go on in the
next chunk, so the last one of a chunk counts as heard at first until the next one comes.
"""

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import replace

from pipeline.extract import Extractor, State
from pipeline.hear import utterances
from pipeline.model import Age, Extraction, Transcript, Word


class LiveFold:
    """Takes words as they are heard. ``base`` names the recording: the items' ids depend on it."""

    def __init__(self, extractor: Extractor, base: Transcript, age: Age | None) -> None:
        self._extractor, self._base = extractor, base
        self._words: list[Word] = []  # heard for good
        self._folded = 0  # of these, for good in the state
        self._state: State = extractor.start(base.recording, age=age)
        self._early: list[Word] = []  # heard at first
        self._head: State = deepcopy(self._state)
        self._now: list[Word] = []  # both, as the head has them

    def confirm(self, words: Sequence[Word], until_ms: int) -> None:
        """The words of a chunk heard in full, up to ``until_ms``: they replace what was heard at first there."""
        self._words += [replace(word, i=len(self._words) + k) for k, word in enumerate(words)]
        whole = [(self._folded + a, self._folded + b) for a, b in _ranges(self._words[self._folded :])]
        for utterance in whole[:-1]:
            self._extractor.step(self._state, self._words, utterance)
            self._folded = utterance[1]
        self._early = [word for word in self._early if word.start_ms >= until_ms]
        self._head = deepcopy(self._state)
        self._now = self._words[: self._folded]
        self._fold([*self._words[self._folded :], *self._early])

    def preview(self, words: Sequence[Word]) -> None:
        """What was heard at first, after everything else."""
        heard = self._words[-1].end_ms if self._words else 0
        fresh = [word for word in words if word.start_ms >= heard]
        self._early += fresh
        self._fold(fresh)

    def _fold(self, words: Sequence[Word]) -> None:
        at = len(self._now)
        self._now += [replace(word, i=at + k) for k, word in enumerate(words)]
        for a, b in _ranges(words):
            self._extractor.step(self._head, self._now, (at + a, at + b))

    def heard(self) -> tuple[Transcript, Extraction, frozenset[str]]:
        """Words and items as they stand now, and the ids of the items that rest on a first hearing."""
        transcript = self._base.model_copy(update={"words": tuple(self._now), "utterances": tuple(_ranges(self._now))})
        now, sure = self._extractor.result(self._head), {i.id for i in self._extractor.result(self._state).items}
        return transcript, now, frozenset(item.id for item in now.items if item.id not in sure)


def _ranges(words: Sequence[Word]) -> list[tuple[int, int]]:
    return utterances([(word.text, word.start_ms, word.end_ms) for word in words])
