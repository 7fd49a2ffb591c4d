"""What was said to be left out: tests not done, structures not looked at, treatment withheld."""

from collections.abc import Sequence
from dataclasses import replace

from pipeline.extract import annotate
from pipeline.extract.clauses import Clause, place_of
from pipeline.extract.drafts import Draft, without_flag
from pipeline.extract.focus import Target
from pipeline.extract.frames import Frame
from pipeline.extract.hands import Hands
from pipeline.extract.ledger import extend
from pipeline.extract.marks import Mark
from pipeline.extract.places import OTHER
from pipeline.model import TraceStep, span_of


class LeftOut(Hands):
    """Reads what was not done."""

    def _withheld(self, draft: Draft, frame: Frame) -> Draft:
        concept = self._vocab.concepts[draft.concept]
        if concept.kind != "treatment" or draft.concept == "technique.withheld":
            return draft
        if any(frame.denied(m) for m in (*frame.concepts, *frame.results)):
            flags = without_flag(draft.flags, "side_missing")
            return replace(draft, concept="technique.withheld", result="withheld", flags=flags)
        return draft

    def _hindered(self, draft: Draft, clause: Clause) -> Draft:
        """ "He won't open his eyes, so I can't get a red reflex", "Couldn't get one, she's ticklish": not absent."""
        n = place_of(clause, self._clauses)
        if draft.result != "absent":
            return draft
        near = [self._clauses[n - 1]] if clause.joint == "so" and not clause.hard and n else []
        if self._marked.words(draft.a, draft.b) & {"could", "ca", "cannot", "can", "unable", "did"}:
            near += [c for c in self._clauses[n + 1 : n + 2] if not c.hard]
        hindered = any(v == "reason" for c in near for v, _ in self._marked.cued("reasons", c.a, c.b))
        if hindered and "not_assessed" in self._vocab.concepts[draft.concept].results:
            return replace(draft, result="not_assessed", flags=without_flag(draft.flags, "side_missing"))
        return draft

    def _withholds(self, marks: Sequence[Mark]) -> bool:
        return any(r.concept == "technique.withheld" for m in marks for r in m.readings)

    def _skipped(self, clause: Clause, frames: Sequence[Frame], at: tuple[int, int], now: int) -> list[str]:
        """A test or structure said to be left out is an item of its own: not assessed, with the reason."""
        ids: list[str] = []
        for frame in frames:
            own = self._resolver.own(frame, self._state.focus)
            site = own[0].site if own else None
            for mark in (*frame.concepts, *(m for m in frame.results if m.says())):
                named = self._resolver.named(mark, site, frozenset({"finding", "treatment"}))
                if named is None:
                    continue
                concept = self._vocab.concepts[named]
                if concept.kind == "treatment":
                    concept, result = self._vocab.concepts["technique.withheld"], "withheld"
                else:
                    result = "not_assessed"
                side = frame.side if frame.side in OTHER or frame.side == "both" else ""
                held = own or ((Target(None, side),) if side else ())
                for place in self._resolver.place(concept, held, self._state.focus.targets)[:1]:
                    end = max(frame.b, at[1])
                    step = ("result", result, "said to be left out", *at)
                    draft = Draft(
                        concept.id,
                        place.site,
                        self._plural_side(place),
                        place.level,
                        result,
                        frame.a,
                        end,
                        steps=(step,),
                    )
                    ids += self._file([draft], clause)
            told = any(r.role == "means" for m in frame.results for r in m.readings)
            if own and not ids and not told:
                step = ("result", "not_assessed", "said to be left out", *at)
                drafts = [
                    Draft(
                        "exam.overall",
                        t.site,
                        self._plural_side(t),
                        t.level,
                        "not_assessed",
                        frame.a,
                        frame.b,
                        steps=(step,),
                    )
                    for t in own
                ]
                ids += self._file(drafts, clause)
            self._shift(frame, own, (), now)
        return ids or self._left_out(clause, at)

    def _left_out(self, clause: Clause, at: tuple[int, int]) -> list[str]:
        """ "… so no Moro, I'll leave that one": the denial just before meant that it was not looked at."""
        for record in self._state.ledger.last(self._state.last):
            item = record.item
            near = self._state.clause - record.clause <= 1
            plain = record.steps[:1] and record.steps[0].rule in ("stated", "denied")
            if near and item.kind == "finding" and (item.result in ("absent", "negative") or plain):
                span = span_of(self._words, *self._range(clause.a, clause.b))
                step = TraceStep(
                    slot="result", value="not_assessed", rule="said to be left out", words=self._range(*at)
                )
                reason = annotate.reason(self._marked, self._clauses)
                self._state.ledger.amend(
                    item.id,
                    self._state.clause,
                    step,
                    result="not_assessed",
                    reason=reason,
                    evidence=extend(item, span),
                )
                return [item.id]
        return self._named_and_left(clause, at)

    def _named_and_left(self, clause: Clause, at: tuple[int, int]) -> list[str]:
        """ "He's too strong for a proper Ortolani, so I'm skipping that.": named before, left out now."""
        focus = self._state.focus
        concept = self._vocab.concepts.get(focus.concept or "")
        if concept is None or focus.result is not None or focus.clause_of_concept < self._state.clause - 1:
            return []
        if "not_assessed" not in concept.results:
            return []
        step = ("result", "not_assessed", "said to be left out", *at)
        drafts = [
            Draft(concept.id, t.site, self._plural_side(t), t.level, "not_assessed", clause.a, at[1], steps=(step,))
            for t in self._resolver.place(concept, (), focus.targets)[:1]
        ]
        return self._file(drafts, clause)
