"""The words of a transcript as repair sees them: how they sound, how ordinary they are, which may not be touched."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate
from typing import Literal

from pipeline.model import Transcript
from pipeline.repair.targets import Lexicon
from pipeline.repair.text import plain
from pipeline.sound import sound_of

REPAIRED = "repaired_term"
Ordinary = Literal["unknown", "known", "common"]
_STOP = re.compile(r"[.?!;:…]['\")\]]*$")
_LEVEL_LETTERS = frozenset("ctls")
_CLINICAL, _EXAMINING, _CHAT = 1.0, 0.35, -0.8  # how much a word says about what the talk is about


@dataclass(frozen=True, slots=True)
class Token:
    """One word as repair sees it.

    ``need``, ``need_alone``: how like a term such a word must sound, and where it is the only one. ``barred``: in no
    stretch at all. ``kept``: stands rightly, so only beside what changes in a longer term. ``telling``: neither small
    nor soft nor kept. ``opens``: a listed mishearing may begin here. ``weights``: how clinical (+) or chatty (-), one
    for each word once heard here. ``p``: None where the text was given.
    """

    text: str
    sound: str
    ordinary: Ordinary
    need: float
    need_alone: float
    barred: bool
    kept: bool
    soft: bool
    edge: bool
    telling: bool
    opens: bool
    stop: bool
    weights: tuple[float, ...]
    p: float | None


@dataclass(frozen=True, slots=True)
class _Facts:
    """What a word is by itself, wherever it stands."""

    sound: str
    ordinary: Ordinary
    guarded: bool
    trade: bool
    soft: bool
    edge: bool
    weight: float


def tokens_of(transcript: Transcript, lexicon: Lexicon) -> list[Token]:
    """One token a word. Barred is what a finding hangs on; kept is what stands in the vocabulary already."""
    texts = [plain(word.text) for word in transcript.words]
    spoken = ["" if REPAIRED in word.flags else text for word, text in zip(transcript.words, texts, strict=True)]
    standing = [mark for i0, i1 in transcript.utterances for mark in lexicon.standing(spoken[i0:i1])]
    figures = lexicon.rules.figures
    needs: dict[Ordinary, tuple[float, float]] = {
        "unknown": (figures.unknown, figures.unknown),
        "known": (figures.known, figures.known_alone),
        "common": (figures.common, figures.common_alone),
    }
    out = []
    for word, text, following, stands in zip(transcript.words, texts, [*texts, ""][1:], standing, strict=True):
        fact = _facts(text, lexicon)
        repaired = REPAIRED in word.flags
        weights: tuple[float, ...] = (fact.weight,)
        if repaired:
            heard = word.heard[0].text.split() if word.heard else []
            weights = tuple(_facts(plain(w), lexicon).weight for w in heard)
        level = text in _LEVEL_LETTERS and lexicon.rules.is_number(following)
        need, need_alone = needs[fact.ordinary]
        out.append(
            Token(
                text=text,
                sound=fact.sound,
                ordinary=fact.ordinary,
                need=need,
                need_alone=need_alone,
                barred=repaired or level or fact.guarded or not fact.sound,
                kept=stands or fact.trade,
                soft=fact.soft,
                edge=fact.edge,
                telling=not (fact.soft or fact.edge or stands or fact.trade),
                opens=text in lexicon.openers,
                stop=bool(_STOP.search(word.text)),
                weights=weights,
                p=None if word.source in ("given", "edited") else word.p,
            )
        )
    return out


@lru_cache(maxsize=65536)
def _facts(text: str, lexicon: Lexicon) -> _Facts:
    rules = lexicon.rules
    words = rules.words
    ordinary: Ordinary = "unknown"
    if text in rules.common:
        ordinary = "common"
    elif rules.is_english(text):
        ordinary = "known"
    if text in words["clinical"] or text in lexicon.trade_words:
        weight = _CLINICAL
    elif text in words["chat"]:
        weight = _CHAT
    elif text in words["examining"]:
        weight = _EXAMINING
    else:
        weight = 0.0
    soft = text in lexicon.soft or text in words["fixed"] or text in words["clinical"]
    return _Facts(
        sound=sound_of(text),
        ordinary=ordinary,
        guarded=any(rules.is_guarded(part) for part in text.split("-")),
        trade=any(word in lexicon.trade_words for word in (text, text.removesuffix("'s"), text.removesuffix("s"))),
        soft=soft,
        edge=text in words["edges"],
        weight=weight,
    )


class Around:
    """How clinical the talk around a stretch is, counted in words as first heard (a repair changes nothing)."""

    def __init__(self, tokens: Sequence[Token], reach: int) -> None:
        self._reach = reach
        self._at = [0, *accumulate(len(token.weights) for token in tokens)]
        self._sum = [0.0, *accumulate(weight for token in tokens for weight in token.weights)]

    def weight(self, i0: int, i1: int) -> float:
        """Sum of the weights within reach of the words ``i0 <= i < i1``, these left out."""
        at, end = self._at[i0], self._at[i1]
        last = len(self._sum) - 1
        before = self._sum[at] - self._sum[max(0, at - self._reach)]
        return before + self._sum[min(last, end + self._reach)] - self._sum[end]
