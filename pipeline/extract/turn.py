"""One utterance being read, clause by clause, against the state of the fold."""

from collections.abc import Sequence
from dataclasses import replace

from pipeline.extract import annotate
from pipeline.extract.acts import ADVISING, ALL, DOING, Act, kinds_of
from pipeline.extract.afterthoughts import Afterthoughts
from pipeline.extract.ages import told_ages
from pipeline.extract.clauses import Clause, place_of
from pipeline.extract.corrections import Mended
from pipeline.extract.dialogue import Dialogue
from pipeline.extract.drafts import Draft
from pipeline.extract.focus import Target
from pipeline.extract.frames import Frame, FrameBuilder
from pipeline.extract.left_out import LeftOut
from pipeline.extract.marks import Mark
from pipeline.extract.plans import Plans
from pipeline.extract.resolve import Resolver
from pipeline.extract.state import State
from pipeline.model import ClauseClass, Kind, Word
from pipeline.vocabulary import Vocabulary

CUE_KINDS: dict[str, Kind] = {"treat": "treatment", "advise": "advice", "plan": "plan"}


class Turn(Plans, LeftOut, Afterthoughts, Dialogue):
    """Reads the clauses of one utterance in order; ``classes`` says what became of each."""

    def __init__(
        self,
        vocab: Vocabulary,
        resolver: Resolver,
        state: State,
        words: Sequence[Word],
        mended: Mended,
        clauses: Sequence[Clause],
    ) -> None:
        super().__init__(vocab, resolver, state, words, mended, clauses)
        self.classes: list[tuple[ClauseClass, str, tuple[str, ...], tuple[str, ...]]] = []

    def take(self, clause: Clause, act: Act) -> None:
        """Read one clause into the ledger and class it."""
        state, marked = self._state, self._marked
        state.clause += 1
        state.focus.now = state.clause
        now = marked.tokens[clause.a].start_ms
        marks = list(marked.within(clause.a, clause.b))
        terms = self._terms(marks)
        if act.name == "retract":
            self._scratch(marks)
            return self._class(ClauseClass.COMMAND, act.why, (), terms)
        ids: list[str] = []
        if (state.question is not None or state.offered) and act.name != "question":
            ids += self._answer(clause, now)
        self._correct_earlier([m for m in self._mended.pending if clause.a <= m.a < clause.b])
        if any(clause.a <= at < clause.b for at in self._mended.swaps):
            self._swap()
        if any(clause.a <= at < clause.b for at in self._mended.doubts):
            state.doubted_at = state.clause
        frames = FrameBuilder(self._vocab, marked, clause).build(repaired=self._mended.repaired)
        if ids:  # the bare number of an answer is no measurement of its own
            frames = [f for f in frames if not f.numbers or f.concepts or f.results or f.sites]
        self._mention(clause, act, frames, now)
        for reading in (r for m in marks for r in m.readings if r.concept in self._vocab.awaiting):
            if reading.role in ("say", "means"):
                state.focus.measured, state.focus.measured_at = self._vocab.awaiting[reading.concept], state.clause
        if act.name == "question":
            ids += self._ask(clause, frames, now)
            kind = ClauseClass.ITEM if ids else ClauseClass.QUESTION
            return self._class(kind, act.why, tuple(ids), terms)
        if act.name == "hypothetical":
            ids += self._return_if(clause)
        else:
            ids += self._read(clause, act, frames, marks, now)
        if ids or any(m.kind in ("concept", "result") for m in marks):
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
        if act.silent is not None and act.name not in ("announce", "chat"):
            keep = act.name == "earlier"  # "last time the left hip was tight; today it moves freely"
            read = frames if keep else ()
            told = [d for f in read for d in self._resolver.read(f, focus, ALL, self._marked, live=False)[0]]
            if told and not named and told[-1].site is not None:  # "last time his rotation was forty"
                held = focus.side if told[-1].site in {t.site for t in focus.targets} else ""
                named = (Target(told[-1].site, told[-1].side.replace("none", held)),)
            if len(named) == 1:  # "runs from the ear to the collarbone" is about neither
                focus.mentioned = tuple(t if keep else replace(t, side="") for t in named[-1:])
                focus.mentioned_at = at
                focus.mentioned_state = (told[-1].concept, told[-1].result) if told else None
            return
        pointing = self._marked.tokens[clause.head].text in self._vocab.listed("pointing")
        anew = focus.mentioned_state is not None and "today" in self._marked.acts(clause.a, clause.b)
        near = at - focus.mentioned_at <= 1 and (pointing or anew or not focus.live(at, now))
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
        elsewhere = cues & {"earlier", "other", "doubt", "teach"}
        events = act.name == "earlier" and "ago" in cues and not elsewhere  # "she had a seizure last week"
        if events:
            kinds = frozenset({"history"})
        ids: list[str] = []
        if self._told_of_before(clause):
            kinds = kinds - {"finding"}
        if annotate.source_role(marked, clause) in ("mother", "father", "other_carer") and not cues & ADVISING:
            kinds = kinds - {"advice", "treatment"}  # "Granny says swaddling makes the legs straight"
        if "advise" not in cues and self._kept_up(clause):
            kinds = kinds - {"advice"}
        if not kinds or self._only_a_reason(clause):
            return ids
        if "history" in kinds and not events:
            ids += self._file(told_ages(state, marked, clause, marks), clause)
        less = self._scarcely(clause, marks)
        if less:
            return less
        skipped = annotate.skipped(marked, clause)
        if skipped is not None and not self._withholds(marks):
            return ids + self._skipped(clause, frames, skipped, now)
        for frame in frames:
            if kinds & DOING:
                self._recall(frame, now)
            done = not cues & ADVISING and self._treated(frame, clause, ids)
            if done or self._weaker_side(frame, clause, ids):
                continue
            state.focus.seen = state.focus.seen or self._marked.tokens[clause.head].text in ("that", "this")
            drafts, own = self._resolver.read(
                frame, state.focus, kinds, marked, live=state.focus.live(state.clause, now)
            )
            if act.name in ("announce", "bid") and not self._after_comma(frame, clause):
                drafts = [d for d in drafts if self._vocab.concepts[d.concept].kind != "finding"]
            drafts = [
                self._withheld(d, frame)
                for d in drafts
                if not (
                    self._no_other(d, frame)
                    or self._only_now(d, clause)
                    or self._only_how(d, frame, clause)
                    or self._sums_up(d, clause)
                    or self._feels_inside(d, clause)
                )
            ]
            if events:
                drafts = [d for d in drafts if d.concept in self._vocab.listed("events")]
            drafts = [d for d in drafts if not self._other_booking(d, ids) and not self._at_once(d, act, clause)]
            drafts = self._timed(drafts, clause, marks)
            drafts = [self._hindered(self._sided_before(d, clause), clause) for d in drafts]
            drafts = self._uneven(self._renamed(drafts, clause))
            drafts = [self._on_its_side(d) for d in drafts]
            drafts = self._referred(self._rechecked(drafts, frames, own), frames, clause)
            filed = self._file(drafts, clause)
            late = None
            if not drafts:
                filed = self._late_side(frame, clause) or self._late_site(frame, clause, own)
                late = next(iter(state.ledger.last(filed)), None)
            ids += filed
            self._shift(frame, own, drafts, now)
            if late is not None and late.item.kind == "finding":  # the talk goes on about it: "and the other, no"
                state.focus.concept, state.focus.result = late.item.concept, late.item.result
                state.focus.clause_of_concept = state.clause
        return ids

    def _present(self, clause: Clause, marks: Sequence[Mark], cues: set[str]) -> set[Kind]:
        """Kinds of the treatments, advice and plans that the clause names, as far as their words mean nothing else.

        "turned to" may be a position or advice: it is advice only where the clause advises.
        """
        backed: set[Kind] = set()
        for cue, kind in CUE_KINDS.items():
            if cue in cues:
                backed.add(kind)
        if any(m.number is not None and m.number.unit == "s" for m in marks):
            backed.add("treatment")  # "left trapezius, soft tissue, one minute"
        found: set[Kind] = set()
        finds = any(self._kinds(m) & {"finding", "history"} for m in marks)
        theirs = self._marked.tokens[clause.head].text in self._vocab.listed("not_the_hands")
        subject = self._marked.tokens[clause.head].text
        for mark in marks:
            kinds = self._kinds(mark)
            kinds = kinds if kinds <= DOING else kinds & backed
            unbacked = "treatment" not in backed and (theirs or (finds and mark.word))
            if "treatment" in kinds and (unbacked or subject in ("he", "she", "they")):
                kinds = kinds - {"treatment"}  # "he's working on a poop", "head held in a tilt"
            if "treatment" in kinds and subject in self._vocab.listed("told_to_do") and "treat" not in cues:
                kinds = kinds - {"treatment"}  # "keep a finger on his chest": said to a parent
            if "plan" in kinds and self._under_way(mark, clause, marks):
                kinds = kinds - {"plan"}
            found |= kinds
        return found & DOING

    def _under_way(self, mark: Mark, clause: Clause, marks: Sequence[Mark]) -> bool:
        """ "Rechecking the rotation, seventy-five now": done, not planned."""
        doing = mark.a == clause.head and self._marked.tokens[mark.a].text.endswith("ing")
        return doing and any(m.kind in ("number", "result") and m.a >= mark.b for m in marks)

    def _after_comma(self, frame: Frame, clause: Clause) -> bool:
        """ "Let me see the hips, both fine": what follows the comma was found."""
        begin = max([frame.a, *(m.a for m in frame.numbers[:1])])  # "I turn him left, eighty"
        before = self._marked.tokens[clause.head : max(begin, clause.head)]
        return any(t.stop == "," or t.text == "and" for t in before)

    def _told_of_before(self, clause: Clause) -> bool:
        """ "He was jaundiced": how the infant was is told, not found."""
        opening = [t.text for t in self._marked.tokens[clause.head : clause.head + 2]]
        today = "today" in self._marked.acts(clause.a, clause.b)
        if opening in (["it", "was"], ["that", "was"]):  # "To the left, eighty. It was sixty."
            return any(m.kind == "number" for m in self._marked.within(clause.a, clause.b))
        weighed = "scales" in self._marked.sentence(clause.head)
        return opening[:1] in (["he"], ["she"]) and opening[1:] in (["was"], ["had"]) and not today and not weighed

    def _kept_up(self, clause: Clause) -> bool:
        """ "My husband does the bicycle legs", "we've been swaddling her": what is done at home, and no advice."""
        tokens = self._marked.tokens
        opening = [t.text for t in tokens[clause.head : min(clause.head + 4, clause.b)]]
        if opening[:1] and opening[0] in ("my", "your", "his", "her", "the"):
            opening = opening[1:]
        subject, verb = (*opening, "", "")[:2]
        if subject in self._vocab.listed("carers"):
            finite = verb in self._vocab.listed("finite") - self._vocab.listed("oughts") or verb.endswith("s")
            passive = verb in self._vocab.listed("being") and not "".join(opening[2:3]).endswith("ing")
            return finite and not passive  # "Mum was shown how to"
        goes_on = verb in ("'ve", "have") and "been" in opening[2:]
        habit = verb in self._vocab.listed("habits") and (subject, verb) != ("you", "do")
        return subject in ("i", "we", "you", "they") and (goes_on or habit)

    def _only_a_reason(self, clause: Clause) -> bool:
        """ "Barlow not done, he was crying": why it was left out."""
        near = [r for r in self._state.ledger.last(self._state.last) if self._state.clause - r.clause <= 1]
        left_out = any(r.item.result in ("not_assessed", "withheld") for r in near)
        return left_out and any(v == "reason" for v, _ in self._marked.cued("reasons", clause.a, clause.b))

    def _only_now(self, draft: Draft, clause: Clause) -> bool:
        """ "He cried when I touched it" during the exam is no history of crying; "every evening" would be."""
        n = place_of(clause, self._clauses)
        following = self._clauses[n + 1] if n + 1 < len(self._clauses) else clause
        end = clause.b if following.hard else following.b  # "the crying's way down, now he's only fussy at night"
        words = self._marked.words(clause.a, end)
        told = bool(words & self._vocab.listed("at_home"))
        here = self._state.focus.seen or "cried" in words or {"did", "cry"} <= words
        return draft.concept in self._vocab.listed("told_only") and here and not told

    def _sums_up(self, draft: Draft, clause: Clause) -> bool:
        """ "I didn't feel his back, and that's okay", "chin to chest, so the neck isn't stiff": nothing new."""
        before = [r.item for r in self._state.ledger.last(self._state.last) if self._state.clause - r.clause <= 1]
        same = [i for i in before if i.site == draft.site]
        if draft.concept == "exam.overall" and draft.inherited:
            return any(i.result == "not_assessed" for i in same)
        concludes = clause.joint == "so" and not clause.hard and draft.concept == "motion.general"
        return concludes and any(i.concept.startswith("motion.") and i.result == draft.result for i in same)

    def _feels_inside(self, draft: Draft, clause: Clause) -> bool:
        """ "I put my pinky in his mouth and there's a good suck": what the finger feels there is looked at."""
        if draft.concept != "technique.intraoral" or "treat" in self._marked.acts(clause.a, clause.b):
            return False
        n = place_of(clause, self._clauses)
        following = self._clauses[n + 1] if n + 1 < len(self._clauses) else clause
        end = clause.b if following.hard else following.b
        named = {
            r.concept for m in self._marked.within(clause.a, end) for r in m.readings if r.role in ("say", "means")
        }
        return bool(named & self._vocab.listed("felt_inside"))

    def _only_how(self, draft: Draft, frame: Frame, clause: Clause) -> bool:
        """ "A gentle mobilisation, no thrust" says how it was done."""
        denied = any(frame.denied(m) and draft.concept in m.says() for m in frame.concepts)
        how = draft.concept == "technique.withheld" and "thrust" in self._marked.words(draft.a, draft.b)
        treated = any(self._vocab.concepts[r.item.concept].kind == "treatment" for r in self._state.ledger.recent()[:3])
        near = self._state.clause - self._state.treated_at <= 1 and (how or not clause.hard)
        return (denied or how) and treated and near and self._vocab.concepts[draft.concept].kind == "treatment"

    def _at_once(self, draft: Draft, act: Act, clause: Clause) -> bool:
        """ "Let me feel that again" is done now; "let me look at it again next time" is planned."""
        if draft.concept != "plan.recheck" or act.name != "announce":
            return False
        opening = [t.text for t in self._marked.tokens[clause.head : clause.head + 2]]
        later = self._marked.words(clause.a, clause.b) & self._vocab.listed("later_words")
        return opening == ["let", "me"] and not later

    def _other_booking(self, draft: Draft, ids: Sequence[str]) -> bool:
        """ "The scan's booked for next week" plans no visit here."""
        if (
            draft.concept != "plan.next_visit"
            or draft.value is not None
            or "booked" not in self._marked.words(draft.a, draft.b)
        ):
            return False
        return any(r.item.concept in ("plan.imaging", "plan.refer") for r in self._state.ledger.last(ids))

    def _no_other(self, draft: Draft, frame: Frame) -> bool:
        """ "No other birthmarks" denies the rest, not the one just found."""
        denied = [m for m in frame.concepts if frame.denied(m) and draft.concept in m.says()]
        tokens = self._marked.tokens
        return any(m.a and tokens[m.a - 1].text in ("other", "further", "more", "new") for m in denied)


def frames_name(frames: Sequence[Frame]) -> bool:
    """Any concept or structure is named in the frames."""
    return any(frame.concepts or frame.sites or frame.levels for frame in frames)
