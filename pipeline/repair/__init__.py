"""Misheard trade terms put right by sound: ``propose`` finds them, ``accept`` writes those that hold.

    Transcript, Vocabulary -> propose -> Proposals -> accept (scorer of the sound, or none) -> Transcript

Sides, numbers, levels, denials and results are never touched; opposites (abduction, adduction) are only suggested;
what stands in the vocabulary stays. The words, figures and pairs behind this are data: vocab/repair.yaml.
"""

from pipeline.repair.accept import Scorer, accept
from pipeline.repair.numbers import doubt_numbers
from pipeline.repair.propose import Proposal, propose

__all__ = ["Proposal", "Scorer", "accept", "doubt_numbers", "propose"]
