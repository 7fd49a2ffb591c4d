"""A statement being read from an utterance without stops, and the marks that it is read from (stops.py)."""

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.extract.marks import Mark


@dataclass
class Statement:
    """The statement being read: what was named and said in it so far, from token ``begin`` on."""

    begin: int
    end: int  # of the last mark
    asks: bool = False
    depends: bool = False  # "if she ...": what follows belongs to it
    pointed: bool = False  # "that", "it", "she"
    named: bool = False  # a structure, a concept, or what was pointed at
    placed: bool = False  # a structure
    concept: bool = False
    told: bool = False
    explicit: bool = False  # by a result or number, not only by naming a sign
    doing: bool = False  # a treatment, advice or plan: the structure after it is its object
    judged: bool = False  # an impression
    side: Mark | None = None  # the first side said
    last: Mark | None = None

    @property
    def whole(self) -> bool:
        return self.named and self.told


def speaks(mark: Mark, named: set[str]) -> bool:
    """A result by itself, or of a concept named in the utterance; "there" and "yes" are results of too many."""
    return any(r.role == "means" or r.concept in named for r in mark.gives())


def apart(marks: Sequence[Mark]) -> list[Mark]:
    """The marks that do not lie inside the one before."""
    out: list[Mark] = []
    for mark in marks:
        if not out or mark.a >= out[-1].b:
            out.append(mark)
    return out
