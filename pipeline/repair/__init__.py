"""Misheard trade terms put right by sound: ``propose`` finds them, ``accept`` writes those that hold.

    Transcript, Vocabulary -> propose -> Proposals -> accept (scorer of the sound, or none) -> Transcript

Sides, numbers, levels, denials and results are never touched; opposites (abduction, adduction) are only suggested;
what stands in the vocabulary stays. The words, figures and pairs behind this are data: vocab/repair.yaml.
"""

from pipeline.model import Transcript
from pipeline.repair.accept import Scorer, accept
from pipeline.repair.loose import propose_loosely
from pipeline.repair.numbers import doubt_numbers
from pipeline.repair.propose import Proposal, propose
from pipeline.vocabulary import Vocabulary

__all__ = ["Proposal", "Scorer", "accept", "doubt_numbers", "propose", "propose_loosely", "repaired"]


def repaired(transcript: Transcript, vocab: Vocabulary, scorer: Scorer | None = None) -> Transcript:
    """The transcript with its misheard terms put right: what ``propose`` finds, as far as ``accept`` lets it hold.

    With a scorer of the sound, looser candidates have their chance beside these.
    """
    proposals = propose(transcript, vocab)
    if scorer is not None:
        known = {(p.words, p.meant) for p in proposals}
        proposals += tuple(p for p in propose_loosely(transcript, vocab) if (p.words, p.meant) not in known)
    return accept(transcript, proposals, scorer)
