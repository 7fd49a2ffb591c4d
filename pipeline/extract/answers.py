"""Question and answer: "Any fevers? Nope." is one fact told by the caregiver; an unanswered question is none."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.extract.clauses import Clause
from pipeline.extract.drafts import Draft, without_flag
from pipeline.extract.frames import Frame
from pipeline.extract.lexicon import CueReading, Hit
from pipeline.extract.marks import Mark, Marked
from pipeline.extract.measures import value_of
from pipeline.extract.resolve import Resolver
from pipeline.extract.results import fit_result, is_good, opposite
from pipeline.model import Kind, Span
from pipeline.vocabulary import Concept, Vocabulary

TOLD: frozenset[Kind] = frozenset({"history"})
CONSENT = "treatment.consent"  # asked for, and given or not
WAIT_CLAUSES = 4
WAIT_MS = 12_000


@dataclass(frozen=True)
class Question:
    """An open question: what it asserts if answered yes, which concepts it asks of, and where it was asked."""

    drafts: tuple[Draft, ...]
    open_concepts: tuple[str, ...]
    span: Span
    clause: int
    at_ms: int
    denied: bool = False
    how: bool = False  # "how's the feeding?" is not answered by a yes
    asked_words: frozenset[str] = frozenset()  # stems of the words that name what is asked of
    comparing: bool = False  # "any better?": a bare yes or no says nothing of the thing itself
    before: tuple["Question", ...] = ()  # asked in the same breath: one "no" answers all, a "yes" only the last

    def waits(self, clause: int, at_ms: int) -> bool:
        """Still open: four clauses and twelve seconds at most."""
        return clause - self.clause <= WAIT_CLAUSES and at_ms - self.at_ms <= WAIT_MS


def asked(
    vocab: Vocabulary,
    resolver: Resolver,
    marked: Marked,
    frames: Sequence[Frame],
    drafts: Sequence[Draft],
    span: Span,
    clause: int,
) -> Question | None:
    """The question that a clause leaves open; None where it asks of nothing that the record holds."""
    asks = ("history", "finding")
    told = tuple(d for d in drafts if vocab.concepts[d.concept].kind in asks or d.concept == CONSENT)
    named = {
        c
        for frame in frames
        for mark in frame.concepts
        if (c := resolver.named(mark, None, TOLD)) is not None and all(d.concept != c for d in told)
    }
    if any("plan.next_visit" in mark.says() for frame in frames for mark in frame.concepts):
        named.add("plan.next_visit")  # "When should they come back? In one week."
    if not told and not named:
        return None
    denied = any(frame.negated for frame in frames)
    stems = frozenset(t.stem for f in frames for m in (*f.concepts, *f.results) for t in marked.tokens[m.a : m.b])
    return Question(told, tuple(sorted(named)), span, clause, span.end_ms, denied, asked_words=stems)


def answered(vocab: Vocabulary, resolver: Resolver, question: Question, marked: Marked, clause: Clause) -> list[Draft]:
    """The facts that a clause answers to the question; empty where it is no answer."""
    said = [(value, hit) for value, hit in marked.cued("answers", clause.a, clause.b) if hit.a <= clause.head]
    polar = said[0][0] if said else ""
    if (
        polar == "no"
        and marked.tokens[said[0][1].b - 1].text == "n't"
        and _tells_more(vocab, marked, said[0][1], clause)
    ):
        return []
    if polar == "unsure" or (question.comparing and polar):
        return []
    if question.how and polar == "yes" and marked.words(clause.a, clause.b) <= vocab.listed("connectives"):
        return []  # "And how's the feeding? Yeah."
    marks = marked.within(clause.a, clause.b)
    side = next((m.side for m in marks if m.kind == "side" and m.side in ("left", "right", "both")), "")
    out: list[Draft] = []
    if marked.words(clause.a, clause.b) <= vocab.listed("connectives") and not polar:
        return []  # the listener's "okay" answers nothing
    named = {c for m in marks for c in m.says()} & {d.concept for d in question.drafts}
    if named:  # "No fevers, but he vomits": the answer is about what it names
        question = replace(question, drafts=tuple(d for d in question.drafts if d.concept in named), before=())
    others = {c for m in marks for r in m.readings for c in [r.concept] if r.role == "means"}
    other = {c for c in others if vocab.concepts[c].kind == "history"} - {d.concept for d in question.drafts}
    if other and not named and not set(question.open_concepts) & others and not (said and _plain(marked, said[0][1])):
        return []  # "Does he vomit? Only a little milk comes up": the answer tells of something else
    if not polar and not question.how and _echoes(vocab, marked, question, clause):
        polar = "yes"
    mentioned = {r.concept for m in marks for r in m.readings if r.role in ("say", "means")}
    before = mentioned & {d.concept for q in question.before for d in q.drafts}
    if polar == "no" and before and not named:  # "Fevers? Any falls? No fevers.": the falls are not answered yet
        return [d for q in question.before for d in answered(vocab, resolver, replace(q, before=()), marked, clause)]
    if polar == "no":
        for earlier in question.before:
            out += answered(vocab, resolver, replace(earlier, before=()), marked, clause)
    for draft in question.drafts:
        concept = vocab.concepts[draft.concept]
        result = draft.result
        if polar == "no" and not question.denied and (result != concept.negated or result == concept.stated):
            result = (
                concept.negated
                if result == concept.stated and concept.negated
                else opposite(vocab, concept.id, result or "")
            )
        elif polar == "no" and not question.denied and result == concept.negated:
            continue  # "Head first? No." says that it was not head first, not which way it was
        elif not polar:
            answer = _result(vocab, concept.id, marks)
            if answer is None and not (side and concept.sided) and not value_of(concept, marks, marked, vocab):
                continue
            result = answer or result
        elif polar == "yes":
            told = _result(vocab, concept.id, marks)  # "Is he regular? Only every four days, and he strains."
            plain = _plain(marked, said[0][1]) if said else True
            result = told if told is not None and not (plain and is_good(vocab, told)) else result
        value = _anew(draft, concept, marks, marked, vocab)
        if value is not None:
            draft, result = replace(draft, value=value[0], unit=value[1]), "value"
        elif polar == "no" and draft.value is not None:
            continue  # "Twelve weeks, is he? No."
        if result is None:
            continue
        with_side = side if concept.sided and side and result == draft.result else ""
        flags = without_flag(draft.flags, "side_missing") if with_side or concept.negated == result else draft.flags
        steps = (
            ("concept", draft.concept, "asked", clause.a, clause.b),
            ("result", result, "answer", clause.a, clause.b),
        )
        side_now = with_side or draft.side
        out.append(
            replace(draft, result=result, side=side_now, flags=flags, a=clause.a, b=clause.b, steps=steps, retracted=())
        )
    for concept_id in question.open_concepts:
        out += _open(vocab, concept_id, marks, marked, clause, polar, side)
    return out


def _plain(marked: Marked, hit: Hit[CueReading]) -> bool:
    """A yes or no in so many words."""
    return bool(marked.words(hit.a, hit.b) & {"yes", "yeah", "yep", "no", "nope", "aye", "never"})


def _echoes(vocab: Vocabulary, marked: Marked, question: Question, clause: Clause) -> bool:
    """ "Any jerking or shaking? His right arm shakes sometimes.": what was asked is said again, undenied."""
    if clause.b - clause.a < 3 or any(v == "not" for v, _ in marked.cued("negation", clause.a, clause.b)):
        return False
    if marked.words(clause.a, clause.b) & vocab.listed("wishes"):
        return False
    return any(t.stem in question.asked_words and len(t.stem) > 3 for t in marked.tokens[clause.a : clause.b])


def _anew(
    draft: Draft, concept: Concept, marks: Sequence[Mark], marked: Marked, vocab: Vocabulary
) -> tuple[float, str] | None:
    """ "So she's twelve weeks now? Thirteen, actually.": a bare number answers in the unit of the question."""
    if draft.value is None:
        return None
    bare = next((m.number for m in marks if m.number is not None), None)
    if bare is not None and not bare.unit and draft.unit is not None:
        return round(bare.value, 2), draft.unit
    value = value_of(concept, marks, marked, vocab)
    return value[:2] if value is not None else None


def _tells_more(vocab: Vocabulary, marked: Marked, hit: Hit[CueReading], clause: Clause) -> bool:
    """ "We didn't measure it" denies the measuring, not what was asked; "he hasn't, not really" answers."""
    end = next((k + 1 for k in range(hit.b, clause.b) if marked.tokens[k].stop), clause.b)
    rest = marked.words(hit.b, end) - vocab.listed("answer_tail")
    return bool(rest) and not any(m.kind in ("concept", "result") for m in marked.within(hit.b, end))


def _result(vocab: Vocabulary, concept_id: str, marks: Sequence[Mark]) -> str | None:
    for mark in marks:
        if mark.kind in ("result", "concept") and mark.gives():
            fitted = fit_result(vocab, concept_id, mark)
            if fitted is not None:
                return fitted
    return None


def _open(
    vocab: Vocabulary,
    concept_id: str,
    marks: Sequence[Mark],
    marked: Marked,
    clause: Clause,
    polar: str,
    side: str,
) -> list[Draft]:
    concept = vocab.concepts[concept_id]
    value = value_of(concept, marks, marked, vocab)
    result = "value" if value else _result(vocab, concept_id, marks)
    if result is None and polar == "yes":
        result = concept.stated or next((r for r in ("good", "present") if r in concept.results), None)
    if result is None and polar == "no":
        result = concept.negated or next((r for r in ("absent",) if r in concept.results), None)
    if result is None:
        return []
    step = ("concept", concept_id, "asked", clause.a, clause.b)
    return [
        Draft(
            concept=concept_id,
            site=concept.site,
            side=(side if concept.sided else "") or "none",
            level=None,
            result=result,
            a=clause.a,
            b=clause.b,
            value=value[0] if value else None,
            unit=value[1] if value else None,
            degree=marked.degree(clause.a, clause.b),
            flags=value[2] if value else (),
            steps=(step, ("result", result, "answer", clause.a, clause.b)),
        )
    ]
