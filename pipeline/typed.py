"""A typed text as a transcript: its words are counted by invented "times", which nothing may show as times."""

import hashlib
import re

from pipeline.errors import InputError
from pipeline.model import SpeechModel, Transcript, Word

LONGEST_TEXT = 200_000  # characters
_WORD_MS = 500
_PAUSE_MS = 1000  # between sentences, so that each is an utterance of its own
_SENTENCE = re.compile(r"(?<=[.!?;])\s+|\n+")
_KEPT = "\n\t"


def typed_transcript(text: str, occasion: str) -> Transcript:
    """The words of a typed text; an utterance a sentence or a line.

    occasion: for what and when it was typed, so that one text typed twice gives two transcripts. Raises InputError
    where it holds no word, is too long, or holds control characters.
    """
    if len(text) > LONGEST_TEXT:
        raise InputError(f"the text is longer than {LONGEST_TEXT} characters; that is no note of one visit.")
    plain = text.replace("\r\n", "\n").replace("\ufeff", "")
    if any(not c.isprintable() and c not in _KEPT for c in plain):
        raise InputError("the text holds control characters; save it as plain text (UTF-8).")
    words: list[Word] = []
    utterances: list[tuple[int, int]] = []
    clock = 0
    for sentence in _SENTENCE.split(plain):
        first = len(words)
        for token in sentence.split():
            words.append(Word(len(words), token, clock, clock + _WORD_MS, timing="cue", source="typed"))
            clock += _WORD_MS
        if len(words) > first:
            utterances.append((first, len(words)))
            clock += _PAUSE_MS
    if not any(c.isalnum() for word in words for c in word.text):
        raise InputError("the text holds no words.")
    digest = hashlib.sha256(f"{occasion}\n{text}".encode()).hexdigest()
    return Transcript(
        id=digest[:26],
        recording=digest,
        model=SpeechModel(name="typed by hand", sha256=digest),
        words=tuple(words),
        utterances=tuple(utterances),
        duration_ms=clock,
    )
