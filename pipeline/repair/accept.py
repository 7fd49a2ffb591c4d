"""Proposed repairs put into the transcript, or kept beside the words as suggestions."""

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import replace
from typing import Protocol

from pipeline.model import Heard, Suggestion, Transcript, Word, WordRange
from pipeline.repair.propose import Proposal
from pipeline.repair.rules import Figures, load_rules
from pipeline.repair.tokens import REPAIRED

DOUBTED = "term?"
_EVEN = 0.5  # the score of a proposal that is just as like as it needs to be


class Scorer(Protocol):
    """The recogniser's own judgement of a change, from the sound."""

    def margin(self, transcript: Transcript, proposal: Proposal) -> float | None:
        """log p(meant) - log p(heard) over the words of the proposal, in nats; None where it cannot be told."""
        ...


def accept(transcript: Transcript, proposals: Iterable[Proposal], scorer: Scorer | None) -> Transcript:
    """Put in the repairs that hold; keep the others as suggestions on the first word of their stretch.

    Without a scorer the proposals of kind ``accept`` hold. With one, a repair holds when its margin reaches -5 nats,
    less the more its likeness exceeds what it needs (``score``), more the further it falls short; so suggestions a
    little short by sound alone may hold too, and what only the sound speaks for must pay. A margin that cannot be told
    leaves the judgement by likeness. Proposals far below what is needed are dropped where the recording does not lift
    them. Utterances stay a partition of the words; the words of a repaired stretch span its time, carry
    ``repaired_term`` and what was heard (the first of them).
    Source of the margins: vocab/repair.yaml, row ``figures``.
    """
    figures = load_rules().figures
    home = [n for n, span in enumerate(transcript.utterances) for _ in range(*span)]
    repairs: dict[int, tuple[Proposal, float | None]] = {}
    doubts: dict[int, list[Suggestion]] = {}
    doubted: set[int] = set()
    taken: set[int] = set()
    weighed = [
        _weighed(proposal, scorer, transcript, figures)
        for proposal in sorted(proposals, key=lambda p: p.words)
        if _fits(proposal.words, home)
    ]
    for proposal, margin, _ in sorted((w for w in weighed if w[2] is not None), key=lambda w: -(w[2] or 0.0)):
        span = range(*proposal.words)
        if taken.isdisjoint(span):
            repairs[proposal.words[0]] = (proposal, margin)
            taken.update(span)
    for proposal, margin, worth in weighed:
        i0, i1 = proposal.words
        if worth is not None or not taken.isdisjoint(range(i0, i1)):
            continue
        if margin is None and any(s.text == proposal.meant for s in transcript.words[i0].suggestions):
            continue  # asked already: what the recording refused once, likeness alone does not lift
        if proposal.score < _EVEN - figures.shown and not proposal.others:
            continue  # too unlike to trouble a person with; the recording was its only chance
        refused = "" if margin is None else "; the recording does not bear it out"
        reason = f"{proposal.heard!r} {proposal.reason}{refused}"
        doubts[i0] = [Suggestion(text, reason, proposal.score) for text in (proposal.meant, *proposal.others)]
        doubted.update(range(i0, i1))
        taken.update(range(i0, i1))
    return _rewritten(transcript, repairs, doubts, doubted)


def _fits(words: WordRange, home: Sequence[int]) -> bool:
    i0, i1 = words
    return 0 <= i0 < i1 <= len(home) and home[i0] == home[i1 - 1]


def _weighed(
    proposal: Proposal, scorer: Scorer | None, transcript: Transcript, figures: Figures
) -> tuple[Proposal, float | None, float | None]:
    """A proposal, what the sound says of it, and what it is worth beside others; None where it does not hold."""
    if not proposal.liftable:
        return proposal, None, None
    margin = scorer.margin(transcript, proposal) if scorer is not None else None
    if margin is not None:
        by_likeness = figures.likeness_nats * (proposal.score - _EVEN) if proposal.score else 0.0
        enough = figures.margin + proposal.pay - by_likeness
        return proposal, margin, margin - proposal.pay if margin >= enough else None
    asked = any(s.text == proposal.meant for s in transcript.words[proposal.words[0]].suggestions)
    return proposal, None, proposal.score if proposal.kind == "accept" and not asked else None


def _rewritten(
    transcript: Transcript,
    repairs: Mapping[int, tuple[Proposal, float | None]],
    doubts: Mapping[int, Sequence[Suggestion]],
    doubted: Set[int],
) -> Transcript:
    """The transcript with repairs and suggestions (by first word) in it, and its words numbered anew."""
    words: list[Word] = []
    utterances = []
    for u0, u1 in transcript.utterances:
        first, at = len(words), u0
        while at < u1:
            if at in repairs:
                proposal, margin = repairs[at]
                new = _written(transcript.words[at : proposal.words[1]], proposal, margin, len(words), at == u0)
                at = proposal.words[1]
            else:
                new = [_noted(transcript.words[at], doubts.get(at, ()), at in doubted, len(words))]
                at += 1
            words.extend(new)
        utterances.append((first, len(words)))
    return transcript.model_copy(update={"words": tuple(words), "utterances": tuple(utterances)})


def _noted(word: Word, doubts: Sequence[Suggestion], doubted: bool, i: int) -> Word:
    """The word as it stands, with suggestions and the flag that asks about them (once, however often it is run)."""
    new = tuple(s for s in doubts if s not in word.suggestions)
    flags = word.flags if not doubted or DOUBTED in word.flags else (*word.flags, DOUBTED)
    if not new and flags == word.flags and i == word.i:
        return word
    return replace(word, i=i, flags=flags, suggestions=(*word.suggestions, *new))


def _written(old: Sequence[Word], proposal: Proposal, margin: float | None, i: int, opens: bool) -> list[Word]:
    """The words of the term over the time of the heard stretch, shared out by their length in letters."""
    meant = proposal.meant.split()
    before = _ends(old[0].text)[0]
    after = _ends(old[-1].text)[2]
    if opens and _ends(old[0].text)[1][:1].isupper():
        meant[0] = meant[0][:1].upper() + meant[0][1:]
    start, end = old[0].start_ms, max(word.end_ms for word in old)
    total, passed, bounds = sum(map(len, meant)), 0, [start]
    for text in meant:
        passed += len(text)
        bounds.append(start + (end - start) * passed // total)
    p = min(word.p for word in old)
    source = old[0].source if old[0].source in ("free", "hot") else "free"
    heard = (
        Heard(source="hot" if source == "hot" else "free", text=" ".join(word.text for word in old), p=p),
        *(entry for word in old for entry in word.heard),
    )
    flags = tuple(dict.fromkeys(flag for word in old for flag in word.flags if flag != DOUBTED))
    kept = tuple(suggestion for word in old for suggestion in word.suggestions if suggestion.text != proposal.meant)
    return [
        replace(
            old[0],
            i=i + k,
            text=(before if k == 0 else "") + text + (after if k == len(meant) - 1 else ""),
            start_ms=bounds[k],
            end_ms=bounds[k + 1],
            p=p,
            source="lexicon",
            heard=heard if k == 0 else (),
            margin=margin if margin is not None else old[0].margin,
            flags=(*flags, REPAIRED),
            suggestions=kept if k == 0 else (),
        )
        for k, text in enumerate(meant)
    ]


def _ends(text: str) -> tuple[str, str, str]:
    """What writing puts before a word, the word, and what it puts after."""
    start, end = 0, len(text)
    while start < end and not text[start].isalnum():
        start += 1
    while end > start and not text[end - 1].isalnum():
        end -= 1
    return text[:start], text[start:end], text[end:]
