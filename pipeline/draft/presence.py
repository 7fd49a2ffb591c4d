"""Who was present: heard or named as a source, or said to be there (vocab/wording/presence.yaml); nobody else."""

import re
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache

from pipeline.draft.wording import Wording
from pipeline.model import Item, Line, Span, Transcript, span_of
from pipeline.patterns import fill

_ENDS = (".", "?", "!", ",", ";")
_PLAIN = re.compile(r"[^\w']+")


def present_lines(items: Iterable[Item], transcript: Transcript, wording: Wording) -> tuple[Line, ...]:
    """One line a person in the order of the recording, with the words that tell."""
    found: dict[str, Line] = {}
    for item in sorted(items, key=lambda item: item.start_ms):
        role = str(item.source_role)
        if role in wording.words["present"] and role not in found:
            found[role] = _line(role, "present", wording, item.evidence, (item.id,))
    for role, span in _said(transcript, wording):
        if role not in found or found[role].spans[0].start_ms > span.start_ms:
            found[role] = _line(role, "present_said", wording, (span,), ())
    return tuple(sorted(found.values(), key=lambda line: line.spans[0].start_ms))


def _line(role: str, pattern: str, wording: Wording, spans: tuple[Span, ...], items: tuple[str, ...]) -> Line:
    text = fill(wording.word("line", pattern), {"who": wording.word("present", role)})
    return Line(id=f"present:{role}", text=text, items=items, spans=spans)


def _said(transcript: Transcript, wording: Wording) -> Iterator[tuple[str, Span]]:
    """Every wording that stands in the words, unless "if" or the like stands before it in its part of the sentence."""
    listed = wording.presence
    words = [_tokens(word.text) for word in transcript.words]
    tokens = [token for parts in words for token in parts]
    at = [i for i, parts in enumerate(words) for _ in parts]
    places: dict[str, list[int]] = {}
    for i, token in enumerate(tokens):
        places.setdefault(token, []).append(i)
    for role, people in listed.items():
        if role in ("wordings", "before"):
            continue
        for wanted in (w.replace("{who}", who).split() for w in listed["wordings"] for who in people):
            for start in places.get(wanted[0], ()):
                if tokens[start : start + len(wanted)] != wanted:
                    continue
                first, last = at[start], at[start + len(wanted) - 1]
                if not _conditional(transcript, first, listed["before"]):
                    yield role, span_of(transcript.words, first, last + 1)


def _conditional(transcript: Transcript, first: int, before: Sequence[str]) -> bool:
    part: list[str] = []
    for word in reversed(transcript.words[:first]):
        if word.text.endswith(_ENDS):
            break
        part += _tokens(word.text)
    said = f" {' '.join(reversed(part))} "
    return any(f" {word} " in said for word in before)


@lru_cache(maxsize=4096)
def _tokens(text: str) -> tuple[str, ...]:
    """A word in small letters, "mum's" as two."""
    plain = _PLAIN.sub(" ", text.lower().replace("’", "'")).strip(" '")
    return tuple(plain.replace("'s", " 's").split())
