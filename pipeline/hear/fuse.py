"""Two passes made one: the free pass is the skeleton, trade terms from the hotword passes are put in where they stand.

Nothing that the free pass heard is dropped for anything but a trade term that the sound bears out; a side, a number, a
level or a denial is never replaced.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from rapidfuzz.distance import Levenshtein, Opcodes

from pipeline.hear.score import ChunkScorer, bare, dressed
from pipeline.hear.terms import Terms, plain
from pipeline.hear.words import TimedWord
from pipeline.model import Heard, Suggestion, Word
from pipeline.sound import is_known, similarity, sounds_of

_ALIKE = 0.55  # similarity of sound below which a term cannot stand for what was heard
_REAL, _UNKNOWN = -4.0, -10.0  # margins needed over English words, and over words that are none
_SURE = 0.4  # probability of a term put where the free pass heard nothing
_MORE = 1  # words of the free pass that a term may take up beyond its own number


@dataclass(frozen=True, slots=True)
class _Change:
    i0: int
    i1: int
    new: tuple[TimedWord, ...]


def fuse(
    free: Sequence[TimedWord],
    passes: Sequence[Sequence[TimedWord]],
    terms: Terms,
    scorer: ChunkScorer,
    kept: frozenset[str],
) -> list[Word]:
    """The words of a chunk. ``passes``: hotword passes; ``kept``: plain words that are never replaced or put in.

    A word that all passes heard alike carries ``agree``; where they differ, every reading is in ``heard``. A change
    that the sound does not bear out becomes a suggestion. Times stay in the recording's milliseconds.
    """
    words = [_word(w, "free") for w in free]
    for hot in passes:
        words = _fuse_one(words, hot, terms, scorer, kept)
    clock = 0
    for i, word in enumerate(words):  # passes differ by some frames: order goes before
        start = max(word.start_ms, clock)
        words[i] = replace(word, i=i, start_ms=start, end_ms=max(word.end_ms, start + 1))
        clock = start
    return words


def _word(word: TimedWord, source: str, heard: tuple[Heard, ...] = ()) -> Word:
    return Word(0, word.text, word.start_ms, word.end_ms, word.p, source=source, heard=heard)  # type: ignore[arg-type]


def _fuse_one(
    words: list[Word], hot: Sequence[TimedWord], terms: Terms, scorer: ChunkScorer, kept: frozenset[str]
) -> list[Word]:
    ours, theirs = [plain(w.text) for w in words], [plain(w.text) for w in hot]
    steps = Levenshtein.opcodes(ours, theirs)
    same = {i for s in steps if s.tag == "equal" for i in range(s.src_start, s.src_end)}
    words = [replace(w, agree=w.agree is not False and i in same) for i, w in enumerate(words)]
    out: list[Word] = []
    done = 0
    text = [w.text for w in words]
    for j0, j1 in terms.find(theirs):
        i0, i1 = _range(steps, j0, j1)
        i0, i1 = _to_time(words, i0, i1, hot[j0:j1])
        if i0 == i1 and not _room(words, i0, hot[j0:j1]):
            continue
        if i0 < done or ours[i0:i1] == theirs[j0:j1] or _kept(ours[i0:i1], theirs[j0:j1], kept):
            continue
        new = hot[j0:j1]
        verdict = _judge(words[i0:i1], new, ours[i0:i1], theirs[j0:j1])
        if verdict is None:
            continue
        margin = scorer.change(text, i0, i1, [w.text for w in new])
        if margin >= verdict:
            out += words[done:i0]
            out += _put(words[i0:i1], new, margin)
        elif i1 > i0:
            note = Suggestion(" ".join(theirs[j0:j1]), "heard so with the trade's words in mind", 0.3)
            out += words[done:i0]
            out += [replace(words[i0], suggestions=(*words[i0].suggestions, note)), *words[i0 + 1 : i1]]
        else:
            continue
        done = i1
    return out + words[done:]


def _range(steps: Opcodes, j0: int, j1: int) -> tuple[int, int]:
    """The words of the skeleton that stand opposite ``j0..j1`` of a hotword pass."""
    low, high = None, 0
    for s in steps:
        if s.dest_end <= j0 and not (s.dest_start == s.dest_end == j0):
            continue
        if s.dest_start >= j1:
            break
        if s.tag == "equal":
            a = s.src_start + max(0, j0 - s.dest_start)
            b = s.src_end - max(0, s.dest_end - j1)
        else:
            a, b = s.src_start, s.src_end
        low = a if low is None else min(low, a)
        high = max(high, b)
    return (low or 0), max(high, low or 0)


def _to_time(words: Sequence[Word], i0: int, i1: int, new: Sequence[TimedWord]) -> tuple[int, int]:
    """Of the words opposite, those whose middle lies in the time of the new ones (ends of a replaced run may not)."""
    low, high = new[0].start_ms - 120, new[-1].end_ms + 120
    while i0 < i1 and not low <= (words[i0].start_ms + words[i0].end_ms) / 2 <= high:
        i0 += 1
    while i1 > i0 and not low <= (words[i1 - 1].start_ms + words[i1 - 1].end_ms) / 2 <= high:
        i1 -= 1
    return i0, i1


def _room(words: Sequence[Word], at: int, new: Sequence[TimedWord]) -> bool:
    """True where the words before and after leave at least 70 % of the time to a term put between them."""
    low, high = new[0].start_ms, new[-1].end_ms
    free_low = max(low, words[at - 1].end_ms) if at else low
    free_high = min(high, words[at].start_ms) if at < len(words) else high
    return free_high - free_low >= 0.7 * (high - low)


def _kept(old: Sequence[str], new: Sequence[str], kept: frozenset[str]) -> bool:
    """True where a side, number or denial would be lost, gained or changed."""
    return [w for w in old if w in kept or _numeric(w)] != [w for w in new if w in kept or _numeric(w)]


def _numeric(word: str) -> bool:
    return any(c.isdigit() for c in word)


def _judge(old: Sequence[Word], new: Sequence[TimedWord], ours: Sequence[str], theirs: Sequence[str]) -> float | None:
    """The margin that a change needs; None where it is out of the question."""
    if not old:
        return 0.0 if min(w.p for w in new) > _SURE else None  # _fuse_one has seen that there is room
    if len(old) > len(new) + _MORE + 2:
        return None
    if similarity(_sound(ours), _sound(theirs)) < _ALIKE:
        return None
    return _REAL if all(is_known(word) for word in ours if word) else _UNKNOWN


def _sound(words: Sequence[str]) -> str:
    return "".join(sounds[0] for word in words if (sounds := sounds_of(word)))


def _put(old: Sequence[Word], new: Sequence[TimedWord], margin: float) -> list[Word]:
    texts = dressed([bare(w.text) for w in new], [w.text for w in old])
    heard = tuple(h for w in old for h in (w.heard or (Heard("free", w.text, w.p),)))
    put = []
    for k, (word, text) in enumerate(zip(new, texts, strict=True)):
        first = (*heard, Heard("hot", " ".join(w.text for w in new), min(w.p for w in new))) if k == 0 else ()
        put.append(replace(_word(word, "hot", first), text=text, agree=False, margin=round(margin, 2)))
    if old:  # inside the time of what was heard, so that order holds
        put[0] = replace(put[0], start_ms=min(put[0].start_ms, old[0].start_ms))
    return put
