"""What the sound says of one wording against another: both laid on the same encoding, their probabilities compared."""

import re
from collections.abc import Sequence
from itertools import pairwise
from typing import Protocol

import numpy as np

from pipeline.hear.engine import Encoding, Engine
from pipeline.model import Transcript, WordRange
from pipeline.sound import similarity, sounds_of

_AFTER = 8  # words after a change whose probability still counts
_HOPELESS = -22.0  # nats: below this a second opinion changes nothing
_ENOUGH = -5.0  # nats: what the repair stage asks for at least
_BONUS, _SLOPE, _FROM = 10.0, 30.0, 0.6  # nats; by likeness above 0.6; set on the tuned half of benchmarks/hearing.py
_CHAT = -3.0  # nats, elsewhere: there a term must be heard clearly
_WHISPERED = 2.0  # nats that the opinion with hotwords pays there
_ENDS = re.compile(r"^(\W*)(.*?)(\W*)$", re.DOTALL)


class Change(Protocol):
    """A stretch of words and what may have been meant there (a proposal of the repair stage)."""

    @property
    def words(self) -> WordRange:
        """Half-open range into the transcript."""

    @property
    def meant(self) -> str:
        """The other wording."""


class ChunkScorer:
    """Scores changes of one chunk's text against its sound. ``hot``: tokens of a hotword list, or none.

    A margin is log p(new text) - log p(old text) in nats. The decoder is causal: what stands before a change has the
    same probability either way, and what follows has its say for some words.

    ``clinical``: the chunk is talk of an examination (fusion finds out). There the model's English speaks too strongly
    against trade terms, so a wording that sounds like the old one is given up to _BONUS nats; elsewhere it pays.
    """

    clinical = False

    def __init__(self, engine: Engine, encoding: Encoding, hot: Sequence[int] = ()) -> None:
        self._engine, self._encoding = engine, encoding
        self._prefixes: tuple[Sequence[int], ...] = ((), hot) if hot else ((),)
        self._known: dict[tuple[tuple[str, ...], int], list[float]] = {}

    def _log_p(self, words: Sequence[str], prefix: int) -> list[float]:
        """Natural logarithm of the probability of each word, given the sound, the words before and a hotword list."""
        key = (tuple(words), prefix)
        if key not in self._known:
            pieces = [self._engine.tokens(" " + word) for word in words]
            laid = self._engine.align(self._encoding, [t for piece in pieces for t in piece], self._prefixes[prefix])
            logs = np.log(np.maximum(laid.p, 1e-9))
            ends = np.cumsum([0, *map(len, pieces)])
            self._known[key] = [float(np.sum(logs[a:b])) for a, b in pairwise(ends)]
        return self._known[key]

    def _gain(self, words: Sequence[str], i0: int, i1: int, new: Sequence[str], prefix: int) -> float:
        tail = min(len(words), i1 + _AFTER)
        old = self._log_p(words, prefix)[i0:tail]
        changed = self._log_p([*words[:i0], *new, *words[i1:tail]], prefix)[i0:]
        return sum(changed) - sum(old)

    def change(
        self, words: Sequence[str], i0: int, i1: int, new: Sequence[str], *, enough: float = 0.0, one: bool = False
    ) -> float:
        """Margin of putting ``new`` in place of ``words[i0:i1]``; above 0 the sound is for the new wording.

        Stops and capitals stay as they were. The mean of two opinions, without and with hotwords; only the first where
        it is ``enough`` by itself (hotwords speak for the terms they name), or where ``one`` opinion is wanted.
        """
        put = dressed(new, words[i0:i1])
        free = self._gain(words, i0, i1, put, 0)
        if one or len(self._prefixes) == 1 or free >= enough or free <= _HOPELESS:
            return free
        return (free + self._gain(words, i0, i1, put, 1)) / 2 - (0.0 if self.clinical else _WHISPERED)

    def margin(self, transcript: Transcript, proposal: Change) -> float | None:
        """The repair stage's question: log p(meant) - log p(heard), with what likeness and context are worth."""
        i0, i1 = proposal.words
        old, new = [word.text for word in transcript.words], proposal.meant.split()
        bonus = _CHAT
        if self.clinical:
            alike = similarity(spoken(old[i0:i1]), spoken(new))
            bonus = min(_BONUS, _SLOPE * max(0.0, alike - _FROM))
        return self.change(old, i0, i1, new, enough=_ENOUGH - bonus) + bonus


def spoken(words: Sequence[str]) -> str:
    """The sound of some words, one after the other, as pipeline.sound writes it."""
    found = (sounds_of(bare(word).lower()) for word in words)
    return "".join(sounds[0] for sounds in found if sounds)


def dressed(new: Sequence[str], old: Sequence[str]) -> list[str]:
    """New words with the punctuation around the old ones, and their capital."""
    if not new:
        return []
    words = [bare(word) for word in new]
    if old:
        before, body, _ = _parts(old[0])
        after = _parts(old[-1])[2]
        if body[:1].isupper() and not body.isupper():
            words[0] = words[0][:1].upper() + words[0][1:]
        words[0] = before + words[0]
        words[-1] += after
    return words


def bare(word: str) -> str:
    """A word without the punctuation around it."""
    return _parts(word)[1]


def _parts(word: str) -> tuple[str, str, str]:
    match = _ENDS.match(word)
    return (match.group(1), match.group(2), match.group(3)) if match else ("", word, "")
