"""What is denied: the reach of negation cues.

A forward cue ("no", "isn't", "without") reaches to the next stop cue ("but", "so", "she is"), the end of the clause,
or a place where the caller says a new statement begins; commas and "or" do not end it. A backward cue ("X was ruled
out") reaches back eight tokens at most. A longer phrase that is no denial ("not only", "no wonder") masks the cue
inside it; a cue inside the very words it would deny never applies.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pipeline.extract.lexicon import CueReading, Hit, Lexicon
from pipeline.extract.tokens import Tokeniser
from pipeline.model import Word
from pipeline.vocabulary import Vocabulary

BACK = 8
_LEXICA: dict[str, Lexicon] = {}


@dataclass(frozen=True, slots=True)
class Scope:
    """Tokens ``a <= k < b`` are denied by the cue at ``cue``."""

    a: int
    b: int
    cue: tuple[int, int]


def scopes(hits: Sequence[Hit[CueReading]], a: int, b: int, breaks: Iterable[int] = ()) -> list[Scope]:
    """The reach of every negation cue inside the clause ``a <= k < b``. ``breaks``: where a new statement begins."""
    inside = [hit for hit in hits if a <= hit.a and hit.b <= b]
    stops = sorted({hit.a for hit in inside if hit.payloads[0].gives == "stop"} | set(breaks))
    found = []
    for hit in inside:
        cue = hit.payloads[0]
        if cue.gives != "not":
            continue
        if cue.dir == "forward":
            end = next((s for s in stops if s >= hit.b), b)
            found.append(Scope(hit.b, end, (hit.a, hit.b)))
        else:
            begin = max([a, hit.a - BACK, *(s for s in stops if s < hit.a)])
            found.append(Scope(begin, hit.a, (hit.a, hit.b)))
    return found


def negated_span(sentence: str, start: int, end: int, vocab: Vocabulary) -> bool:
    """Whether the characters ``start <= c < end`` of a sentence are denied. For the published negation set."""
    lexicon = _compiled(vocab)
    words, at = [], 0
    span: list[int] = []
    for i, part in enumerate(sentence.split()):
        at = sentence.index(part, at)
        if at < end and at + len(part) > start:
            span.append(i)
        words.append(Word(i, part, at, at + len(part)))
        at += len(part)
    tokens = lexicon.tokeniser(words)
    target = [k for k, token in enumerate(tokens) if token.word in span]
    if not target:
        return False
    a = max((k + 1 for k in range(target[0]) if tokens[k].stop in (".", "?")), default=0)
    b = next((k + 1 for k in range(target[-1], len(tokens)) if tokens[k].stop in (".", "?")), len(tokens))
    hits = lexicon.cues["negation"].find(range(len(tokens)), tokens)
    return any(
        scope.a <= target[0] and target[-1] < scope.b and scope.cue[0] not in target for scope in scopes(hits, a, b)
    )


def _compiled(vocab: Vocabulary) -> Lexicon:
    if vocab.hash not in _LEXICA:
        _LEXICA[vocab.hash] = Lexicon(vocab, Tokeniser(vocab))
    return _LEXICA[vocab.hash]
