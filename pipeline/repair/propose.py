"""Which heard stretches may be misheard trade terms: by sound, by how ordinary the words are, and by what is around.

A stretch is one to four words of one utterance without a stop inside. It is left alone where any of its words is a
side, a number, a level, a denial, a result or a trade term already. Ordinary words must sound much more like the term
than unknown ones, and need talk of an examination around them.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from pipeline.model import Transcript, WordRange
from pipeline.repair.compiling import LONGEST, Target
from pipeline.repair.mishearings import Known
from pipeline.repair.rules import Figures
from pipeline.repair.targets import Lexicon, lexicon_of
from pipeline.repair.tokens import Around, Token, tokens_of
from pipeline.sound import similarity, sound_of
from pipeline.vocabulary import Vocabulary

_LONGEST_SOUND = 28
_HOMOPHONE = 0.97
_CLEARLY = 0.15  # a listed mishearing so much more like another entry's term is an error of the list
_NOTHING = (0.0, Target("", "", ""))


@dataclass(frozen=True, slots=True)
class Proposal:
    """A stretch that may be a misheard term. ``score``: 0..1, how much likelier than needed counts as 0.5 and more.

    ``id``: the concept or site that the term names, "" for a plain trade word. ``liftable``: a scorer of the sound may
    turn the suggestion into a repair. ``others``: opposites of the term, as likely. ``pay``: nats that the sound must
    speak for it above what is asked of others.
    """

    words: WordRange
    heard: str
    meant: str
    id: str
    score: float
    kind: Literal["accept", "suggest"]
    reason: str
    liftable: bool = True
    others: tuple[str, ...] = ()
    pay: float = 0.0


@dataclass(slots=True)
class _Stretch:
    """Some words in a row from ``i0`` on, and how they sound.

    ``ordinary``: all are English words; ``clinical``: how much the talk around speaks of an examination; ``length``:
    phonemes of the whole term; ``known``: the vocabulary lists it as a mishearing; ``anchored``: the rest of a longer
    term stands beside it.
    """

    i0: int
    part: Sequence[Token]
    sound: str
    ordinary: bool
    clinical: float
    length: int
    known: Known | None = None
    anchored: bool = False


@dataclass(frozen=True, slots=True)
class _Found:
    """A stretch with its likeliest term, before the stretches are weighed against each other."""

    proposal: Proposal
    excess: float


def propose(transcript: Transcript, vocab: Vocabulary) -> tuple[Proposal, ...]:
    """All repairs worth making (``accept``, never overlapping) and worth asking (``suggest``), in spoken order.

    Only the words as first heard count as surroundings, so proposing again after a repair finds nothing new.
    """
    lexicon = lexicon_of(vocab)
    tokens = tokens_of(transcript, lexicon)
    around = Around(tokens, lexicon.rules.figures.reach)
    stretches = [s for span in transcript.utterances for s in _stretches(tokens, span, around, lexicon)]
    return _choose(_weigh(stretches, lexicon))


# ---------------------------------------------------------------- stretches


def _stretches(tokens: Sequence[Token], span: WordRange, around: Around, lexicon: Lexicon) -> Iterator[_Stretch]:
    """Runs of one to four words that may be touched, without a stop inside: listed mishearings, and runs with at least
    one word that is neither small nor soft nor kept. Ordinary words in ordinary talk are left out."""
    shortest, misheard = lexicon.rules.figures.shortest, lexicon.misheard
    for i0 in range(*span):
        sound, telling, ordinary = "", False, True
        for i1 in range(i0 + 1, min(i0 + LONGEST, span[1]) + 1):
            token = tokens[i1 - 1]
            if token.barred:
                break
            sound += token.sound
            telling = telling or token.telling
            ordinary = ordinary and token.ordinary != "unknown"
            known = None
            if tokens[i0].opens:
                known = misheard.get(tuple([word.text for word in tokens[i0:i1]]))
            if known is not None or (telling and shortest <= len(sound) <= _LONGEST_SOUND):
                clinical = around.weight(i0, i1)
                if clinical > 0 or not ordinary:
                    yield _Stretch(i0, tokens[i0:i1], sound, ordinary, clinical, len(sound), known)
            if token.stop:
                break


def _weigh(stretches: Sequence[_Stretch], lexicon: Lexicon) -> Iterator[_Found]:
    """Each stretch against the term it sounds like most. All distinct sounds are compared in one go."""
    figures = lexicon.rules.figures
    floors: dict[str, float] = {}
    for stretch in stretches:
        if stretch.known is not None:
            floor = stretch.known.alike
        else:
            floor = _need(stretch, figures) + (figures.context_free if stretch.clinical <= 0 else -figures.suggest)
        if floor < floors.get(stretch.sound, 1.0):
            floors[stretch.sound] = floor
    near = lexicon.near(floors)
    for stretch in stretches:
        found, known = None, stretch.known
        likeness, target = near.get(stretch.sound, _NOTHING)
        if known is not None and (likeness <= known.alike + _CLEARLY or target.id in ("", known.id)):
            found = _judge(stretch, Target(known.text, known.id, ""), known.trust, not known.only_suggest, lexicon)
        elif target.text:
            stretch.known = None
            found = _judge(stretch, target, likeness, True, lexicon)
        if found is not None:
            yield found


def _need(stretch: _Stretch, figures: Figures) -> float:
    """The likeness that makes a repair of these words, here."""
    part = stretch.part
    if len(part) == 1:
        need = part[0].need if stretch.anchored else part[0].need_alone
    else:
        need = sum([token.need * len(token.sound) for token in part]) / len(stretch.sound)
    if stretch.clinical > 0:
        need -= figures.context_gain * min(stretch.clinical, 2.0) / 2.0
    else:
        need += figures.chat_pay * min(-stretch.clinical, 2.0)
    need += figures.soft_pay * sum([token.soft for token in part])
    if stretch.known is None:
        if len(part) > 1:
            need += figures.edge_pay * (part[0].edge + part[-1].edge)
        if stretch.length <= figures.medium:
            need += figures.short_pay if stretch.length <= figures.short else figures.medium_pay
    heard_p = [token.p for token in part if token.p is not None]
    if heard_p:
        least = min(heard_p)
        need += figures.sure_pay if least > figures.sure else -figures.unsure_gain if least < figures.unsure else 0.0
    return need


def _context_need(stretch: _Stretch, excess: float, figures: Figures) -> float:
    """How clinical the talk around must be: most for one English word or a listed phrase, least for other words."""
    if not stretch.ordinary:
        return figures.context_need_unknown if excess < figures.context_free else float("-inf")
    if stretch.known is not None or len(stretch.part) == 1:
        return figures.context_need
    return figures.context_need_phrase


def _judge(stretch: _Stretch, target: Target, likeness: float, liftable: bool, lexicon: Lexicon) -> _Found | None:
    """One stretch and its likeliest term: a repair, a suggestion, or nothing."""
    figures = lexicon.rules.figures
    heard, meant = [token.text for token in stretch.part], target.text.split()
    start, end, meant = changed_part(heard, meant)
    if any(token.kept or _spoken_of(token, lexicon) for token in stretch.part[start:end]):
        return None
    same_letters = "".join(heard[start:end]).replace("-", "") == "".join(meant).replace("-", "")
    if same_letters and (end - start == 1 or stretch.ordinary):
        return None  # the same words, written otherwise
    excess = likeness - _need(stretch, figures)
    if end - start < len(heard):
        changed, alone = _without_anchor(stretch, start, end, meant, lexicon)
        if likeness < _HOMOPHONE:  # what stands there rightly must not make up for what does not
            excess = min(excess, alone)
        stretch = changed
    form = stretch.ordinary and is_form_of(stretch.part, meant, likeness)
    if excess < -figures.suggest or form:
        return None
    accepted = liftable and excess >= 0 and any(lexicon.is_trade(word) for word in meant)
    reason = f"sounds like {target.text!r}"
    if stretch.clinical < _context_need(stretch, excess, figures):
        if stretch.clinical <= 0:
            return None
        accepted = False
        reason += ", but little around it speaks of an examination"
    others = sorted({other for word in meant for other in lexicon.rules.opposites.get(word, ())})
    if others:
        accepted = liftable = False
        reason = f"sounds like {' or '.join([' '.join(meant), *others])}: opposites are never put in by sound"
    proposal = Proposal(
        words=(stretch.i0 + start, stretch.i0 + end),
        heard=" ".join(heard[start:end]),
        meant=" ".join(meant),
        id=target.id,
        score=round(max(0.0, min(1.0, 0.5 + excess)), 3),
        kind="accept" if accepted else "suggest",
        reason=reason,
        liftable=liftable,
        others=tuple(others),
    )
    return _Found(proposal, excess)


def _spoken_of(token: Token, lexicon: Lexicon) -> bool:
    """True for a plain word of examining ("reflexes") that was heard well: "other reflexes" is no dorsiflexion."""
    sure = token.p is None or token.p >= lexicon.rules.figures.sure
    return sure and token.text in lexicon.rules.words["clinical"]


def _without_anchor(
    stretch: _Stretch, start: int, end: int, meant: Sequence[str], lexicon: Lexicon
) -> tuple[_Stretch, float]:
    """The changed words of a longer term, and how much more alike they are by themselves than they need to be.

    The words of the term that stand there rightly speak of an examination; a trade word among them makes it likelier.
    """
    figures, part = lexicon.rules.figures, stretch.part[start:end]
    rest = [token for token in stretch.part if token not in part]
    sound = "".join(token.sound for token in part)
    clinical = stretch.clinical + sum(max(0.0, *token.weights) for token in rest)
    changed = replace(stretch, part=part, sound=sound, clinical=clinical, anchored=True)
    likeness = similarity(sound, "".join(sound_of(word) for word in meant))
    gain = figures.anchor_gain * (2 if any(token.text in lexicon.trade_words for token in rest) else 1)
    return changed, likeness - _need(changed, figures) + gain


def changed_part(heard: Sequence[str], meant: list[str]) -> tuple[int, int, list[str]]:
    """The part of a stretch that differs from the term: words equal at either end are left out of the repair."""
    start, end = 0, len(heard)
    while end - start > 1 and len(meant) > 1 and heard[start] == meant[0]:
        start, meant = start + 1, meant[1:]
    while end - start > 1 and len(meant) > 1 and heard[end - 1] == meant[-1]:
        end, meant = end - 1, meant[:-1]
    return start, end, meant


def is_form_of(part: Sequence[Token], meant: Sequence[str], likeness: float) -> bool:
    """True where the one telling word is another form of the term (rotate, rotation): it was heard right and stays."""
    telling = [token.text for token in part if not token.edge]
    if len(telling) != 1 or len(meant) != 1 or (len(part) == 1 and likeness >= _HOMOPHONE):
        return False
    one, other = telling[0], meant[0]
    shared = next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    return shared >= max(4, 0.6 * min(len(one), len(other)))


# ---------------------------------------------------------------- choice


def _choose(found: Iterable[_Found]) -> tuple[Proposal, ...]:
    """Repairs first, the clearest first; a stretch once taken is taken."""
    taken: list[Proposal] = []
    used: set[int] = set()
    order = sorted(found, key=lambda f: (f.proposal.kind != "accept", -f.excess, f.proposal.words))
    for one in order:
        span = range(*one.proposal.words)
        if used.isdisjoint(span):
            used.update(span)
            taken.append(one.proposal)
    return tuple(sorted(taken, key=lambda p: p.words))
