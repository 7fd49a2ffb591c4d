"""Guards against speech that nobody spoke: loops, stock sentences in noise, words outside the voice.

Sources: invented text in about 1 % of segments, more with long pauses (arXiv 2402.08021); voice activity plus undoing
loops plus a list of stock phrases removes two thirds (arXiv 2501.11378).
"""

from collections import Counter
from collections.abc import Container, Sequence

from pipeline.hear.engine import Decoded, compression
from pipeline.hear.words import Range, TimedWord
from pipeline.model import Word

_MAX_RATE = 7.0  # words a second over a whole chunk: nobody speaks so fast
_MAX_REPEATS = 3  # of the same three words
_MAX_RATIO = 2.4
_SHORT_S, _UNSURE = 0.5, 0.5  # a stock line in so little voice, or so unsure, is taken for invented
_NO_SPEECH, _LOW = 0.6, -1.0  # both together: silence by the Whisper paper, section 4.5


def fault(decoded: Decoded, words: Sequence[TimedWord], speech: Sequence[Range], stock: Container[str]) -> str:
    """Why a pass over a chunk cannot be believed: "loop", "noise", "outside the voice"; "" where it can.

    ``stock``: lines that the model is known to invent, in plain words.
    """
    if not words:
        return ""
    plain = [word.text.lower().strip(".,?! ") for word in words]
    triples = Counter(zip(plain, plain[1:], plain[2:], strict=False))
    repeats = max(triples.values(), default=0)
    if compression(" ".join(plain)) > _MAX_RATIO or (repeats > _MAX_REPEATS and repeats * 3 > len(plain) / 3):
        return "loop"
    if decoded.no_speech > _NO_SPEECH and decoded.log_p < _LOW:
        return "noise"
    voiced = sum(b - a for a, b in speech) / 1000
    unsure = sum(word.p for word in words) / len(words) < _UNSURE
    if " ".join(plain) in stock and (unsure or voiced < _SHORT_S):
        return "noise"
    if len(words) > _MAX_RATE * max(voiced, 0.5) + 3:
        return "loop"
    outside = sum(not any(a < w.end_ms and b > w.start_ms for a, b in speech) for w in words)
    return "outside the voice" if outside > len(words) / 2 else ""


def holes(words: Sequence[TimedWord | Word], speech: Sequence[Range], shortest_ms: int) -> list[Range]:
    """Stretches of voice of at least ``shortest_ms`` on which no word lies, in ms of the recording."""
    found: list[Range] = []
    for low, high in speech:
        clock = low
        for word in words:
            if word.end_ms <= clock or word.start_ms >= high:
                continue
            if word.start_ms - clock >= shortest_ms:
                found.append((clock, word.start_ms))
            clock = max(clock, word.end_ms)
        if high - clock >= shortest_ms:
            found.append((clock, high))
    return found
