"""The words around a line as the page shows them."""

from pipeline.model import Frozen, Transcript, Word
from pipeline.records import Drafted

UNSURE_BELOW = 0.5  # as the draft marks them
AROUND = 1  # utterances before and after
MOST = 400  # words shown at once


class HeardWord(Frozen):
    """One word: its time, whether heard unsurely or put right, what else was heard, the lines that rest on it."""

    i: int
    text: str
    start_ms: int
    end_ms: int
    unsure: bool
    edited: bool
    other: str
    lines: tuple[str, ...]


def words_around(drafted: Drafted, i0: int, i1: int) -> tuple[HeardWord, ...]:
    """The words of the utterances that hold ``i0 <= i < i1``, and of their neighbours; at most ``MOST``."""
    words = drafted.transcript
    a, b = _bounds(words, i0, i1)
    resting: dict[int, list[str]] = {}
    for item in drafted.extraction.items:
        for span in item.evidence:
            for i in range(max(span.words[0], a), min(span.words[1], b)):
                resting.setdefault(i, []).append(item.id)
    return tuple(
        HeardWord(
            i=word.i,
            text=word.text,
            start_ms=word.start_ms,
            end_ms=word.end_ms,
            unsure=word.source != "edited" and (word.p < UNSURE_BELOW or bool(word.flags)),
            edited=word.source == "edited",
            other=_other(word),
            lines=tuple(dict.fromkeys(resting.get(word.i, ()))),
        )
        for word in words.words[a:b]
    )


def _other(word: Word) -> str:
    texts = [heard.text for heard in word.heard] + [suggestion.text for suggestion in word.suggestions]
    return ", ".join(dict.fromkeys(text for text in texts if text != word.text))


def _bounds(words: Transcript, i0: int, i1: int) -> tuple[int, int]:
    count = len(words.words)
    i0, i1 = min(max(i0, 0), count), min(max(i1, i0), count)
    inside = [k for k, (a, b) in enumerate(words.utterances) if a < max(i1, i0 + 1) and b > i0]
    if not inside:
        return i0, min(i1, i0 + MOST)
    first, last = max(inside[0] - AROUND, 0), min(inside[-1] + AROUND, len(words.utterances) - 1)
    a, b = words.utterances[first][0], words.utterances[last][1]
    return a, min(b, a + MOST)
