"""Which mentions of a clause are denied, and denials that stand alone ("SCMs, nothing")."""

from collections.abc import Sequence

from pipeline.extract.assertion import Scope, scopes
from pipeline.extract.clauses import Clause
from pipeline.extract.lexicon import CueReading, Hit
from pipeline.extract.marks import Mark, Marked
from pipeline.vocabulary import Vocabulary


class Denials:
    """The denials of one clause. ``marks``: the mentions left; ``ellipses``: denials with nothing in their reach."""

    def __init__(
        self,
        vocab: Vocabulary,
        marked: Marked,
        clause: Clause,
        marks: Sequence[Mark],
        negations: Sequence[Hit[CueReading]],
    ) -> None:
        self._vocab = vocab
        self._marked = marked
        self._tokens = marked.tokens
        self._clause = clause
        self._negators = vocab.listed("negators")
        self.marks = list(marks)
        self._scopes = scopes(negations, clause.a, clause.b, self._breaks())
        self.ellipses = self._ellipses()

    def of(self, mark: Mark) -> Scope | None:
        """The scope that covers the mark; "don't see | a tie" covers "see a tie" as well."""
        for scope in self._scopes:
            if self._in_gap(scope, mark):
                return scope
            if scope.cue[0] < mark.a and scope.a <= mark.b - 1 < scope.b:
                shared = range(mark.a, min(mark.b, scope.cue[1]))
                if not any(self._tokens[k].stem in self._negators for k in shared):
                    return scope
        return None

    def _in_gap(self, scope: Scope, mark: Mark) -> bool:
        """ "The cry isn't weak": the denial stands between the words of the term."""
        return mark.a < scope.cue[0] < mark.b and scope.cue[0] not in mark.fixed and scope.a < mark.b <= scope.b

    def _breaks(self) -> list[int]:
        """Where a denial ends: a comma before a statement of its own (a side and a result, or a result alone)."""
        breaks = []
        if not any(t.stop for t in self._tokens):
            breaks += self._bare_breaks()
        breaks += self._verbs()
        for k in range(self._clause.a, self._clause.b - 1):
            if self._tokens[k].stop != ",":
                continue
            chunk_end = next((j + 1 for j in range(k + 1, self._clause.b) if self._tokens[j].stop), self._clause.b)
            chunk = [m for m in self.marks if k < m.a < chunk_end]
            kinds = {m.kind for m in chunk}
            first = self._tokens[k + 1].text
            if first in ("or", "nor"):
                continue
            own = bool(kinds & {"side", "site", "level", "concept"}) and bool(kinds & {"result", "number"})
            own = own or (bool(kinds & {"side", "site", "level"}) and "concept" in kinds)
            if own or (chunk and chunk[0].kind == "result" and "concept" not in kinds):
                breaks.append(k + 1)
        return breaks

    def _verbs(self) -> list[int]:
        """ "He isn't crawling and drags one leg", "he won't feed and vomits": the second verb is not denied."""
        breaks = []
        for mark in self.marks:
            k = mark.a - 1
            if mark.kind not in ("concept", "result") or k <= self._clause.a or self._tokens[k].text != "and":
                continue
            second, first = self._tokens[mark.a].text, self._tokens[k - 1].text
            if second.endswith("s") and len(second) > 3 and not first.endswith("s"):
                breaks.append(mark.a)
        return breaks

    def _bare_breaks(self) -> list[int]:
        """Without punctuation a denial covers one statement, and what "or" and "and" hang on to it."""
        breaks = []
        for hit in self._marked.hits("negation", self._clause.a, self._clause.b):
            first = next((m for m in self.marks if m.kind in ("concept", "result") and m.a >= hit.b), None)
            if first is None or first.b >= self._clause.b:
                continue
            if self._tokens[first.b].text not in ("or", "nor", "and"):
                breaks.append(first.b)
        return breaks

    def _masks(self, mark: Mark) -> bool:
        """A term with its own denial in it ("no concerns") says all itself; "I wouldn't call this …" does not."""
        kinds = {self._vocab.concepts[r.concept].kind for r in mark.readings if r.role != "result"}
        return bool(kinds - {"impression"})

    def _ellipses(self) -> list[Mark]:
        """Denials with nothing in their reach ("SCMs, nothing", "the right one isn't"), and backward ones."""
        found = []
        alone = {(s.cue[0], s.cue[1]) for s in self._scopes}  # "nothing" is a denial first, a result word second
        self.marks = [m for m in self.marks if (m.a, m.b) not in alone or any(r.role != "result" for r in m.readings)]
        deniable = [m for m in self.marks if m.kind in ("concept", "result")]
        inside = {k for m in deniable if self._masks(m) for k in (m.fixed or range(m.a, m.b))}
        for scope in self._scopes:
            if scope.cue[0] in inside:
                continue
            backward = scope.b <= scope.cue[0]
            reached = any(scope.a <= m.a < scope.b or self._in_gap(scope, m) for m in deniable)
            if backward or (not reached and self._alone(scope)):
                found.append(Mark("ellipsis", *scope.cue))
        self._scopes = [s for s in self._scopes if s.b > s.cue[0] and s.cue[0] not in inside]
        return found

    def _alone(self, scope: Scope) -> bool:
        """ "The right one isn't", "nothing there": "not this afternoon" and "nobody should" deny something else."""
        end = next((k + 1 for k in range(scope.cue[1] - 1, scope.b) if self._tokens[k].stop), scope.b)
        return self._marked.words(scope.cue[1], end) <= self._vocab.listed("ellipsis_tail")
