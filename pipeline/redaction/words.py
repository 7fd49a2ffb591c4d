"""Words of a stretch taken out: of a transcript, where a mark keeps their place, and of texts that people typed."""

import re
from collections.abc import Iterable, Sequence
from typing import Any

from pipeline.model import Dropped, Stretch, Transcript, Word, WordRange

MARK = "[destroyed]"
QUOTED = 3  # words in a row that make a quote of the stretch
# Fields of events and notes that hold what people said or typed.
TEXTS = frozenset(
    [
        "text",
        "title",
        "reason",
        "action",
        "answer",
        "quote",
        "detail",
        "heard",
        "meant",
        "giver",
        "source_name",
        "left_open",
        "as_said",
        "written",
    ]
)
_WORD = re.compile(r"\w+(?:['’-]\w+)*")
_SHORTEST = 3  # letters of a word that may tell who was meant


def touched(transcript: Transcript, stretch: Stretch) -> list[Word]:
    """The words that a stretch holds, also in part; those that were destroyed before are none."""
    return [w for w in transcript.words if meet((w.start_ms, w.end_ms), stretch) and w.text != MARK]


def without(transcript: Transcript, stretch: Stretch, why: str) -> Transcript:
    """The transcript with a mark for each word of the stretch; all others keep their number and times.

    The marks are utterances of their own, so that nothing is read across them, and share the time out evenly. What else
    was kept of the stretch (other readings, samples' hashes, words that were dropped) goes too.
    """
    gone = {word.i for word in touched(transcript, stretch)}
    words = list(transcript.words)
    for i0, i1 in _runs(gone):
        start, length = words[i0].start_ms, max(w.end_ms for w in words[i0:i1]) - words[i0].start_ms
        for k, i in enumerate(range(i0, i1)):
            a, b = (start + length * n // (i1 - i0) for n in (k, k + 1))
            words[i] = Word(i, MARK, a, b, timing=words[i].timing, source="destroyed")
    lost = Dropped(start_ms=stretch[0], end_ms=stretch[1], reason=f"destroyed, because {why}")
    dropped = [
        d.model_copy(update={"text": ""}) if meet((d.start_ms, d.end_ms), stretch) else d for d in transcript.dropped
    ]
    return transcript.model_copy(
        update={
            "words": tuple(words),
            "utterances": tuple(_split(transcript.utterances, gone)),
            "chunks": tuple(
                c.model_copy(update={"pcm_sha256": ""}) if meet((c.start_ms, c.end_ms), stretch) else c
                for c in transcript.chunks
            ),
            "dropped": tuple(sorted([*dropped, lost], key=lambda d: d.start_ms)),
        }
    )


def cut_through(transcript: Transcript, stretch: Stretch) -> list[str]:
    """Sentences of which a part is left: what they say may be another thing then."""
    gone = {word.i for word in touched(transcript, stretch)}
    cut = [(i0, i1) for i0, i1 in transcript.utterances if 0 < len(gone.intersection(range(i0, i1))) < i1 - i0]
    return [transcript.quote(at) for at in cut]


class Mask:
    """Finds words of a stretch again in what was typed: quotes of it, and words that tell who or what was meant."""

    def __init__(self, said: Iterable[Sequence[str]], known: Iterable[str]) -> None:
        """said: what was said in the stretch, each version or reading in its order. known: words that tell nothing."""
        spoken = [_words(" ".join(texts)) for texts in said]
        ordinary = {word for text in known for word in _words(text)}
        self._rare = {w for words in spoken for w in words if len(w) >= _SHORTEST and w not in ordinary}
        self._quotes = {tuple(ws[k : k + QUOTED]) for ws in spoken for k in range(len(ws) - QUOTED + 1)}

    def text(self, text: str) -> str:
        """The text with a mark for each word or quote of the stretch in it."""
        found = list(_WORD.finditer(text))
        words = [match.group().casefold() for match in found]
        out = {k for k, word in enumerate(words) if word in self._rare or word.removesuffix("'s") in self._rare}
        for k in range(len(words) - QUOTED + 1):
            if tuple(words[k : k + QUOTED]) in self._quotes:
                out.update(range(k, k + QUOTED))
        for i0, i1 in reversed(list(_runs(out))):
            text = text[: found[i0].start()] + MARK + text[found[i1 - 1].end() :]
        return text

    def data(self, data: Any, *, free: bool = False) -> Any:
        """JSON data with the texts of people in it so treated (``TEXTS``); ids, codes and keys stay."""
        if isinstance(data, str):
            return self.text(data) if free else data
        if isinstance(data, dict):
            return {key: self.data(value, free=free or key in TEXTS) for key, value in data.items()}
        return [self.data(value, free=free) for value in data] if isinstance(data, list | tuple) else data


def readings(transcript: Transcript, stretch: Stretch) -> list[list[str]]:
    """What was said in a stretch, and whatever else was heard or meant there."""
    inside = touched(transcript, stretch)
    others = [[h.text] for w in inside for h in w.heard] + [[s.text] for w in inside for s in w.suggestions]
    dropped = [[d.text] for d in transcript.dropped if d.text and meet((d.start_ms, d.end_ms), stretch)]
    return [[w.text for w in inside], *others, *dropped]


def _words(text: str) -> list[str]:
    return [match.group().casefold() for match in _WORD.finditer(text)]


def meet(one: Stretch, other: Stretch) -> bool:
    """Whether two stretches share any time."""
    return one[0] < other[1] and other[0] < one[1]


def _runs(numbers: Iterable[int]) -> list[WordRange]:
    """Consecutive numbers as half-open ranges, in order."""
    runs: list[WordRange] = []
    for n in sorted(numbers):
        runs[-1:] = [(runs[-1][0], n + 1)] if runs and runs[-1][1] == n else [*runs[-1:], (n, n + 1)]
    return runs


def _split(utterances: Iterable[WordRange], gone: set[int]) -> list[WordRange]:
    """The utterances, parted where marks begin and end."""
    parts: list[WordRange] = []
    for i0, i1 in utterances:
        first = i0
        for i in range(i0 + 1, i1):
            if (i in gone) != (i - 1 in gone):
                parts.append((first, i))
                first = i
        parts.append((first, i1))
    return parts
