"""Frames -> drafts of items: the open slots are filled from the focus, the words are read as concept and result."""

from collections.abc import Sequence
from dataclasses import replace

from pipeline.extract.carried import Carried
from pipeline.extract.drafts import Draft, unique
from pipeline.extract.focus import Focus, Target
from pipeline.extract.frames import Frame
from pipeline.extract.lexicon import Reading
from pipeline.extract.marks import Mark, Marked
from pipeline.extract.measures import value_of
from pipeline.extract.naming import heading, not_asked_for, points, turns_head
from pipeline.extract.places import FAR, OTHER, SEATED, WITHHELD
from pipeline.extract.results import fit_result, good_result, is_good, opposite, scarce_result
from pipeline.model import Kind
from pipeline.vocabulary import Concept, Vocabulary

AFTERWARDS = ("released", "partial", "not_tolerated")


class Resolver(Carried):
    """Reads frames against vocabulary and focus."""

    def __init__(self, vocab: Vocabulary) -> None:
        super().__init__(vocab)
        self.unseated = vocab.listed("needs_place")

    def choose(self, mark: Mark, site: str | None, kinds: frozenset[Kind], focus_site: str | None) -> Reading | None:
        """Which concept and result a word means by itself, on this site; the one made for the nearest site wins."""
        best: tuple[int, int, Reading] | None = None
        several = len({r.concept for r in mark.gives() if r.role == "means"}) > 1
        for order, reading in enumerate(mark.gives()):
            concept = self.vocab.concepts[reading.concept]
            if reading.role != "means" or concept.kind not in kinds:
                continue
            if concept.kind == "treatment" and reading.result in AFTERWARDS:
                continue  # how a treatment went is no treatment
            at = site if site is not None else focus_site
            if self._crooked(reading, mark, at) or self._other_limb(concept, focus_site if site is None else None):
                continue
            near = self.distance(concept, at)
            nowhere = near == FAR and at is None and concept.site is None and concept.id != WITHHELD
            if near is None or nowhere:
                seat = concept.site or next((s for s in concept.on[:1] if s == "whole_body"), None)  # "she's floppy"
                if seat is None or (site is not None and site not in self.vocab.site_line(seat)):
                    continue
                if concept.kind == "finding" and (several or mark.word in self.unseated):
                    continue  # "open" alone is the fontanelle's only where a fontanelle is in hand
                near = FAR + 1
            if best is None or near < best[0]:
                best = (near, order, reading)
        return best[2] if best else None

    def _crooked(self, reading: Reading, mark: Mark, at: str | None) -> bool:
        """ "It makes the legs straight": straight says "not turned" only of the head, the spine and the pelvis."""
        straight = mark.word.startswith("straight") and reading.concept == "alignment.rotation"
        return straight and at not in self.vocab.listed("straight_sites")

    def _other_limb(self, concept: Concept, held: str | None) -> bool:
        """ "The left arm, he's holding it turned in": said of the arm in hand, not of a foot."""
        if held is None or concept.site is None:
            return False
        line, own = self.vocab.site_line(held), self.vocab.site_line(concept.site)
        return any(a in line and b in own for a, b in (("arm", "leg"), ("leg", "arm")))

    def named(
        self,
        mark: Mark,
        site: str | None,
        kinds: frozenset[Kind],
        *,
        own: Sequence[str | None] = (),
        seen: bool = False,
        said: frozenset[str] = frozenset(),
    ) -> str | None:
        """The concept that a mark names, on this site, among those allowed here.

        ``own``: the sites of the frame itself; a finding of an unrelated part is not meant. ``seen``: the exam is under
        way, so what may be told or seen (a latch) is seen. ``said``: concepts of which a result was said beside it.
        """
        best: tuple[float, str] | None = None
        for concept_id in mark.says():
            concept = self.vocab.concepts[concept_id]
            if concept.kind not in kinds:
                continue
            free = concept.kind != "finding" or concept.id.startswith(SEATED)
            if concept.kind == "history" and concept.site not in (None, "whole_body", "mouth"):
                free = False  # "the palate's arched" tells of no arching back
            if own and not free and not any(self._related(concept, s) for s in own):
                continue
            distances = [d for s in (own or (site,)) if (d := self.distance(concept, s)) is not None]
            sized = concept.site is not None and concept.on and concept.measure is not None
            if not distances and (mark.word in self.unseated or sized):
                continue  # "three millimetres wide" is a dimple's width only at the sacrum
            near: float = min(distances, default=FAR + 1)
            if concept.kind == "history":
                near += 0.5 if seen else -FAR
            if said and concept_id not in said and said & set(mark.says()):
                near += 2 * FAR  # "a strong gag" is the reflex, "gags a lot" the complaint
            if best is None or near < best[0]:
                best = (near, concept_id)
        return best[1] if best else None

    def read(
        self, frame: Frame, focus: Focus, kinds: frozenset[Kind], marked: Marked, *, live: bool
    ) -> tuple[list[Draft], tuple[Target, ...]]:
        """Drafts that the frame gives, and the structures it names itself."""
        own = self.own(frame, focus) or self.neighbour(frame, focus, marked)
        held = focus.targets if live else ()
        if not own and not frame.side and any(t.side in OTHER for t in held) and self._them(frame, marked):
            frame.side = "both"
        context = own or tuple(self._held(frame, focus, held))
        if not own and not frame.side and self._there(frame, focus, marked):
            context = self._with_focus_side(context, focus)
        lone = focus.lone_at == focus.now - 1 and focus.named_at < focus.lone_at
        if not own and not frame.side and lone and (frame.told or frame.concepts):
            frame.side = focus.lone  # "Left side. She curves in."
        drafts: list[Draft] = []
        used: set[int] = set()
        for concept_id in self._concepts(frame, context, kinds, focus, marked):
            drafts += self._named(frame, concept_id, own, context, focus, used, marked)
        drafts += self._meant(frame, own, context, focus, kinds, used, marked, named=bool(drafts))
        drafts = [d for d in drafts if not self._summed_up(d, drafts, marked)]
        if not drafts:
            drafts = self._carried(frame, own, context, focus, kinds, marked)
        return drafts, own

    def _hardly(self, frame: Frame, marked: Marked) -> bool:
        """ "Rooting, hardly there"."""
        said = frame.ellipsis
        return said is not None and bool(marked.words(said.a, said.b) & self.vocab.listed("scarcely"))

    def _them(self, frame: Frame, marked: Marked) -> bool:
        """ "Nothing clunks when I move them": said of the pair, though one side was in hand."""
        end = next((k + 1 for k in range(frame.b - 1, frame.b + 6) if marked.ends(k + 1) or marked.comma(k)), frame.b)
        return "them" in marked.words(frame.a, end)

    def _there(self, frame: Frame, focus: Focus, marked: Marked) -> bool:
        """ "The right side's tight, and he doesn't like me there": the side just said."""
        level = any(t.level for t in focus.targets)  # which way a vertebra is turned is not where the finger is
        near = focus.side in OTHER and not level and focus.clause_of_concept >= focus.now - 1
        return near and marked.tokens[max(frame.b - 1, 0)].text in ("there", "here") and frame.b - frame.a > 1

    def _concepts(
        self, frame: Frame, context: Sequence[Target], kinds: frozenset[Kind], focus: Focus, marked: Marked
    ) -> list[str]:
        site = context[0].site if context else None
        own = [t.site for t in self.targets(frame)]
        said = frozenset(r.concept for m in frame.results for r in m.gives() if r.role == "result")
        found = [self.named(mark, site, kinds, own=own, seen=focus.seen, said=said) for mark in frame.concepts]
        found = [c for c in found if c not in ("history.age", "history.gestation")]  # ages.py reads durations
        born = marked.sentence(frame.a) & {"born", "birth"}
        told = ["history.birth_weight" if c == "measure.weight" and born else c for c in found]
        return list(dict.fromkeys(c for c in told if c is not None))

    def _named(
        self,
        frame: Frame,
        concept_id: str,
        own: Sequence[Target],
        context: Sequence[Target],
        focus: Focus,
        used: set[int],
        marked: Marked,
    ) -> list[Draft]:
        """A concept named in so many words, with the result, number or denial said of it."""
        concept = self.vocab.concepts[concept_id]
        mark = next((m for m in frame.concepts if concept_id in m.says()), frame.concepts[0])
        result, rule, denied = None, "named", frame.denied(mark)
        for word in frame.results:
            fitted = fit_result(self.vocab, concept_id, word)
            if fitted is not None:
                used.add(word.a)
                if denied and concept.negated and fitted == concept.stated and word.a < mark.a:
                    continue  # "there … no lump": the denial of the concept itself holds
                if result is None or result == "open":  # "open, soft and flat" is normal (contract, convention 7)
                    result, rule = fitted, "result word"
                    if frame.denied(word):
                        result, rule = opposite(self.vocab, concept_id, fitted), "denied result"
        value = value_of(concept, frame.numbers, marked, self.vocab)
        if result is None and value is not None:
            result, rule = "value", "number"
        copied = result is None and not denied and self._same(frame, marked) and focus.result in concept.results
        if copied and focus.clause_of_concept >= focus.now - 2:  # "Barlow's negative on the right, and so is Ortolani"
            result, rule = focus.result, "same as before"
            if not frame.side and not own and focus.side in OTHER:
                frame.side = focus.side
        if result is None and (mark.a in frame.scarce or self._hardly(frame, marked)):
            result, rule = scarce_result(self.vocab, concept_id), "hardly there"
        said = frame.ellipsis
        over = said is not None and "resolved" in marked.words(said.a, said.b) and concept.id.startswith("history.")
        if result is None and (denied or (said is not None and not over)):  # "NICU, resolved": what happened stays so
            left_out = concept.stated if denied and own and concept.kind == "treatment" else None
            result, rule = concept.negated or left_out, "denied"  # "no clunk" is absent, "no Ortolani" says nothing
            nothing = said is not None and said.a >= mark.b and marked.tokens[said.a].text in ("nothing", "nil")
            if result is None and nothing:  # "Ortolani, nothing."
                result = good_result(self.vocab, concept_id)
        idle = heading(self.vocab, frame, concept, marked) or not_asked_for(self.vocab, frame, concept, marked)
        either = concept.kind == "finding" and self._alternative(mark, marked)
        if result is None and not denied and not idle and not either:
            result, rule = concept.stated, "stated"
        if result is None:
            return []
        side_said = self._side_only(frame)
        if self._everywhere(concept, marked.words(mark.b, frame.b + 2)):
            sutures = concept.id.startswith("suture.") and not side_said
            context = (Target("suture" if sutures else "whole_body"),)
        if concept.kind == "finding":  # the level was said of what came before
            context = [replace(t, level=None) for t in context]
        skin = self.vocab.listed("of_the_skin")
        if not own and concept_id in self.vocab.listed("else_of_the_skin") and focus.concept in skin:
            context = (Target("skin"),)  # "No rash. No bruises."
        if not own and focus.treated and concept_id in focus.seats:  # tested again where it was tested before
            context = [focus.seats[concept_id]]
        if (
            not own and not focus.headed and concept.id.startswith(SEATED)
        ):  # a test named anew after a one-sided finding
            context = [replace(t, side="") if t.side in OTHER else t for t in context]
        if not own and turns_head(self.vocab, concept, mark, frame, context, marked):
            context = [Target(concept.on[0])]
        if concept.kind == "treatment" and not own and not side_said and focus.named_at == focus.now:
            context = self._with_focus_side(context, focus)  # "on the right side of the neck, light pressure"
        held = own or ((Target(None, side_said),) if side_said else ())
        pointed = points(frame, marked, things=concept.id == "plan.refer")
        places = self.place(concept, held, () if own else context, pointed=pointed)
        return [
            self._draft(frame, concept, place, result, value, marked, rule, mark)
            for place in self._seats(concept, places)
        ]

    def _everywhere(self, concept: Concept, words: set[str]) -> bool:
        """ "No bruise anywhere", "tone normal throughout": not said of the structure in hand."""
        return "anywhere" in words or (concept.id.startswith("tone.") and bool(words & self.vocab.listed("throughout")))

    def _alternative(self, mark: Mark, marked: Marked) -> bool:
        """ "A dimple, or hair.": one of two is not said to be there."""
        before = mark.a
        while before and marked.tokens[before - 1].text in self.vocab.listed("determiners"):
            before -= 1
        return "or" in marked.words(mark.b, mark.b + 1) or (before > 0 and marked.tokens[before - 1].text == "or")

    def _meant(
        self,
        frame: Frame,
        own: Sequence[Target],
        context: Sequence[Target],
        focus: Focus,
        kinds: frozenset[Kind],
        used: set[int],
        marked: Marked,
        *,
        named: bool,
    ) -> list[Draft]:
        """Words that give concept and result by themselves. ``named``: the frame has told of a concept of its own."""
        drafts: list[Draft] = []
        for word in frame.results:
            if word.a in used:
                continue
            even = any(r.role == "means" and r.result == "symmetrical" for r in word.gives())
            if focus.result == "weak" and even and not own:
                continue  # "Moro diminished but symmetric": no less weak for that
            if any(r.role == "means" and r.result == d.result != "normal" for d in drafts for r in word.gives()):
                continue  # "not tilted, neutral": said again in other words
            carried = None if named else self._carry(word, own, frame, focus, kinds)
            carried = carried or self._turning(word, frame, context, focus, kinds, marked)
            if carried is not None:
                held = self._with_focus_side(context, focus)
                drafts += self._on(frame, carried[0], carried[1], word, own, held, marked, "carried concept")
                continue
            held_site = context[0].site if context and not own else None
            seats: list[tuple[Target, ...]] = [(t,) for t in own]
            for seat in seats or [()]:
                reading = self.choose(word, seat[0].site if seat else None, kinds, held_site)
                if reading is not None:
                    concept = self._arm_reflex(reading, focus)
                    drafts += self._on(
                        frame, concept, reading.result, word, seat, seat or context, marked, "word meant"
                    )
        worse = {(d.concept, d.site, d.side) for d in drafts if d.result and not is_good(self.vocab, d.result)}
        softer = [d for d in drafts if is_good(self.vocab, d.result or "") and (d.concept, d.site, d.side) in worse]
        return unique([d for d in drafts if d not in softer])  # "softer, still a bit tight" is tight

    def _summed_up(self, draft: Draft, drafts: Sequence[Draft], marked: Marked) -> bool:
        """ "squishy, like it should be", "no lump, all good": the good word only sums up what was found there."""
        if (draft.concept, draft.result) == ("exam.symmetry", "symmetrical"):  # "flop open, same on both sides"
            moved = [d for d in drafts if d.site == draft.site and d.concept.startswith("motion.")]
            again = "same" in marked.words(draft.a, draft.b)
            return again and any(d.side == "both" and is_good(self.vocab, d.result or "") for d in moved)
        if draft.concept != "exam.overall" or draft.result != "normal":
            return False
        return any(
            d.site == draft.site and d.side == draft.side and is_good(self.vocab, d.result or "")
            for d in drafts
            if d.concept != draft.concept and d.concept.startswith(("tissue.", "motion.", "alignment."))
        )

    def _arm_reflex(self, reading: Reading, focus: Focus) -> str:
        """ "Parachute. The left arm comes out": arms that come out belong to the reflex just named."""
        arms = self.vocab.listed("arm_reflexes")
        near = focus.concept in arms and focus.clause_of_concept >= focus.now - 3
        if near and reading.concept in arms and reading.result in self.vocab.concepts[focus.concept or ""].results:
            return focus.concept or reading.concept
        return reading.concept

    def _on(
        self,
        frame: Frame,
        concept_id: str,
        result: str,
        word: Mark,
        own: Sequence[Target],
        context: Sequence[Target],
        marked: Marked,
        rule: str,
    ) -> list[Draft]:
        concept = self.vocab.concepts[concept_id]
        said: str | None = result
        if frame.denied(word):
            said, rule = opposite(self.vocab, concept_id, result), f"{rule}, denied"
            if word.a in frame.scarce and is_good(self.vocab, result) | (result == "present"):
                said = scarce_result(self.vocab, concept_id) or said
        if said is None:
            return []
        value = value_of(concept, frame.numbers, marked, self.vocab)
        side = self._side_only(frame)
        held = own or ((Target(None, side),) if side else ())
        bare = not marked.words(frame.a, frame.b) & self.vocab.listed("whole_treatment")  # "Left alone today."
        places = self.place(concept, held, context, pointed=bare or points(frame, marked))
        return [self._draft(frame, concept, p, said, value, marked, rule, word) for p in self._seats(concept, places)]
