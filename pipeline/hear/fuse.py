"""Two passes made one: the free pass is the skeleton, trade terms from the hotword passes are put in where they stand.

Nothing that the free pass heard is dropped for anything but a trade term that the sound bears out; a side, a number, a
level or a denial is never replaced.
"""

from collections.abc import Container, Sequence
from dataclasses import dataclass, replace

from rapidfuzz.distance import Levenshtein

from pipeline.hear.score import ChunkScorer, bare, dressed, spoken
from pipeline.hear.terms import Terms, plain
from pipeline.hear.words import TimedWord
from pipeline.model import Heard, Suggestion, Word, WordRange
from pipeline.sound import is_known, likenesses

_ALIKE = 0.55  # similarity of sound below which a term cannot stand for what was heard
_LONGER = 3  # words of the free pass that a term may take up beyond its own number
_BESIDE, _SMALL = 2, 3  # words of the hotword pass beside a term that may be changed with it, and their letters
_SURE = 0.4  # probability of a term put where the free pass heard nothing
_APART_MS = 1000  # a term and what it replaces may lie this far apart: passes time rare words badly

# Margins needed, in nats; set on the tuned half of benchmarks/hearing.py. In talk of an examination (two trade terms at
# least that the free pass heard, or heard as no word at all) the more alike two wordings sound, the less the sound can
# tell of them, so a term may be less likely by _SLOPE for each 1.0 of similarity above _FROM.
_CLINICAL = 2
_REAL, _UNKNOWN, _SLOPE, _FROM = -6.0, -12.0, 50.0, 0.6
_STRICT_REAL, _STRICT_UNKNOWN = -2.0, -8.0  # elsewhere
_NAMED_P, _HALF = 0.9, -12.0  # heard well; for a term that the hotword pass heard by half
_DOUBT, _DOUBTED_P = 10.0, 0.6  # nats less for each 1.0 of probability that a word was heard with below this


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a term of the hotword pass may stand in the skeleton, and how alike it sounds to what stands there."""

    i0: int
    i1: int
    alike: float


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
        words = _fuse_one(words, *terms.straightened(hot), terms, scorer, kept)
    clock = 0
    for i, word in enumerate(words):  # passes differ by some frames: order goes before
        start = max(word.start_ms, clock)
        words[i] = replace(word, i=i, start_ms=start, end_ms=max(word.end_ms, start + 1))
        clock = start
    return words


def _word(word: TimedWord, source: str, heard: tuple[Heard, ...] = ()) -> Word:
    return Word(0, word.text, word.start_ms, word.end_ms, word.p, source=source, heard=heard)  # type: ignore[arg-type]


def _fuse_one(
    words: list[Word],
    hot: Sequence[TimedWord],
    half: Container[int],
    terms: Terms,
    scorer: ChunkScorer,
    kept: frozenset[str],
) -> list[Word]:
    ours, theirs = [plain(w.text) for w in words], [terms.canonical(plain(w.text)) for w in hot]
    same = _same(ours, [plain(w.text) for w in hot])
    words = [replace(w, agree=w.agree is not False and i in same) for i, w in enumerate(words)]
    anchors = {b: a for a, b in _same(ours, theirs).items()}
    found = [(at, _place(ours, theirs, words, hot, anchors, at, kept)) for at in terms.find(theirs)]
    strange = sum(p is not None and p.i1 > p.i0 and p.alike >= 0.85 and not _real(ours[p.i0 : p.i1]) for _, p in found)
    standing = terms.find(ours)
    named = {i for i0, i1 in standing for i in range(i0, i1)}
    clinical = scorer.clinical = terms.speaks_of(ours) + strange >= _CLINICAL
    out: list[Word] = []
    done = 0
    text = [w.text for w in words]
    for at, place in found:
        if place is None or place.i0 < done or ours[place.i0 : place.i1] == theirs[at[0] : at[1]]:
            continue
        for (j0, j1), tried in ((at, place), _widened(at, place, ours, theirs, anchors, kept)):
            i0, i1 = tried.i0, tried.i1
            new = [replace(w, text=terms.written(t)) for w, t in zip(hot[j0:j1], theirs[j0:j1], strict=True)]
            needed = 0.0
            if i0 < i1:
                least = min(w.p for w in words[i0:i1])
                real = _real(ours[i0:i1])
                needed = _needed(tried.alike, real, clinical)
                needed -= _DOUBT * max(0.0, _DOUBTED_P - least) if clinical or not real else 0.0
                if any(words[i].p >= _NAMED_P for i in range(i0, i1) if i in named):
                    needed = max(needed, _STRICT_REAL)  # a term that was heard well stands there
                if any(j in half for j in range(j0, j1)):
                    needed = max(needed, _HALF if clinical else _STRICT_REAL)
            margin = scorer.change(text, i0, i1, [w.text for w in new], enough=needed)
            if margin >= needed:
                break
        if margin >= needed:
            out += words[done:i0]
            out += _put(words[i0:i1], new, margin)
        elif i1 > i0:
            note = Suggestion(" ".join(w.text for w in new), "heard so with the trade's words in mind", 0.3)
            out += words[done:i0]
            out += [replace(words[i0], suggestions=(*words[i0].suggestions, note)), *words[i0 + 1 : i1]]
        else:
            continue
        done = i1
    return out + words[done:]


def _same(ours: Sequence[str], theirs: Sequence[str]) -> dict[int, int]:
    """Words that both have, in order: index in ours -> index in theirs."""
    return {
        a: b
        for step in Levenshtein.opcodes(ours, theirs)
        if step.tag == "equal"
        for a, b in zip(range(step.src_start, step.src_end), range(step.dest_start, step.dest_end), strict=True)
    }


def _place(
    ours: Sequence[str],
    theirs: Sequence[str],
    words: Sequence[Word],
    hot: Sequence[TimedWord],
    anchors: dict[int, int],
    at: tuple[int, int],
    kept: frozenset[str],
) -> _Place | None:
    """Of the skeleton's words between the neighbours that both passes share: those that sound most like the term."""
    j0, j1 = at
    new = hot[j0:j1]
    low = max((a + 1 for b, a in anchors.items() if b < j0), default=0)
    high = min((a for b, a in anchors.items() if b >= j1), default=len(ours))
    inside = [anchors[b] for b in range(j0, j1) if b in anchors]
    if low >= high:
        sure = min(w.p for w in new) > _SURE and _room(words, low, new)
        return _Place(low, low, 1.0) if sure and not any(w in kept for w in theirs[j0:j1]) else None
    spans = [
        (i0, i1)
        for i0 in range(low, high)
        for i1 in range(i0 + 1, min(high, i0 + j1 - j0 + _LONGER) + 1)
        if all(i0 <= i < i1 for i in inside)
        and not _changes(ours[i0:i1], theirs[j0:j1], kept)
        and words[i1 - 1].end_ms >= new[0].start_ms - _APART_MS
        and words[i0].start_ms <= new[-1].end_ms + _APART_MS
    ]
    alike = likenesses(spoken(theirs[j0:j1]), [spoken(ours[i0:i1]) for i0, i1 in spans])
    best = max((_Place(*span, a) for span, a in zip(spans, alike, strict=True)), key=lambda p: p.alike, default=None)
    return best if best is not None and best.alike >= _ALIKE else None


