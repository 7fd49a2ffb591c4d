"""Helpers of the extraction tests: a narration from spoken sentences, and its items as short lines."""

from collections.abc import Iterable
from functools import cache

from pipeline.extract import Extractor
from pipeline.model import Age, Extraction, Item, SpeechModel, Transcript, Word
from pipeline.vocabulary import Vocabulary, load_vocabulary

WORD_MS = 300
PAUSE_MS = 200  # between utterances: shorter than the pause that ends a sentence by itself


@cache
def vocabulary() -> Vocabulary:
    """The vocabulary of the program, loaded once."""
    return load_vocabulary()


@cache
def extractor() -> Extractor:
    """The extractor of the whole suite, built once."""
    return Extractor(vocabulary())


def narration(*utterances: str | Iterable[str], pause_ms: int = PAUSE_MS) -> Transcript:
    """A transcript of utterances in order, each a sentence or its words; ``pause_ms`` of silence between them."""
    words: list[Word] = []
    ranges: list[tuple[int, int]] = []
    clock = 0
    for utterance in utterances:
        first = len(words)
        for text in utterance.split() if isinstance(utterance, str) else utterance:
            words.append(Word(i=len(words), text=text, start_ms=clock, end_ms=clock + WORD_MS))
            clock += WORD_MS
        clock += pause_ms
        ranges.append((first, len(words)))
    return Transcript(
        id="narration",
        recording="narration",
        model=SpeechModel(name="given transcript", sha256=""),
        words=tuple(words),
        utterances=tuple(r for r in ranges if r[0] < r[1]),
        duration_ms=clock,
    )


def read(*utterances: str, age: Age | None = None) -> Extraction:
    """What the extractor makes of the utterances."""
    return extractor().extract(narration(*utterances), age=age)


def line(item: Item) -> str:
    """Concept, site, side, level, result or value, space between; what is not said is left out."""
    said = (
        item.concept,
        item.site,
        item.side if item.side != "none" else None,
        item.level,
        item.result if item.value is None else f"{item.value:g} {item.unit}",
    )
    return " ".join(part for part in said if part)


def lines(*utterances: str) -> list[str]:
    """The items of the utterances as short lines, in spoken order."""
    return [line(item) for item in read(*utterances).items]


def the_item(*utterances: str) -> Item:
    """The one item that the utterances give."""
    (item,) = read(*utterances).items
    return item
