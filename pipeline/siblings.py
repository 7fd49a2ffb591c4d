"""Where the words of a recording go over to another infant ("now her brother")."""

import re
from collections.abc import Iterable, Iterator, Sequence

from pipeline.model import Frozen, Span, Transcript, span_of
from pipeline.vocabulary import Cue

NEAR = 3  # words between an opener ("now") and the sibling ("her brother") at most
_LETTERS = re.compile(r"[^\w']+")


class Cut(Frozen):
    """A place where a recording may go over to another infant: its time and the words that say so.

    plain: they can hardly mean anything else ("the other one" may be the other hip).
    """

    span: Span
    plain: bool

    @property
    def at_ms(self) -> int:
        """Where the words begin."""
        return self.span.start_ms

    @property
    def quote(self) -> str:
        """The words that say so."""
        return self.span.quote


def cuts_in(transcript: Transcript, cues: Iterable[Cue], names: Iterable[str] = ()) -> tuple[Cut, ...]:
    """Where an opener ("now") is followed, within a few words, by a sibling ("her brother") or a known name."""
    openers: list[tuple[str, ...]] = []
    siblings = {tuple(name.lower().split()): True for name in names}
    for cue in cues:
        forms = [tuple(_LETTERS.sub(" ", form).split()) for form in cue.say]
        if cue.gives == "opener":
            openers += forms
        else:
            siblings |= dict.fromkeys(forms, cue.gives == "sibling")
    words = [_LETTERS.sub("", word.text.lower()).removesuffix("'s") for word in transcript.words]
    cuts: list[Cut] = []
    for i0, i1 in transcript.utterances:
        for start, opened in _hits(words, openers, range(i0, i1)):
            near = range(opened, min(opened + NEAR, i1))
            found = [(end, at) for at, end in _hits(words, tuple(siblings), near) if end <= i1]
            if found:
                end, at = max(found)
                cuts.append(Cut(span=span_of(transcript.words, start, end), plain=siblings[tuple(words[at:end])]))
                break
    return tuple(cuts)


def turns_in(transcript: Transcript, cues: Iterable[Cue]) -> tuple[Span, ...]:
    """The words that plainly go over to a sibling."""
    return tuple(cut.span for cut in cuts_in(transcript, cues) if cut.plain)


def _hits(words: Sequence[str], forms: Sequence[tuple[str, ...]], starts: Iterable[int]) -> Iterator[tuple[int, int]]:
    """Where a form begins and where it ends; the longest form at each place."""
    for start in starts:
        ends = [start + len(form) for form in forms if form and tuple(words[start : start + len(form)]) == form]
        if ends:
            yield start, max(ends)
