"""From tokens laid on the sound to words with times.

Whisper's own times smear into pauses: a word's start and end are drawn back to where the voice is.
"""

import string
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.hear.engine import FRAME_MS, Alignment, Engine
from pipeline.model import WordRange

Range = tuple[int, int]
_SIDES = ("left", "right")
_PUNCTUATION = frozenset(string.punctuation + "…–—’‘“”")
_GAP_MS, _SPOKEN_MS = 250, 150  # a pause; what must lie before it for a word to be said there
_PAUSE_MS = 900  # ends an utterance, also inside a sentence


@dataclass(frozen=True, slots=True)
class TimedWord:
    """A word as a pass heard it: tokens ``tokens[0] <= k < tokens[1]`` of the pass, times in ms of the recording."""

    text: str
    start_ms: int
    end_ms: int
    p: float
    tokens: WordRange


def split(engine: Engine, tokens: Sequence[int]) -> list[WordRange]:
    """Token ranges of the words: a token that begins with a space begins a word; punctuation stays with its word."""
    texts = [engine.text([token]) for token in tokens]
    starts = [k for k, text in enumerate(texts) if k == 0 or text.startswith(" ") or _after_side(texts, k)]
    pieces = list(zip(starts, [*starts[1:], len(tokens)], strict=True))
    joined: list[WordRange] = []
    for low, high in pieces:
        bare = all(c in _PUNCTUATION for c in engine.text(tokens[low:high]).strip())
        if bare and joined:
            joined[-1] = (joined[-1][0], high)
        else:
            joined.append((low, high))
    return joined


def _after_side(texts: Sequence[str], k: int) -> bool:
    """A hyphen ties a side to what follows ("left-tory collies"): the side is a word of its own."""
    return texts[k].startswith("-") and texts[k - 1].strip().lower() in _SIDES and texts[k - 1].startswith(" ")


def timed(
    engine: Engine, tokens: Sequence[int], laid: Alignment, start_ms: int, end_ms: int, speech: Sequence[Range]
) -> list[TimedWord]:
    """The words of a pass over the chunk ``start_ms..end_ms`` whose voice lies in ``speech`` (both in ms)."""
    words: list[TimedWord] = []
    clock = start_ms
    for low, high in split(engine, tokens):
        text = engine.text(tokens[low:high]).strip()
        text = text.lstrip("-") or text
        if not text:
            continue
        spoken = high
        while spoken > low + 1 and all(c in _PUNCTUATION for c in engine.text(tokens[spoken - 1 : spoken]).strip()):
            spoken -= 1
        frame = laid.start[spoken] if spoken < len(tokens) else laid.end_frame
        start, end = start_ms + int(laid.start[low]) * FRAME_MS, start_ms + int(frame) * FRAME_MS
        start, end = _to_voice(start, end, speech)
        start = min(max(start, clock), end_ms - 1)
        end = min(max(end, start + FRAME_MS), end_ms)
        clock = start
        words.append(TimedWord(text, start, end, round(float(np.mean(laid.p[low:spoken])), 4), (low, high)))
    return words


def _to_voice(start: int, end: int, speech: Sequence[Range]) -> Range:
    """Draw the ends of a word out of silence; a word that lies in no voice at all stays where it is."""
    touched = [(a, b) for a, b in speech if a < end and b > start]
    if not touched:
        return start, end
    low, high = touched[0]
    if len(touched) > 1 and touched[1][0] - high >= _GAP_MS:  # it has swallowed a pause: which side is it on?
        touched = touched[:1] if high - max(start, low) >= _SPOKEN_MS else touched[1:]
    return max(start, touched[0][0]), min(end, touched[-1][1])


def utterances(words: Sequence[tuple[str, int, int]], pause_ms: int = _PAUSE_MS) -> list[WordRange]:
    """Cut words (text, start, end in ms) after sentence ends and before pauses; consecutive ranges over all words."""
    cuts = [0]
    for k in range(1, len(words)):
        before, (_, start, _) = words[k - 1], words[k]
        if before[0][-1:] in ".?!" or start - before[2] >= pause_ms:
            cuts.append(k)
    return list(zip(cuts, [*cuts[1:], len(words)], strict=True)) if words else []
