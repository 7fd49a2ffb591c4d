"""An utterance -> clauses: stretches with one act each. The clauses of a transcript partition its words.

Borders: full stops and question marks, long pauses, "but/so/because ..." and, after a comma or "and", the beginning of
a new subject and verb ("she's", "there is", "let me"). Stops that a recogniser left out are put in before (stops.py).
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from pipeline.extract.lexicon import Lexicon
from pipeline.extract.tokens import Token

PAUSE_MS = 700
LONGEST = 100  # words of a clause, about


@dataclass(frozen=True, slots=True)
class Clause:
    """Tokens ``a <= k < b``; ``head``: the first after connectives; ``hard``: a sentence begins here."""

    a: int
    b: int
    head: int
    hard: bool
    joint: str = ""


def place_of(clause: Clause, clauses: Sequence[Clause]) -> int:
    """Which one of the clauses, that stand in order, it is."""
    return bisect_left(clauses, clause.a, key=lambda one: one.a)


class Splitter:
    """Splits tokens into clauses; compiled once from vocab/cues/clauses.yaml."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._connectives = lexicon.vocab.listed("connectives")
        self._joining = lexicon.vocab.listed("joining")
        self._cues = lexicon.cues.get("clauses")
        self._asking = lexicon.vocab.listed("asking")
        self._reporters = lexicon.vocab.listed("reporters")
        self._reporting = lexicon.vocab.listed("reporting")

    def __call__(self, tokens: Sequence[Token]) -> list[Clause]:
        """Clauses in order, without gaps. No tokens, no clauses."""
        if not tokens:
            return []
        kinds = self._kinds(tokens)
        cuts = {0: True}
        for k in range(1, len(tokens)):
            before = tokens[k - 1]
            kind = kinds.get(k, "")
            if before.stop in (".", "?") or tokens[k].gap_ms >= PAUSE_MS:
                cuts[k] = True
            elif kind == "turn" and self._something_follows(tokens, k):
                cuts[k] = False
            elif kind == "subject" and self._new_subject(tokens, k):
                at = self._joint(tokens, k)
                cuts[k if at in cuts else at] = False
        self._hung_questions(tokens, cuts)
        for k in range(LONGEST, len(tokens), LONGEST):  # nobody says so much in one breath; time stays linear
            if not any(at in cuts for at in range(k - LONGEST + 1, k + 1)):
                cuts[k] = False
        borders = [*sorted(cuts), len(tokens)]
        return [self._clause(tokens, a, b, cuts[a]) for a, b in pairwise(borders)]

    def _hung_questions(self, tokens: Sequence[Token], cuts: dict[int, bool]) -> None:
        """ "He was a thirty-seven weeker, no NICU?": only what follows the last comma is asked; "has he come off
        anything, the bed, the couch?" is one question."""
        start = 0
        for k, token in enumerate(tokens):
            if token.stop in (".", "?"):
                commas = [j for j in range(start, k) if tokens[j].stop == ","]
                first = next((t.text for t in tokens[start:k] if t.text not in self._connectives), "")
                listed = first in self._asking and tokens[min([*commas[-1:], k - 1]) + 1].text in ("the", "a", "an")
                if token.stop == "?" and commas and commas[-1] - start >= 2 and not listed:
                    cuts.setdefault(commas[-1] + 1, False)
                start = k + 1

    def _kinds(self, tokens: Sequence[Token]) -> dict[int, str]:
        if self._cues is None:
            return {}
        return {hit.a: hit.payloads[0].gives for hit in self._cues.find(range(len(tokens)), tokens)}

    def _something_follows(self, tokens: Sequence[Token], k: int) -> bool:
        """ "No lump in it, though." has nothing after its turning word."""
        return not tokens[k].stop or tokens[k].stop == ","

    def _new_subject(self, tokens: Sequence[Token], k: int) -> bool:
        """After a comma, "and" or "or", which "yeah" or "now" may follow: "and yeah, it's straight"."""
        return tokens[k - 1].stop == "," or self._joint(tokens, k) < k

    def _joint(self, tokens: Sequence[Token], k: int) -> int:
        """Where the words begin that join the clause at ``k`` to the one before; ``k`` where there are none."""
        at = k
        while at > 1 and not tokens[at - 1].stop and tokens[at - 1].text in self._joining:
            at -= 1
        if at == k:
            return k
        return at if tokens[at].text in ("and", "or") or tokens[at - 1].stop == "," else k

    def _clause(self, tokens: Sequence[Token], a: int, b: int, hard: bool) -> Clause:
        head, joint = a, ""
        while head < b - 1 and (tokens[head].text in self._connectives):
            joint = joint or tokens[head].text
            head += 1
        first = head + (tokens[head].text == "the")
        told = first + 2 < b and tokens[first].text in self._reporters and tokens[first + 1].text in self._reporting
        if told and not tokens[first + 1].stop:
            head = first + 2  # "grandmother says | always to the window"
        return Clause(a, b, head, hard, joint)
