"""Drafts -> items in the ledger: words, times, evidence, and what else was said of them."""

from collections.abc import Sequence

from pipeline.extract import annotate
from pipeline.extract.acts import DOING
from pipeline.extract.clauses import Clause
from pipeline.extract.corrections import Mended
from pipeline.extract.drafts import Draft
from pipeline.extract.focus import Target
from pipeline.extract.marks import Mark
from pipeline.extract.resolve import Resolver
from pipeline.extract.state import State
from pipeline.model import Item, Kind, Span, TraceStep, Word, WordRange, span_of
from pipeline.vocabulary import Vocabulary

DOUBT_CLAUSES = 4


class Filing:
    """One utterance against the state: turns drafts into items and files them."""

    def __init__(
        self,
        vocab: Vocabulary,
        resolver: Resolver,
        state: State,
        words: Sequence[Word],
        mended: Mended,
        clauses: Sequence[Clause],
    ) -> None:
        self._vocab = vocab
        self._resolver = resolver
        self._state = state
        self._words = words
        self._mended = mended
        self._marked = mended.marked
        self._clauses = clauses

    def _file(self, drafts: Sequence[Draft], clause: Clause, *, question: Span | None = None) -> list[str]:
        today = "today" in self._marked.acts(clause.a, clause.b)
        ids = []
        for draft in drafts:
            item, steps = self._item(draft, clause, question)
            turned = clause.joint in ("but", "though", "although") and draft.rule.startswith("carried")
            corrects = self._mended.cued and not draft.retracted
            if self._state.clause - self._state.doubted_at <= DOUBT_CLAUSES and not draft.inherited:
                self._state.ledger.turn_side(item, self._state.clause)
            identity = self._state.ledger.add(
                item, self._state.clause, steps, corrects=corrects, today=today, turned=turned
            )
            ids.append(identity)
            if item.concept.startswith("technique.") and item.concept != "technique.withheld":
                self._state.treatment, self._state.treated_at = identity, self._state.clause
                self._state.ledger.treated = self._state.clause
        return ids

    def _force_said(self, clause: Clause) -> bool:
        """ "C2 adjusted on the right, low force, no thrust": the force stands in the same sentence."""
        said = ""
        for token in self._marked.tokens[clause.a :]:
            said += f" {token.text}"
            if token.stop in (".", "?", "!"):
                break
        return any(f" {words} " in f"{said} " for words in self._vocab.listed("force_said"))

    def _item(self, draft: Draft, clause: Clause, question: Span | None) -> tuple[Item, tuple[TraceStep, ...]]:
        concept = self._vocab.concepts[draft.concept]
        marked = self._marked
        a, b = self._widen(draft, clause)
        spans = [span_of(self._words, *self._range(a, b), role="answer" if question else "said")]
        if question is not None:
            spans.insert(0, question)
        spans += [span_of(self._words, *self._range(x, y), role="retracted") for x, y in draft.retracted]
        told = concept.kind == "history"
        role = annotate.source_role(marked, clause)
        flags = draft.flags
        if concept.id == "technique.mobilisation" and "force_unsaid" not in flags and not self._force_said(clause):
            flags = (*flags, "force_unsaid")
        words = self._words[slice(*self._range(a, b))]
        p = min((w.p for w in words), default=1.0)
        confidence = p * (0.6 if draft.inherited else 1.0)
        if any("repaired_term" in w.flags for w in words):
            flags = (*flags, "repaired_term")
        if confidence < 0.5:
            flags = (*flags, "low_confidence")
        own, seen = concept.kind in ("treatment", "advice"), concept.kind in ("history", "finding")
        item = Item(
            id="",
            kind=concept.kind,
            concept=concept.id,
            site=draft.site,
            side=draft.side,
            level=draft.level,
            result=draft.result,
            value=draft.value,
            unit=draft.unit,
            degree=draft.degree,
            reporter="caregiver" if told or role in ("mother", "father", "other_carer") else "clinician",
            source_role=role,
            change=annotate.change(marked, clause, draft.b, draft.result) if not own else None,
            dose=annotate.dose(marked, *self._dose_range(draft, clause)) if own else None,
            onset=annotate.onset(marked, clause, told=told) if seen and draft.value is None else None,
            reason=annotate.reason(marked, self._clauses) if draft.result in ("not_assessed", "withheld") else None,
            detail=self._detail(concept.id, a, b),
            evidence=tuple(spans),
            confidence=round(confidence, 3),
            flags=flags,
        )
        steps = tuple(
            TraceStep(slot=slot, value=value, rule=rule, words=self._range(x, max(y, x + 1)))
            for slot, value, rule, x, y in draft.steps
        )
        return item, steps

    def _detail(self, concept: str, a: int, b: int) -> str | None:
        if concept in ("plan.refer", "plan.imaging", "advice.return_if", "history.concern", "plan.goal"):
            return " ".join(w.text for w in self._words[slice(*self._range(a, b))])
        return None

    def _widen(self, draft: Draft, clause: Clause) -> tuple[int, int]:
        """The evidence from comma to comma, with what was put right."""
        tokens = self._marked.tokens
        a, b = draft.a, draft.b
        for x, y in draft.retracted:
            a, b = min(a, x), max(b, y)
        while a > clause.a and not tokens[a - 1].stop:
            a -= 1
        while b < max(clause.b, draft.b) and b < len(tokens) and not tokens[b - 1].stop:
            b += 1
        return a, b

    def _dose_range(self, draft: Draft, clause: Clause) -> tuple[int, int]:
        """The statement with what follows it, up to the next term: "tummy time, three times a day, on her back …"."""
        following = [m.a for m in self._marked.within(draft.b, clause.b) if self._kinds(m) & DOING]
        return draft.a, min([clause.b, *following])

    def _kinds(self, mark: Mark) -> set[Kind]:
        """The kinds of the concepts that a mark may name by itself."""
        return {self._vocab.concepts[r.concept].kind for r in mark.readings if r.role in ("say", "means")}

    def _range(self, a: int, b: int) -> WordRange:
        tokens = self._marked.tokens
        return tokens[a].word, tokens[min(b, len(tokens)) - 1].word + 1

    def _plural_side(self, target: Target) -> str:
        """The side a structure was named with; both for a plural."""
        return target.side if target.side in ("left", "right", "both") else "both" if target.plural else "none"
