"""Candidates far looser than likeness alone could answer for: only a scorer of the sound may let them hold.

What was heard with little certainty, or is no known term, is held against all terms of the vocabulary; "gagry flexes"
may be "gag reflex is", so a term may also swallow a small word beside it.
"""

from collections.abc import Iterator, Sequence

from pipeline.model import Transcript
from pipeline.repair.compiling import LONGEST, Target
from pipeline.repair.propose import Proposal, changed_part, is_form_of
from pipeline.repair.targets import Lexicon, lexicon_of
from pipeline.repair.tokens import Around, Token, tokens_of
from pipeline.sound import similarities, similarity, sound_of, table_of
from pipeline.vocabulary import Vocabulary

_LONGEST_HEARD, _SHORTEST_SOUND, _LONGEST_SOUND = 5, 3, 28
_TARGETS = 3  # a stretch
_OVERLAPPING = 4  # candidates that may share a word
_JOINED_GAIN = 0.04  # how much more alike a term must be with a small word beside it
_NAMED_P, _UNSURE_P = 0.9, 0.7  # a term that stands there is doubted below the one, beside a word below the other
_LOST_PAY, _HEARD_P = 4.0, 0.8  # nats for a small word at an end that was heard with so much, and would be lost
_PLURAL, _SAME, _SURE_WORTH = "es", 0.95, 2.0
_TOLD_P = 0.9  # another word heard so clearly would be lost as well
_UNHELD_PAY = 3.0  # nats, where no word of the term stands beside what changes
_NO_MORE = 0.02  # in likeness
_STEM = 5  # letters that two forms of a word share
_STRANGE_GAIN = 0.1  # in likeness, for words that are none
_CHANGED_ALIKE, _CHANGED_GAIN = 0.5, 0.15  # how like the part of a longer term that changes must be by itself
_RESULT_GAIN, _RESULT_REACH, _TESTS = 0.1, 2, ("test.", "reflex.")  # in likeness, for what has such a result
_CHAT_PAY = 0.12  # in likeness, where nothing around speaks of an examination
_EVERYDAY_PAY, _UNSURE_GAIN = 0.1, 0.3  # in likeness, where there are more candidates than can be scored


def propose_loosely(transcript: Transcript, vocab: Vocabulary) -> tuple[Proposal, ...]:
    """The likeliest changes that are worth a look at the sound, best first, at most ``loose_most`` for each minute.

    They may overlap; each must reach its own margin (``Proposal.pay`` above the usual one).
    """
    lexicon = lexicon_of(vocab)
    tokens = tokens_of(transcript, lexicon)
    around = Around(tokens, lexicon.rules.figures.reach)
    stretches = [s for span in transcript.utterances for s in _stretches(tokens, span)]
    sounds = [sound for *_, sound in stretches]
    found: list[tuple[float, Proposal]] = []
    floor, results = lexicon.rules.figures.loose, lexicon.rules.words["results"]
    for (i0, i1, _), near in zip(stretches, lexicon.nearest(sounds, floor - _STRANGE_GAIN, _TARGETS), strict=True):
        strange = all(token.ordinary == "unknown" or token.edge for token in tokens[i0:i1])
        tested = any(token.text in results for token in tokens[i1 : i1 + _RESULT_REACH])
        least_alike = floor - _STRANGE_GAIN * strange + (_CHAT_PAY if around.weight(i0, i1) <= 0 else 0.0)
        for alike, target in near:
            alike += _RESULT_GAIN * (tested and target.id.startswith(_TESTS))
            made = None if alike < least_alike else _proposal(tokens, i0, i1, target, alike, lexicon)
            if made is not None:
                part = tokens[made.words[0] : made.words[1]]
                everyday = all(token.ordinary == "common" for token in part)
                worth = min(alike, _alike(part, made.meant) + _CHANGED_GAIN)
                worth += _STRANGE_GAIN * strange - _EVERYDAY_PAY * everyday
                found.append((worth + _UNSURE_GAIN * (1 - _least(part)), made))
    found += [(_SURE_WORTH, made) for span in transcript.utterances for made in _contracted(tokens, span, lexicon)]
    return _best(found, transcript, lexicon)


def _contracted(tokens: Sequence[Token], span: tuple[int, int], lexicon: Lexicon) -> Iterator[Proposal]:
    """ "Stepping reflexes present" sounds like "stepping reflex is present": a named thing, "is" and what it is."""
    words = lexicon.rules.words
    for i in range(span[0], span[1] - 1):
        token, after = tokens[i], tokens[i + 1]
        one = token.text.removesuffix(_PLURAL)
        if one == token.text or token.stop:
            continue
        if similarity(sound_of(one) + sound_of("is"), token.sound) < _SAME:
            continue
        told = after.text in words["results"] or (after.text in words["examining"] and not after.edge)
        names = ([*(t.text for t in tokens[k:i]), one] for k in range(max(span[0], i - LONGEST), i))
        if told and any(all(lexicon.standing(name)) for name in names):
            yield Proposal(
                words=(i, i + 1),
                heard=tokens[i].text,
                meant=f"{one} is",
                id="",
                score=0.0,
                kind="suggest",
                reason=f"sounds like {one + ' is'!r}",
            )


