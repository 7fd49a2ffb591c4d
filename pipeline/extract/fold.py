"""The fold over utterances: ``step(state, words, utterance) -> (state, events)``; batch and live run the same steps.

Inside an utterance: tokens -> clauses -> marks -> spoken corrections -> acts -> frames -> drafts -> items. Between
utterances only the state goes on: the structure under the hands, an open question, a treatment under way, the ledger.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from pipeline.extract import annotate
from pipeline.extract.acts import ALL, DOING, Act, acts_of, kinds_of
from pipeline.extract.ages import told_ages
from pipeline.extract.answers import Question, answered, asked
from pipeline.extract.clauses import Clause, Splitter
from pipeline.extract.corrections import Mended, mend
from pipeline.extract.focus import Focus, Target
from pipeline.extract.frames import Frame, FrameBuilder, is_good
from pipeline.extract.ledger import Ledger
from pipeline.extract.lexicon import Lexicon
from pipeline.extract.marks import Mark, Marked, Marker
from pipeline.extract.resolve import OTHER, Draft, Resolver
from pipeline.extract.tokens import Token, Tokeniser
from pipeline.extract.values import NumberReader
from pipeline.model import (
    Age,
    ClauseAccount,
    ClauseClass,
    Extraction,
    Item,
    ItemEvent,
    Kind,
    Span,
    TraceStep,
    Transcript,
    Word,
    WordRange,
    span_of,
)
from pipeline.vocabulary import Vocabulary

TREATED_CLAUSES = 10
CUE_KINDS: dict[str, Kind] = {"treat": "treatment", "advise": "advice", "plan": "plan"}
ASKED: frozenset[Kind] = frozenset({"history", "finding"})


@dataclass
class State:
    """What the fold carries from one utterance to the next. ``step`` changes it in place and returns it."""

    recording: str
    age: Age | None
    gestation_weeks: int | None
    ledger: Ledger
    focus: Focus = field(default_factory=Focus)
    question: Question | None = None
    treatment: str | None = None
    treated_at: int = 0
    last: tuple[str, ...] = ()
    offered: tuple[str, ...] = ()
    loose: tuple[int, float, str] | None = None
    birth_at: int = -9
    clause: int = 0
    accounts: list[ClauseAccount] = field(default_factory=list)


class Extractor:
    """Finds the items of a narration. Build once for a vocabulary, use for any number of transcripts."""

    def __init__(self, vocab: Vocabulary) -> None:
        self._vocab = vocab
        self._tokeniser = Tokeniser(vocab)
        lexicon = Lexicon(vocab, self._tokeniser)
        self._splitter = Splitter(lexicon)
        self._marker = Marker(lexicon, NumberReader(vocab))
        self._resolver = Resolver(vocab)

    def start(self, recording: str, *, age: Age | None = None, gestation_weeks: int | None = None) -> State:
        """The state before the first utterance of a recording."""
        return State(recording, age, gestation_weeks, Ledger(recording))

    def extract(
        self, transcript: Transcript, *, age: Age | None = None, gestation_weeks: int | None = None
    ) -> Extraction:
        """All items of a transcript: the fold over all its utterances."""
        state = self.start(transcript.recording, age=age, gestation_weeks=gestation_weeks)
        for utterance in transcript.utterances:
            self.step(state, transcript.words, utterance)
        return self.result(state)

    def result(self, state: State) -> Extraction:
        """Items, account of the clauses and traces as the state has them now."""
        records = state.ledger.records
        return Extraction(
            items=state.ledger.items(),
            clauses=tuple(
                a.model_copy(update={"items": tuple(i for i in a.items if i in records)}) for a in state.accounts
            ),
            trace={identity: record.steps for identity, record in records.items()},
        )

    def step(self, state: State, words: Sequence[Word], utterance: WordRange) -> tuple[State, list[ItemEvent]]:
        """Take one more utterance, the words ``i0 <= i < i1``; returns the state and what changed among the items."""
        tokens = self._tokeniser(words[utterance[0] : utterance[1]])
        clauses = self._splitter(tokens)
        region = state.focus.targets[0].site if state.focus.targets else None
        marked = self._marker(tokens, frozenset(c.head for c in clauses), frozenset(c.b - 1 for c in clauses), region)
        mended = mend(marked)
        acts = acts_of(mended.marked, clauses)
        turn = _Turn(self._vocab, self._resolver, state, words, mended, clauses)
        for clause, act in zip(clauses, acts, strict=True):
            turn.take(clause, act)
        self._account(state, turn, tokens, clauses, utterance)
        return state, state.ledger.take_events()

    def _account(
        self, state: State, turn: "_Turn", tokens: Sequence[Token], clauses: Sequence[Clause], utterance: WordRange
    ) -> None:
        """Every word of the utterance falls into one clause, also words without a token."""
        if not clauses:
            if utterance[1] > utterance[0]:
                state.accounts.append(ClauseAccount(words=utterance, clause_class=ClauseClass.CHAT, why="no words"))
            return
        at = utterance[0]
        for n, (clause, (kind, why, items, terms)) in enumerate(zip(clauses, turn.classes, strict=True)):
            last = n + 1 == len(clauses)
            end = utterance[1] if last else max(at, tokens[clauses[n + 1].a].word)
            if end > at:
                state.accounts.append(
                    ClauseAccount(words=(at, end), clause_class=kind, why=why, items=items, terms=terms)
                )
            at = end


class _Turn:
    """One utterance being read: its clauses in order, against the state."""

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
        self._at = 0
        self.classes: list[tuple[ClauseClass, str, tuple[str, ...], tuple[str, ...]]] = []
        if mended.pending:
            self._correct_earlier(mended.pending)
        if mended.swap:
            self._swap()

    # ------------------------------------------------------------ a clause

    def take(self, clause: Clause, act: Act) -> None:
        """Read one clause into the ledger and class it."""
        state, marked = self._state, self._marked
        state.clause += 1
        state.focus.now = state.clause
        now = marked.tokens[clause.a].start_ms
        marks = [m for m in marked.marks if clause.a <= m.a < clause.b]
        terms = self._terms(marks)
        if act.name == "retract":
            self._scratch(clause)
            return self._class(ClauseClass.COMMAND, act.why, (), terms)
        ids: list[str] = []
        if (state.question is not None or state.offered) and act.name != "question":
            ids += self._answer(clause, now)
        frames = FrameBuilder(self._vocab, marked, clause).build(repaired=self._mended.repaired)
        if ids:  # the bare number of an answer is no measurement of its own
            frames = [f for f in frames if not f.numbers or f.concepts or f.results or f.sites]
        self._mention(clause, act, frames, now)
        if act.name == "question":
            ids += self._ask(clause, frames, now)
            kind = ClauseClass.ITEM if ids else ClauseClass.QUESTION
            return self._class(kind, act.why, tuple(ids), terms)
        if act.name == "hypothetical":
            ids += self._return_if(clause)
        else:
            ids += self._read(clause, act, frames, marks, now)
        if marks:
            state.last = tuple(ids)
        if ids:
            return self._class(ClauseClass.ITEM, "", tuple(dict.fromkeys(ids)), terms)
        if act.silent is not None:
            return self._class(act.silent, act.why, (), terms)
        heading = bool(marks) and all(m.kind in ("site", "level", "side") for m in marks)
        if heading:
            return self._class(ClauseClass.ANNOUNCEMENT, "names a structure, says nothing of it", (), terms)
        if terms:
            return self._class(ClauseClass.UNPLACED, "trade terms, no finding read", (), terms)
        return self._class(ClauseClass.CHAT, "no trade terms", (), ())

    def _mention(self, clause: Clause, act: Act, frames: Sequence[Frame], now: int) -> None:
        """A structure named in an explanation or a question is what "his is tight", just after, is about."""
        focus, at = self._state.focus, self._state.clause
        named = tuple(t for frame in frames for t in self._resolver.targets(frame))
        if act.silent is not None and act.name not in ("announce", "chat", "command"):
            if named:
                keep = act.name == "earlier"  # "last time the left hip was tight; today it moves freely"
                focus.mentioned = tuple(t if keep else replace(t, side="") for t in named[-1:])
                focus.mentioned_at = at
                told = [d for f in frames for d in self._resolver.read(f, focus, ALL, self._marked, live=False)[0]]
                focus.mentioned_state = (told[-1].concept, told[-1].result) if told and keep else None
            return
        pointing = self._marked.tokens[clause.head].text in self._vocab.words["pointing"]
        near = at - focus.mentioned_at <= 1 and (pointing or not focus.live(at, now))
        if near and not named and not frames_name(frames):
            focus.shift(focus.mentioned, at, now)
            if focus.mentioned_state is not None:
                focus.concept, focus.result = focus.mentioned_state
                focus.clause_of_concept = at

    def _class(self, kind: ClauseClass, why: str, ids: tuple[str, ...], terms: tuple[str, ...]) -> None:
        self.classes.append((kind, why, ids, terms))

    def _terms(self, marks: Sequence[Mark]) -> tuple[str, ...]:
        tokens = self._marked.tokens
        return tuple(
            " ".join(t.text for t in tokens[m.a : m.b]) for m in marks if m.kind in ("site", "concept", "level")
        )

    def _read(self, clause: Clause, act: Act, frames: Sequence[Frame], marks: Sequence[Mark], now: int) -> list[str]:
        state, marked = self._state, self._marked
        cues = marked.acts(clause.a, clause.b)
        kinds = kinds_of(act, self._present(clause, marks, cues), cues)
        ids: list[str] = []
        if not kinds:
            return ids
        if "history" in kinds:
            ids += self._file(told_ages(state, marked, clause, marks), clause, now)
        skipped = annotate.skipped(marked, clause)
        if skipped is not None and not self._withholds(marks):
            return ids + self._skipped(clause, frames, skipped, now)
        for frame in frames:
            if self._treated(frame, clause, ids):
                continue
            state.focus.seen = state.focus.seen or self._marked.tokens[clause.head].text in ("that", "this")
            drafts, own = self._resolver.read(
                frame, state.focus, kinds, marked, live=state.focus.live(state.clause, now)
            )
            if act.name == "announce" and not self._after_comma(frame, clause):
                drafts = [d for d in drafts if self._vocab.concepts[d.concept].kind != "finding"]
            drafts = [self._withheld(d, frame) for d in drafts if not self._no_other(d, frame)]
            drafts = self._timed(drafts, clause, marks)
            drafts = self._rechecked(drafts, frames, own)
            filed = self._file(drafts, clause, now)
            if not drafts:
                filed = self._late_side(frame, clause) or self._late_site(frame, clause, own)
            ids += filed
            self._shift(frame, own, drafts, now)
        return ids

    def _present(self, clause: Clause, marks: Sequence[Mark], cues: set[str]) -> set[Kind]:
        """Kinds of the treatments, advice and plans that the clause names, as far as their words mean nothing else.

        "turned to" may be a position or advice: it is advice only where the clause advises.
        """
        backed: set[Kind] = set()
        for cue, kind in CUE_KINDS.items():
            if cue in cues:
                backed.add(kind)
        found: set[Kind] = set()
        finds = any(self._kinds(m) & {"finding", "history"} for m in marks)
        theirs = self._marked.tokens[clause.head].text in self._vocab.words["not_the_hands"]
        for mark in marks:
            kinds = self._kinds(mark)
            kinds = kinds if kinds <= DOING else kinds & backed
            if "treatment" in kinds and "treatment" not in backed and (theirs or (finds and mark.word)):
                kinds = kinds - {"treatment"}  # "he's working on a poop", "head held in a tilt"
            found |= kinds
        return found & DOING

    def _kinds(self, mark: Mark) -> set[Kind]:
        return {self._vocab.concepts[r.concept].kind for r in mark.readings if r.role in ("say", "means")}

    def _after_comma(self, frame: Frame, clause: Clause) -> bool:
        """ "Let me see the hips, both fine": what follows the comma was found."""
        return any(self._marked.tokens[k].stop == "," for k in range(clause.head, max(frame.a, clause.head)))

    def _no_other(self, draft: Draft, frame: Frame) -> bool:
        """ "No other birthmarks" denies the rest, not the one just found."""
        denied = [m for m in frame.concepts if frame.denied(m) and draft.concept in m.says()]
        tokens = self._marked.tokens
        return any(m.a and tokens[m.a - 1].text in ("other", "further", "more", "new") for m in denied)

    def _timed(self, drafts: Sequence[Draft], clause: Clause, marks: Sequence[Mark]) -> list[Draft]:
        """ "Three weeks, and then I'll see you again": the interval stands in the clause before or after."""
        state = self._state
        out = []
        for draft in drafts:
            loose = state.loose
            if draft.concept == "plan.next_visit" and draft.value is None and loose and state.clause - loose[0] <= 1:
                draft = replace(draft, result="value", value=loose[1], unit=loose[2])
            out.append(draft)
        times = [m.number for m in marks if m.number is not None and m.number.unit in ("d", "wk", "mo")]
        if times and not drafts:
            number = times[-1]
            state.loose = (state.clause, round(number.value, 2), number.unit)
            for record in state.ledger.last(state.last):
                item = record.item
                if item.concept == "plan.next_visit" and item.value is None and state.clause - record.clause <= 1:
                    span = span_of(self._words, *self._range(clause.a, clause.b))
                    slots = {"result": "value", "value": round(number.value, 2), "unit": number.unit}
                    state.ledger.amend(item.id, state.clause, None, evidence=(*item.evidence, span), **slots)
        return out

    def _rechecked(self, drafts: Sequence[Draft], frames: Sequence[Frame], own: Sequence[Target]) -> list[Draft]:
        """What is to be looked at again: every structure named in the clause, or where the finding named was found."""
        if not any(d.concept == "plan.recheck" for d in drafts):
            return list(drafts)
        named = list(own) + [t for f in frames for t in self._resolver.targets(f) if t not in own]
        for mark in (m for f in frames for m in f.concepts):
            concept = self._resolver.named(mark, None, frozenset({"finding"}))
            place = self._found_at(concept) if concept is not None else None
            if place is not None and place.site not in {t.site for t in named}:
                named.append(place)
        first = next(d for d in drafts if d.concept == "plan.recheck")
        rest = [d for d in drafts if d.concept != "plan.recheck"]
        if not named:
            return [*rest, first]
        return [*rest, *(self._again(first, t) for t in named)]

    def _again(self, draft: Draft, target: Target) -> Draft:
        site = self._vocab.sites[target.site or "whole_body"]
        side = target.side if site.paired and target.side in ("left", "right", "both") else ""
        if not side and target.plural and site.paired:
            side = "both"
        return replace(draft, site=site.id, side=side or "none", level=target.level)

    def _found_at(self, concept: str) -> Target | None:
        """Where this visit last found it, else its default site."""
        for record in reversed(self._state.ledger.records.values()):
            if record.item.concept == concept:
                return Target(record.item.site, record.item.side, record.item.level)
        site = self._vocab.concepts[concept].site
        return Target(site) if site else None

    def _withheld(self, draft: Draft, frame: Frame) -> Draft:
        concept = self._vocab.concepts[draft.concept]
        if concept.kind != "treatment" or draft.concept == "technique.withheld":
            return draft
        if any(frame.denied(m) for m in (*frame.concepts, *frame.results)):
            flags = tuple(f for f in draft.flags if f != "side_missing")
            return replace(draft, concept="technique.withheld", result="withheld", flags=flags)
        return draft

    # ------------------------------------------------------------ filing

    def _file(self, drafts: Sequence[Draft], clause: Clause, now: int, *, question: Span | None = None) -> list[str]:
        today = bool({"today"} & self._marked.acts(clause.a, clause.b))
        ids = []
        for draft in drafts:
            item, steps = self._item(draft, clause, question)
            turned = clause.joint in ("but", "though", "although") and draft.rule.startswith("carried")
            corrects = self._mended.cued and not draft.retracted
            identity = self._state.ledger.add(
                item, self._state.clause, steps, corrects=corrects, today=today, turned=turned
            )
            ids.append(identity)
            if item.kind == "treatment" and item.concept != "technique.withheld":
                self._state.treatment, self._state.treated_at = identity, self._state.clause
                self._state.ledger.treated = self._state.clause
        return ids

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
        if concept.id == "technique.mobilisation" and "force_unsaid" not in flags:
            flags = (*flags, "force_unsaid")
        words = self._words[slice(*self._range(a, b))]
        p = min((w.p for w in words), default=1.0)
        confidence = p * (0.6 if draft.inherited else 1.0)
        if any("repaired_term" in w.flags for w in words):
            flags = (*flags, "repaired_term")
        if confidence < 0.5:
            flags = (*flags, "low_confidence")
        own = concept.kind in ("treatment", "advice")
        item = Item(
            id="",
            kind=concept.kind,
            concept=concept.id,
            site=draft.site,
            side=draft.side,  # type: ignore[arg-type]
            level=draft.level,
            result=draft.result,
            value=draft.value,
            unit=draft.unit,
            degree=draft.degree,
            reporter="caregiver" if told or role in ("mother", "father", "other_carer") else "clinician",
            source_role=role,
            change=annotate.change(marked, clause, draft.b) if not own else None,
            dose=annotate.dose(marked, clause) if own else None,
            onset=annotate.onset(marked, clause) if told and draft.value is None else None,
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

    def _range(self, a: int, b: int) -> WordRange:
        tokens = self._marked.tokens
        return tokens[a].word, tokens[min(b, len(tokens)) - 1].word + 1

    # ------------------------------------------------------------ focus

    def _shift(self, frame: Frame, own: tuple[Target, ...], drafts: Sequence[Draft], now: int) -> None:
        focus, clause = self._state.focus, self._state.clause
        found = [d for d in drafts if self._vocab.concepts[d.concept].kind in ("finding", "treatment")]
        if own:
            focus.shift(own, clause, now)
        elif found and found[-1].site is not None and self._seated(found[-1]):
            last = found[-1]
            if last.site not in {t.site for t in focus.targets}:
                side = "" if last.side == "none" else last.side
                focus.shift((Target(last.site, side, last.level),), clause, now)
            focus.touch(clause, now)
        if frame.side == "other" and frame.ellipsis is not None:
            return  # "and the other, no": the talk goes on about the first
        said = (
            frame.side
            if frame.side in ("left", "right", "both")
            else OTHER.get(focus.side, "") * (frame.side == "other")
        )
        if said and focus.targets:
            focus.targets = tuple(replace(t, side=said) for t in focus.targets)
            focus.side = said
            focus.touch(clause, now)
        named = [c for m in frame.concepts for c in m.says()]
        if named and not said and focus.concept not in named and not self._paired(focus):
            focus.side = ""  # the direction of the movement before
        if drafts:
            kind = self._vocab.concepts[drafts[-1].concept].kind
            focus.seen, focus.treated = kind in ("finding", "treatment"), kind == "treatment"
        if found:
            for draft in found:
                if draft.concept.startswith("motion."):
                    focus.seats[draft.concept] = Target(draft.site, "", draft.level)
            focus.concept, focus.result = found[-1].concept, found[-1].result
            focus.clause_of_concept = clause
            focus.touch(clause, now)
        elif named:
            kinds = [c for c in named if self._vocab.concepts[c].kind == "finding"]
            if kinds and (own or self._fits_here(frame.concepts[-1])):
                site = focus.targets[0].site if focus.targets else None
                chosen = self._resolver.named(frame.concepts[-1], site, frozenset({"finding"})) or kinds[0]
                concept = self._vocab.concepts[chosen]
                if not own and concept.site is not None and concept.site not in {t.site for t in focus.targets}:
                    focus.shift((Target(concept.site, said),), clause, now)
                focus.concept, focus.result = chosen, None
                focus.clause_of_concept = clause
                focus.touch(clause, now)

    def _fits_here(self, mark: Mark) -> bool:
        """The concept named makes sense at the structure in hand, or has a place of its own."""
        sites = [t.site for t in self._state.focus.targets]
        for concept_id in mark.says():
            concept = self._vocab.concepts[concept_id]
            if concept.site is not None or any(self._resolver.distance(concept, s) is not None for s in sites):
                return True
        return False

    def _paired(self, focus: Focus) -> bool:
        sites = self._vocab.sites
        return any(t.site in sites and sites[t.site].paired for t in focus.targets)

    def _seated(self, draft: Draft) -> bool:
        return draft.site not in ("whole_body", "skin", None)

    def _late_side(self, frame: Frame, clause: Clause) -> list[str]:
        """ "That's tight. The left one." gives the finding before it its side."""
        if frame.side not in ("left", "right", "both") or frame.sites or frame.levels or frame.concepts or frame.told:
            return []
        for record in self._state.ledger.last(self._state.last):
            item = record.item
            if "side_missing" in item.flags and self._state.clause - record.clause <= 1:
                step = TraceStep(
                    slot="side", value=frame.side, rule="said after it", words=self._range(frame.a, frame.b)
                )
                flags = tuple(f for f in item.flags if f != "side_missing")
                span = span_of(self._words, *self._range(clause.a, clause.b))
                self._state.ledger.amend(
                    item.id, self._state.clause, step, side=frame.side, flags=flags, evidence=(*item.evidence, span)
                )
                return [item.id]
        return []

    def _late_site(self, frame: Frame, clause: Clause, own: tuple[Target, ...]) -> list[str]:
        """ "This side's tight, the right one, it's the SCM": the structure comes last."""
        if clause.hard or len(own) != 1 or frame.told or frame.concepts:
            return []
        if self._marked.tokens[clause.head].text not in ("it", "that", "this"):
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
            slots = {"site": site.id, "side": side, "level": own[0].level, "evidence": (*item.evidence, span)}
            self._state.ledger.amend(item.id, self._state.clause, step, **slots)
            return [item.id]
        return []

    # ------------------------------------------------------------ question and answer

    def _ask(self, clause: Clause, frames: Sequence[Frame], now: int) -> list[str]:
        state = self._state
        drafts = [
            d
            for frame in frames
            for d in self._resolver.read(frame, Focus(), frozenset({"history", "plan"}), self._marked, live=False)[0]
        ]
        plans = [d for d in drafts if d.concept == "plan.next_visit"]
        state.offered = tuple(self._file(plans, clause, now))
        n = self._clauses.index(clause)
        if not any(f.concepts or f.results for f in frames) and n and not clause.hard and not self._state.last:
            before = self._clauses[n - 1]  # "And birth weight, do you remember?"
            frames = FrameBuilder(self._vocab, self._marked, before).build()
            clause = replace(clause, a=before.a)
        span = span_of(self._words, *self._range(clause.a, clause.b), role="question")
        question = asked(self._vocab, self._resolver, frames, drafts, span, state.clause)
        if question is not None:
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
        state.question = None
        return self._file(drafts, clause, now, question=question.span)

    # ------------------------------------------------------------ treatment, safety net, skipped

    def _treated(self, frame: Frame, clause: Clause, ids: list[str]) -> bool:
        """ "It's letting go": the result of the treatment under way, where the frame names nothing else."""
        state = self._state
        if state.treatment is None or state.treatment not in state.ledger.records:
            return False
        if state.clause - state.treated_at > TREATED_CLAUSES:
            return False
        item = state.ledger.records[state.treatment].item
        own = self._resolver.targets(frame)
        if own and all(t.site != item.site for t in own):
            return False
        for mark in (*frame.results, *frame.concepts):
            result = next(
                (
                    r.result
                    for r in mark.gives()
                    if r.concept == item.concept and r.role != "say" and r.result != "done"
                ),
                None,
            )
            if result is None:
                continue
            if frame.denied(mark):
                result = "done" if result in ("released", "partial") else result
            span = span_of(self._words, *self._range(clause.a, clause.b))
            step = TraceStep(slot="result", value=result, rule="after treatment", words=span.words)
            state.ledger.amend(item.id, state.clause, step, result=result, evidence=(*item.evidence, span))
            ids.append(item.id)
            return True
        return False

    def _return_if(self, clause: Clause) -> list[str]:
        """A condition with somebody to call is advice on what to come back for."""
        marked = self._marked
        n = self._clauses.index(clause)
        first = n
        while first > 0 and not self._clauses[first].hard:
            first -= 1
        last = n
        while last + 1 < len(self._clauses) and not self._clauses[last + 1].hard:
            last += 1
        a, b = self._clauses[first].a, self._clauses[last].b
        cues = marked.acts(a, b)
        if (
            "advice.return_if" not in self._vocab.concepts
            or not ({"contact", "watch_for"} & cues)
            or "hypothetical" not in cues
        ):
            return []
        if (
            marked.tokens[b - 1].stop == "?"
            or "would" in {t.text for t in marked.tokens[a:b]} & {"would"}
            and "you" not in {t.text for t in marked.tokens[a:b]}
        ):
            return []
        draft = Draft(
            "advice.return_if",
            None,
            "none",
            None,
            "given",
            a,
            b,
            steps=(("concept", "advice.return_if", "condition and contact", a, b),),
        )
        return self._file([draft], replace(clause, a=a, b=b), marked.tokens[a].start_ms)

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
                    ids += self._file([draft], clause, now)
            if own and not ids and not frame.results:
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
                ids += self._file(drafts, clause, now)
            self._shift(frame, own, (), now)
        return ids or self._left_out(clause, at)

    def _plural_side(self, target: Target) -> str:
        return target.side if target.side in ("left", "right", "both") else "both" if target.plural else "none"

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
                    evidence=(*item.evidence, span),
                )
                return [item.id]
        return []

    # ------------------------------------------------------------ corrections that look back

    def _scratch(self, clause: Clause) -> None:
        for record in self._state.ledger.last(self._state.last):
            self._state.ledger.retract(record.item.id, "taken back by the speaker")
        self._state.last = ()

    def _correct_earlier(self, pending: Sequence[Mark]) -> None:
        """ "Sorry, I said right, it's the left": the last statement that has such a slot is put right."""
        for right in pending:
            for record in self._state.ledger.last(self._state.last):
                item = record.item
                slots: dict[str, object] = {}
                if right.kind == "side" and right.side in OTHER and item.side in OTHER and item.side != right.side:
                    slots = {"side": right.side}
                elif (
                    right.kind == "level" and right.level is not None and item.level and item.level != right.level.text
                ):
                    slots = {"level": right.level.text}
                elif right.kind == "number" and right.number is not None and item.value is not None:
                    value = self._resolver.measured(self._vocab.concepts[item.concept], right.number)
                    slots = {"value": value[0], "unit": value[1]} if value and value[0] != item.value else {}
                if not slots:
                    continue
                span = span_of(self._words, *self._range(right.a, right.b))
                old = tuple(s.model_copy(update={"role": "retracted"}) for s in item.evidence)
                flags = (*item.flags, "corrected") if "corrected" not in item.flags else item.flags
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
                    item.id, self._state.clause, side=OTHER[item.side], flags=(*item.flags, "corrected")
                )


def frames_name(frames: Sequence[Frame]) -> bool:
    """Any concept or structure is named in the frames."""
    return any(frame.concepts or frame.sites or frame.levels for frame in frames)
