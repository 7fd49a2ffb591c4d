"""Every side and every level held against what it is mistaken for, by the sound. Flagged, never flipped.

"Moves less. Moro" was heard as "moves left, moral" with a word probability of 0.94: only the text after it tells. So
each alternative is laid on the sound with the text before and after it.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from pipeline.hear.score import ChunkScorer, bare
from pipeline.model import Suggestion, Word

SIDE, LEVEL, LOW = "side?", "level?", "low"
_LEVEL = re.compile(r"^([CTLS])-?(\d{1,2})$")
_LETTERS = "CTLS"
_MARGIN = 4.0  # nats; of 52 sides on three files the wrong ones lay at -2.2 and 3.2, the right ones at 4.2 and more
_LEVEL_MARGIN = 2.0  # our choice
_UNSURE = 0.5
_CLEAR = 0.97  # heard so clearly, and alike by all passes, a word is held against its nearest neighbour only


def check(words: Sequence[Word], scorer: ChunkScorer, mistaken: Mapping[str, tuple[str, ...]]) -> list[Word]:
    """The same words; sides and levels carry their margin (log p as heard - log p of the nearest alternative, nats).

    Below the limit they carry ``side?`` or ``level?`` and the alternative as a suggestion. Words of low probability on
    which the passes differ carry ``low``.
    """
    text = [word.text for word in words]
    return [_checked(word, _alternatives(word.text, mistaken), text, i, scorer) for i, word in enumerate(words)]


def _alternatives(text: str, mistaken: Mapping[str, tuple[str, ...]]) -> tuple[str, tuple[str, ...], float]:
    word = bare(text)
    if word.lower() in mistaken:
        return SIDE, mistaken[word.lower()], _MARGIN
    if found := _LEVEL.match(word):
        others = tuple(letter + found.group(2) for letter in _LETTERS if letter != found.group(1))
        return LEVEL, others, _LEVEL_MARGIN
    return "", (), 0.0


def _checked(
    word: Word, doubt: tuple[str, tuple[str, ...], float], text: Sequence[str], i: int, scorer: ChunkScorer
) -> Word:
    flag, others, limit = doubt
    if word.p < _UNSURE and word.agree is False:
        word = replace(word, flags=(*word.flags, LOW))
    if not others:
        return word
    if word.p >= _CLEAR and word.agree is not False:
        others = others[:1]
    if word.p < _UNSURE:
        limit *= 2  # unsure by itself: the text around it must speak for it the more
    gains = {other: scorer.change(text, i, i + 1, [other], one=True) for other in others}
    nearest = max(gains, key=lambda other: gains[other])
    margin = -gains[nearest]
    if margin >= limit and not (flag == SIDE and word.agree is False):
        return replace(word, margin=round(margin, 2))
    note = Suggestion(nearest, "the sound fits this nearly as well, or better", round(1 / (1 + 2.718**margin), 3))
    return replace(word, margin=round(margin, 2), flags=(*word.flags, flag), suggestions=(*word.suggestions, note))
