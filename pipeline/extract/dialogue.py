"""Questions left open and the clauses that answer them."""

from collections.abc import Sequence
from dataclasses import replace

from pipeline.extract.ages import told_ages
from pipeline.extract.answers import answered, asked
from pipeline.extract.clauses import Clause, place_of
from pipeline.extract.filing import Filing
from pipeline.extract.focus import Focus
from pipeline.extract.frames import Frame, FrameBuilder
from pipeline.model import span_of


class Dialogue(Filing):
    """Pairs questions with answers."""

    def _ask(self, clause: Clause, frames: Sequence[Frame], now: int) -> list[str]:
        state = self._state
        drafts = [
            d
            for frame in frames
            for d in self._resolver.read(
                frame, Focus(), frozenset({"history", "plan", "treatment"}), self._marked, live=False
            )[0]
        ]
        if self._marked.tokens[clause.head].text == "any":  # "Any lump in there? Nope, I don't feel one."
            live = state.focus.live(state.clause, now)
            for frame in frames:
                found, _ = self._resolver.read(frame, state.focus, frozenset({"finding"}), self._marked, live=live)
                drafts += [d for d in found if self._vocab.concepts[d.concept].negated == "absent" and not frame.told]
        drafts += told_ages(state, self._marked, clause, self._marked.within(clause.a, clause.b))
        plans = [d for d in drafts if d.concept == "plan.next_visit"]
        state.offered = tuple(self._file(plans, clause))
        n = place_of(clause, self._clauses)
        if not any(f.concepts or f.results for f in frames) and n and not clause.hard and not self._state.last:
            before = self._clauses[n - 1]  # "And birth weight, do you remember?"
            frames = FrameBuilder(self._vocab, self._marked, before).build()
            clause = replace(clause, a=before.a)
        span = span_of(self._words, *self._range(clause.a, clause.b), role="question")
        question = asked(self._vocab, self._resolver, self._marked, frames, drafts, span, state.clause)
        if question is not None:
            asked_of = self._marked.words(clause.a, clause.b)
            opening = [t.text for t in self._marked.tokens[clause.head : clause.head + 3]]
            comes_of = "from" in opening and opening[0] in ("is", "was", "would")  # "Is that from the forceps?"
            if comes_of or {"because", "why", "cause"} & asked_of:
                return list(state.offered)  # asks why, not whether
            if self._marked.tokens[clause.head].text in ("how", "what", "which", "where", "when"):
                question = replace(question, how=True)
            if asked_of & self._vocab.listed("comparing"):
                question = replace(question, comparing=True)
            earlier = state.question
            if earlier is not None and earlier.span.words[0] >= self._words_from():
                question = replace(question, before=(*earlier.before, earlier))
            state.question = question
        elif state.question is not None and not state.question.waits(state.clause, now):
            state.question = None
        return list(state.offered)

    def _words_from(self) -> int:
        """The first word of the utterance."""
        return self._marked.tokens[0].word

    def _answer(self, clause: Clause, now: int) -> list[str]:
        state = self._state
        question = state.question
        if state.offered and any(
            v == "no" and h.a <= clause.head for v, h in self._marked.cued("answers", clause.a, clause.b)
        ):
            for record in state.ledger.last(state.offered):
                state.ledger.retract(record.item.id, "offered and not taken")
        state.offered = ()
        if question is None or not question.waits(state.clause, now):
            state.question = None
            return []
        drafts = answered(self._vocab, self._resolver, question, self._marked, clause)
        if not drafts:
            return []
        asked_now = {d.concept for d in question.drafts} | set(question.open_concepts)
        state.question = replace(question, before=()) if asked_now.isdisjoint(d.concept for d in drafts) else None
        return self._file(drafts, clause, question=question.span)