def _widened(
    at: WordRange,
    place: _Place,
    ours: Sequence[str],
    theirs: Sequence[str],
    anchors: dict[int, int],
    kept: frozenset[str],
) -> tuple[WordRange, _Place]:
    """The term with the small words beside it that the passes heard otherwise too; as it was where there are none.

    "Sternoclade amass way to softer" is "sternocleidomastoid is softer": the small word belongs to the change.
    """
    j0 = max((b + 1 for b in anchors if b < at[0]), default=0)
    j1 = min((b for b in anchors if b >= at[1]), default=len(theirs))
    i0 = max((a + 1 for b, a in anchors.items() if b < at[0]), default=0)
    i1 = min((a for b, a in anchors.items() if b >= at[1]), default=len(ours))
    beside = (*theirs[j0 : at[0]], *theirs[at[1] : j1])
    if not 0 < len(beside) <= _BESIDE or any(len(word) > _SMALL for word in beside) or place.i0 == place.i1:
        return at, place
    if not (i0 <= place.i0 and place.i1 <= i1 <= i0 + j1 - j0 + _LONGER) or any(at[0] <= b < at[1] for b in anchors):
        return at, place
    if (i0, i1) == (place.i0, place.i1) or _changes(ours[i0:i1], theirs[j0:j1], kept):
        return at, place
    return (j0, j1), _Place(i0, i1, likenesses(spoken(theirs[j0:j1]), [spoken(ours[i0:i1])])[0])


def _room(words: Sequence[Word], at: int, new: Sequence[TimedWord]) -> bool:
    """True where the words before and after leave at least 70 % of the time to a term put between them."""
    low, high = new[0].start_ms, new[-1].end_ms
    free_low = max(low, words[at - 1].end_ms) if at else low
    free_high = min(high, words[at].start_ms) if at < len(words) else high
    return free_high - free_low >= 0.7 * (high - low)


def _changes(old: Sequence[str], new: Sequence[str], kept: frozenset[str]) -> bool:
    """True where a side, number or denial would be lost, gained or changed."""
    return [w for w in old if w in kept or _numeric(w)] != [w for w in new if w in kept or _numeric(w)]


def _numeric(word: str) -> bool:
    return any(c.isdigit() for c in word)


def _real(words: Sequence[str]) -> bool:
    return all(is_known(word) for word in words if word)


def _needed(alike: float, real: bool, clinical: bool) -> float:
    if not clinical:
        return _STRICT_REAL if real else _STRICT_UNKNOWN
    return (_REAL if real else _UNKNOWN) - _SLOPE * max(0.0, alike - _FROM)


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