def _stretches(tokens: Sequence[Token], span: tuple[int, int]) -> Iterator[tuple[int, int, str]]:
    """Runs of one to five words that may be touched, without a stop inside, and their sound."""
    for i0 in range(*span):
        sound, telling = "", False
        for i1 in range(i0 + 1, min(i0 + _LONGEST_HEARD, span[1]) + 1):
            token = tokens[i1 - 1]
            if token.barred:
                break
            sound += token.sound
            telling = telling or not token.edge
            if telling and _SHORTEST_SOUND <= len(sound) <= _LONGEST_SOUND:
                yield i0, i1, sound
            if token.stop:
                break


def _proposal(
    tokens: Sequence[Token], i0: int, i1: int, target: Target, alike: float, lexicon: Lexicon
) -> Proposal | None:
    rules, heard = lexicon.rules, [token.text for token in tokens[i0:i1]]
    meant = _joined(tokens[i0:i1], target, alike, lexicon)
    other = "".join(heard).replace("-", "") != target.text.replace(" ", "")
    start, end, meant = changed_part(heard, meant)
    heard, part = heard[start:end], tokens[i0 + start : i0 + end]
    old, new = f" {' '.join(heard)} ", f" {' '.join(meant)} "
    if old in new or new in old or not other:
        return None  # only a small word more or less, or written otherwise
    if all(token.edge for token in part) or _alike(part, " ".join(meant)) < _CHANGED_ALIKE:
        return None
    if any(rules.is_guarded(word) or rules.opposites.get(word) for word in meant) or is_form_of(part, meant, alike):
        return None
    if _stands(part, meant, lexicon) or all(word in rules.words["edges"] for word in meant):
        return None
    least = _least(part)
    pay = rules.figures.loose_sure * max(0.0, least - rules.figures.loose_unsure) + _LOST_PAY * _lost(part, meant)
    pay += _UNHELD_PAY if end - start == i1 - i0 else 0.0
    return Proposal(
        words=(i0 + start, i0 + end),
        heard=" ".join(heard),
        meant=" ".join(meant),
        id=target.id,
        score=0.0,
        kind="suggest",
        reason=f"sounds a little like {target.text!r}",
        pay=round(pay, 2),
    )


def _lost(part: Sequence[Token], meant: Sequence[str]) -> int:
    """Words heard well that would be lost: small ones at an end, and others beside the one that was misheard."""
    ends = [t for t in (*part[:1], *part[-1:]) if t.edge and t.text not in meant and (t.p or 0.0) >= _HEARD_P]
    telling = [t for t in part if not t.edge]
    clear = sum(t.ordinary != "unknown" and (t.p or 0.0) >= _TOLD_P for t in telling)
    return len(ends) + min(clear, len(telling) - 1)


def _stands(part: Sequence[Token], meant: Sequence[str], lexicon: Lexicon) -> bool:
    """Whether words of the trade would be lost that were heard well enough, or beside nothing that is in doubt."""
    if any(token.soft and not token.edge and (token.p is None or token.p >= _NAMED_P) for token in part):
        return True
    named = [token for token in part if token.kept or token.text in lexicon.rules.words["clinical"]]
    if not named:
        return False
    forms = [token for token in named if token.kept and any(token.text[:_STEM] == word[:_STEM] for word in meant)]
    if forms and _alike(forms, " ".join(meant)) >= _alike(part, " ".join(meant)) - _NO_MORE:
        return True  # another form or spelling of what stands there: the rest does not sound like the term
    telling = any(not token.edge and token not in named for token in part)
    return not telling or max(token.p or 0.0 for token in named) >= _NAMED_P or _least(part) >= _UNSURE_P


def _joined(part: Sequence[Token], target: Target, alike: float, lexicon: Lexicon) -> list[str]:
    """The words of the target, with the small word before or after it that the heard sound holds too."""
    sound = "".join(token.sound for token in part)
    plain = target.text.split()
    ways = [[small, *plain] for small in lexicon.rules.before] + [[*plain, small] for small in lexicon.rules.after]
    sounds = ["".join(sound_of(w) for w in way[:1]) + target.sound for way in ways[: len(lexicon.rules.before)]]
    sounds += [target.sound + sound_of(way[-1]) for way in ways[len(lexicon.rules.before) :]]
    likeness = similarities(table_of([sound] * len(sounds)), table_of(sounds)).tolist()
    best = max(range(len(ways)), key=lambda k: likeness[k])
    return ways[best] if likeness[best] >= alike + _JOINED_GAIN else plain


def _alike(part: Sequence[Token], meant: str) -> float:
    sound = "".join(token.sound for token in part)
    return similarity(sound, "".join(sound_of(word) for word in meant.split()))


def _least(part: Sequence[Token]) -> float:
    return min((token.p for token in part if token.p is not None), default=1.0)


def _best(found: list[tuple[float, Proposal]], transcript: Transcript, lexicon: Lexicon) -> tuple[Proposal, ...]:
    """The best candidates, few enough to be scored, each wording once, no word in more than a few of them."""
    length = transcript.words[-1].end_ms - transcript.words[0].start_ms if transcript.words else 0
    most = max(2, round(lexicon.rules.figures.loose_most * length / 60_000))
    taken: dict[tuple[int, int, str], Proposal] = {}
    shared: dict[int, int] = {}
    for _, one in sorted(found, key=lambda pair: -pair[0]):
        span = range(*one.words)
        key = (*one.words, one.meant)
        if len(taken) < most and key not in taken and all(shared.get(i, 0) < _OVERLAPPING for i in span):
            taken[key] = one
            for i in span:
                shared[i] = shared.get(i, 0) + 1
    return tuple(taken.values())
