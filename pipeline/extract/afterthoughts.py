"""What is said of an item after it: its side, its structure, how a treatment went, that it was wrong."""

from collections.abc import Sequence
from dataclasses import replace

from pipeline.extract.clauses import Clause, place_of
from pipeline.extract.drafts import Draft, with_flag, without_flag
from pipeline.extract.filing import Filing
from pipeline.extract.focus import Target
from pipeline.extract.frames import Frame
from pipeline.extract.ledger import extend
from pipeline.extract.marks import Mark
from pipeline.extract.measures import measured
from pipeline.extract.places import OTHER
from pipeline.extract.results import is_good, scarce_result
from pipeline.model import ClauseClass, TraceStep, span_of

TREATED_CLAUSES = 10
UNEVEN_CLAUSES = 4
AGAIN_CLAUSES = 4


class Afterthoughts(Filing):
    """Changes items that stand."""

    def _late_side(self, frame: Frame, clause: Clause) -> list[str]:
        """ "That's tight. The left one." gives the finding before it its side."""
        if frame.side not in ("left", "right", "both") or frame.sites or frame.levels or frame.concepts or frame.told:
            return []
        if frame.side == "both" and self._marked.tokens[clause.head].text in ("both", "so", "either"):
            whole = self._made_both(frame, clause)
            if whole:
                return whole
        for record in self._state.ledger.last(self._state.last):
            item = record.item
            if "side_missing" in item.flags and self._state.clause - record.clause <= 1 + self._asked_back(clause):
                step = TraceStep(
                    slot="side", value=frame.side, rule="said after it", words=self._range(frame.a, frame.b)
                )
                flags = without_flag(item.flags, "side_missing")
                span = span_of(self._words, *self._range(clause.a, clause.b))
                self._state.ledger.amend(
                    item.id, self._state.clause, step, side=frame.side, flags=flags, evidence=extend(item, span)
                )
                return [item.id]
        return []

    def _asked_back(self, clause: Clause) -> bool:
        """The clause before is a question: "She'll only look the one way. Which way? To the right." """
        n = place_of(clause, self._clauses)
        if n:
            return self._marked.tokens[clause.a - 1].stop == "?"
        return bool(self._state.accounts) and self._state.accounts[-1].clause_class is ClauseClass.QUESTION

    def _made_both(self, frame: Frame, clause: Clause) -> list[str]:
        """ "Tight on the right. The left as well. So both sides.": one line for both."""
        for record in self._state.ledger.recent()[:2]:
            item = record.item
            if item.kind == "finding" and item.side in OTHER and self._state.clause - record.clause <= 2:
                for other in self._state.ledger.of(item.concept):
                    twin = other.item
                    if (twin.site, twin.level, twin.result, twin.side) == (
                        item.site,
                        item.level,
                        item.result,
                        OTHER[item.side],
                    ):
                        self._state.ledger.retract(twin.id, "both sides were said as one")
                step = TraceStep(slot="side", value="both", rule="said after it", words=self._range(frame.a, frame.b))
                span = span_of(self._words, *self._range(clause.a, clause.b))
                self._state.ledger.amend(item.id, self._state.clause, step, side="both", evidence=extend(item, span))
                return [item.id]
        return []

    def _weaker_side(self, frame: Frame, clause: Clause, ids: list[str]) -> bool:
        """ "Moro is asymmetrical, right side poor": its side is the weaker one (contract, convention 12)."""
        if frame.side not in OTHER or not frame.results or frame.concepts:
            return False
        bad = self._vocab.listed("bad_results")
        if not any(r.result in bad for m in frame.results for r in m.gives()):
            return False
        for record in self._state.ledger.last((*ids, *self._state.last)):
            item = record.item
            if item.result == "asymmetrical" and item.side == "none" and item.concept.startswith("reflex."):
                step = TraceStep(slot="side", value=frame.side, rule="weaker side", words=self._range(frame.a, frame.b))
                flags = without_flag(item.flags, "side_missing")
                span = span_of(self._words, *self._range(clause.a, clause.b))
                evidence = extend(item, span)
                slots = {"side": frame.side, "flags": flags, "evidence": evidence}
                self._state.ledger.amend(item.id, self._state.clause, step, **slots)
                ids.append(item.id)
                return True
        return False

    def _uneven(self, drafts: Sequence[Draft]) -> list[Draft]:
        """ "The right arm comes out, the left lags, so that's asymmetrical": one line, its side the weaker one."""
        out = []
        for draft in drafts:
            if draft.result == "asymmetrical" and draft.concept.startswith("reflex."):
                near = [
                    r for r in self._state.ledger.of(draft.concept) if self._state.clause - r.clause <= UNEVEN_CLAUSES
                ]
                better = [r for r in near if r.item.result == "present" and r.item.side in OTHER]
                if better:
                    flags = without_flag(draft.flags, "side_missing")
                    draft = replace(draft, side=OTHER[better[0].item.side], flags=flags)
                    for record in near:
                        self._state.ledger.retract(record.item.id, "one side of an uneven reflex")
            out.append(draft)
        return out

    def _renamed(self, drafts: Sequence[Draft], clause: Clause) -> list[Draft]:
        """ "Both arms come out, that's his parachute": the reflex just seen gets its name."""
        pointing = self._marked.tokens[clause.head].text in ("that", "this", "it")
        out = []
        for draft in drafts:
            before = [r for r in self._state.ledger.last(self._state.last) if r.item.concept.startswith("reflex.")]
            if (
                pointing
                and not clause.hard
                and draft.rule == "stated"
                and draft.concept.startswith("reflex.")
                and before
            ):
                seen = before[-1].item
                if seen.concept != draft.concept and seen.result in self._vocab.concepts[draft.concept].results:
                    flags = draft.flags if seen.side == "none" else without_flag(draft.flags, "side_missing")
                    draft = replace(draft, side=seen.side, result=seen.result, flags=flags)
                    self._state.ledger.retract(seen.id, "its name was said after it")
            out.append(draft)
        return out

    def _scarcely(self, clause: Clause, marks: Sequence[Mark]) -> list[str]:
        """ "Arms and legs are moving, but not a whole lot": what was good is less than that."""
        said = [h for v, h in self._marked.cued("same", clause.a, clause.b) if v == "scarcely" and h.a == clause.head]
        if clause.joint not in ("but", "though") or clause.hard or not said or any(m.kind != "result" for m in marks):
            return []
        changed = []
        for record in self._state.ledger.last(self._state.last):
            item = record.item
            less = scarce_result(self._vocab, item.concept)
            good = is_good(self._vocab, item.result or "") or item.result == "present"
            if item.kind != "finding" or less is None or not good or item.value is not None:
                continue
            step = TraceStep(slot="result", value=less, rule="but not much", words=self._range(said[0].a, said[0].b))
            span = span_of(self._words, *self._range(clause.a, clause.b))
            slots = {"result": less, "evidence": extend(item, span)}
            self._state.ledger.amend(item.id, self._state.clause, step, **slots)
            changed.append(item.id)
        return changed

    def _late_site(self, frame: Frame, clause: Clause, own: tuple[Target, ...]) -> list[str]:
        """ "This side's tight, the right one, it's the SCM": the structure comes last."""
        if clause.hard or len(own) != 1 or frame.told or frame.concepts:
            return []
        opening = self._marked.tokens[clause.head].text
        guessed = own[0].level is not None and opening in self._vocab.listed("roughly")  # "one stiff spot, call it T5"
        if opening not in ("it", "that", "this") and not guessed:
            return []
        for record in self._state.ledger.last(self._state.last):
            item = record.item
            if item.kind != "finding" or self._state.clause - record.clause > 1:
                continue
            step = TraceStep(
                slot="site", value=own[0].site or "", rule="said after it", words=self._range(frame.a, frame.b)
            )
            span = span_of(self._words, *self._range(clause.a, clause.b))
            site = self._vocab.sites[own[0].site or ""]
            side = item.side if site.paired or item.side != "both" else "none"
            slots = {"site": site.id, "side": side, "level": own[0].level, "evidence": extend(item, span)}
            self._state.ledger.amend(item.id, self._state.clause, step, **slots)
            return [item.id]
        return []

    def _treated(self, frame: Frame, clause: Clause, ids: list[str]) -> bool:
        """ "It's letting go": the result of the treatment under way, where the frame names nothing else."""
        state = self._state
        if state.treatment is None or state.treatment not in state.ledger.records:
            return False
        if state.clause - state.treated_at > TREATED_CLAUSES:
            return False
        item = state.ledger.records[state.treatment].item
        own = self._resolver.targets(frame)
        hands = own or (state.focus.targets if state.focus.named_at > state.treated_at else ())
        if hands and all(t.site != item.site for t in hands):
            return False
        told = [(m, r) for m in (*frame.results, *frame.concepts) if (r := self._outcome(m, item.concept)) is not None]
        for mark, result in sorted(told, key=lambda pair: pair[1] == "released")[:1]:  # "giving me partway" is partial
            if frame.denied(mark):
                result = "done" if result in ("released", "partial") else result
            if result == "released" and self._marked.degree(frame.a - 3, frame.b + 3) == "slight":
                result = "partial"  # "let go a little"
            span = span_of(self._words, *self._range(clause.a, clause.b))
            step = TraceStep(slot="result", value=result, rule="after treatment", words=span.words)
            state.ledger.amend(item.id, state.clause, step, result=result, evidence=extend(item, span))
            ids.append(item.id)
            return True
        return False

    def _outcome(self, mark: Mark, concept: str) -> str | None:
        """How the treatment went by the words of the mark."""
        said = (r.result for r in mark.gives() if r.concept == concept and r.role != "say" and r.result != "done")
        return next(said, None)

    def _scratch(self, marks: Sequence[Mark]) -> None:
        """ "Scratch that": the last statement is taken back."""
        ledger = self._state.ledger
        named = {m.level.text for m in marks if m.level} | {m.readings[0].site for m in marks if m.kind == "site"}
        records = ledger.last(self._state.last)
        if named:  # "scratch T3": what was said of it, a little while ago
            near = [r for r in ledger.recent() if self._state.clause - r.clause <= TREATED_CLAUSES]
            records = [r for r in near if {r.item.level, r.item.site} & named]
        for record in records:
            ledger.retract(record.item.id, "taken back by the speaker")
        self._state.last = ()

    def _correct_earlier(self, pending: Sequence[Mark]) -> None:
        """ "Sorry, I said right, it's the left": the last statement that has such a slot is put right."""
        for right in pending:
            records = self._state.ledger.last(self._state.last)
            if right.kind == "number" and not records:  # "No, the tape slipped. Forty-two and a half."
                near = [r for r in self._state.ledger.recent()[:1] if self._state.clause - r.clause <= AGAIN_CLAUSES]
                records = [r for r in near if r.item.value is not None]
            for record in records:
                item = record.item
                slots: dict[str, object] = {}
                if right.kind == "side" and right.side in OTHER and item.side in OTHER and item.side != right.side:
                    slots = {"side": right.side}
                elif (
                    right.kind == "level" and right.level is not None and item.level and item.level != right.level.text
                ):
                    slots = {"level": right.level.text}
                elif right.kind == "number" and right.number is not None and item.value is not None:
                    value = measured(self._vocab.concepts[item.concept], right.number)
                    slots = {"value": value[0], "unit": value[1]} if value and value[0] != item.value else {}
                if not slots:
                    continue
                span = span_of(self._words, *self._range(right.a, right.b))
                old = tuple(s.model_copy(update={"role": "retracted"}) for s in item.evidence)
                flags = with_flag(item.flags, "corrected")
                step = TraceStep(slot=next(iter(slots)), value=span.quote, rule="corrected later", words=span.words)
                self._state.ledger.amend(item.id, self._state.clause, step, flags=flags, evidence=(*old, span), **slots)
                if right.kind == "side" and self._state.focus.side in OTHER:
                    focus = self._state.focus
                    focus.targets = tuple(replace(t, side=right.side) for t in focus.targets)
                    focus.side = right.side

    def _swap(self) -> None:
        """ "Other way round": the two sides last said change places."""
        records = self._state.ledger.last(self._state.last)
        for record in records:
            item = record.item
            if item.side in OTHER:
                self._state.ledger.amend(
                    item.id, self._state.clause, side=OTHER[item.side], flags=with_flag(item.flags, "corrected")
                )
