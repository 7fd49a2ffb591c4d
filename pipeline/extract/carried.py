"""What goes on from before: a result, a number or a denial alone, said of the concept or the structure in hand."""

from collections.abc import Sequence

from pipeline.extract.drafting import Drafting
from pipeline.extract.drafts import Draft
from pipeline.extract.focus import Focus, Target
from pipeline.extract.frames import Frame
from pipeline.extract.marks import Mark, Marked
from pipeline.extract.measures import by_unit, value_of
from pipeline.extract.places import OTHER
from pipeline.extract.results import fit_result, is_good, opposite
from pipeline.model import Kind
from pipeline.vocabulary import Concept

SAME = 12  # words back at most from a frame to the "same" said of it
CONTRASTED = ("tissue.tension",)
CARRIED = ("motion.", "reflex.", "test.", "alignment.")


class Carried(Drafting):
    """Reads frames that name no concept of their own."""

    def _carry(
        self, word: Mark, own: Sequence[Target], frame: Frame, focus: Focus, kinds: frozenset[Kind]
    ) -> tuple[str, str] | None:
        """ "… and the right is restricted": the movement or test in hand goes on where no other structure is named."""
        concept_id = focus.concept
        if concept_id is None or not focus.targets:
            return None
        concept = self.vocab.concepts[concept_id]
        if concept.kind not in kinds:
            return None
        if own and not (concept_id.startswith("reflex.") and all(t.site == concept.site for t in own)):
            return None  # "the right arm doesn't, so that's asymmetrical" goes on about the parachute
        if focus.clause_of_concept < focus.now - 2 and not frame.side:
            return None
        if focus.result is not None and any(c.startswith("joint.") for c in word.says()):
            return None  # "Barlow equivocal. There was no clunk."
        exact = next((r.result for r in word.gives() if r.role == "result" and r.concept == concept_id), None)
        if exact:
            return concept_id, exact
        plain = all(r.concept == "exam.overall" for r in word.gives() if r.role == "means")
        turned = frame.side in OTHER and focus.side == OTHER[frame.side] and concept_id.startswith(CONTRASTED)
        if plain and turned and (fitted := fit_result(self.vocab, concept_id, word)) is not None:
            return concept_id, fitted  # "tight on the left, the right's good"
        if plain and not frame.side:
            return None  # "those feel good" is said of the structure, not of its last movement
        if concept_id.startswith(CARRIED) and concept_id != "motion.general":
            fitted = fit_result(self.vocab, concept_id, word)
            if fitted is not None:
                return concept_id, fitted
        return None

    def _turning(
        self, word: Mark, frame: Frame, context: Sequence[Target], focus: Focus, kinds: frozenset[Kind], marked: Marked
    ) -> tuple[str, str] | None:
        """ "Her neck. To the right she goes the whole way": to a side, of the neck, is turned."""
        if not self._to_a_side(frame, context, focus, marked) or "finding" not in kinds:
            return None
        moves = [r for r in word.gives() if r.concept == "motion.rotation"]
        return ("motion.rotation", moves[0].result) if moves else None

    def _to_a_side(self, frame: Frame, context: Sequence[Target], focus: Focus, marked: Marked) -> bool:
        """Nothing but the neck and a direction is named: "to the left", "the other way"."""
        if frame.concepts or frame.side_at is None or not context:
            return False
        if any(t.site not in ("neck", "cervical_spine") or t.level for t in context):
            return False
        in_hand = (focus.concept or "").startswith("motion.") and focus.clause_of_concept >= focus.now - 2
        led = marked.words(max(0, frame.side_at[0] - 1), frame.side_at[1])
        return not in_hand and bool(led & {"to", "way", "towards"})

    def _carried(
        self,
        frame: Frame,
        own: Sequence[Target],
        context: Sequence[Target],
        focus: Focus,
        kinds: frozenset[Kind],
        marked: Marked,
    ) -> list[Draft]:
        """Only a number or a denial was said: of the concept in hand, else of the structure named."""
        gauged = by_unit(self.vocab, frame, own, context, marked, born=focus.born)
        concept = gauged or self.vocab.concepts.get(focus.concept or "")
        mark = (frame.numbers or frame.sites or frame.levels or [frame.ellipsis or Mark("number", frame.a, frame.b)])[0]
        by_number = concept is not None and concept.measure is not None and not concept.id.startswith("motion.")
        if concept is not None and (not own or by_number) and concept.kind in kinds:
            value = value_of(concept, frame.numbers, marked, self.vocab)
            headed = focus.result is None and focus.clause_of_concept >= focus.now - 1  # "Resps, I count forty-four"
            said = gauged or headed or own or any(n.number and n.number.unit for n in frame.numbers)
            if value is not None and (said if by_number else concept.id.startswith("motion.") or not focus.result):
                places = self.place(concept, (), self._with_focus_side(context, focus))
                return [self._draft(frame, concept, p, "value", value, marked, "carried number", mark) for p in places]
        awaited = self.vocab.concepts.get(focus.awaits() or "")
        bare = not own and not frame.side and all(n.number and not n.number.unit for n in frame.numbers)
        if awaited is not None and frame.numbers and bare and awaited.kind in kinds:
            value = value_of(awaited, frame.numbers, marked, self.vocab)
            if value is not None:
                places = self.place(awaited, (), ())
                rule = "number awaited"
                return [self._draft(frame, awaited, p, "value", value, marked, rule, mark) for p in places]
        turned_to = self.vocab.concepts["motion.rotation"]
        if frame.numbers and self._to_a_side(frame, context, focus, marked) and turned_to.kind in kinds:
            value = value_of(turned_to, frame.numbers, marked, self.vocab)
            if value is not None:
                places = self.place(turned_to, own, context)
                rule = "turned to a side"
                return [self._draft(frame, turned_to, p, "value", value, marked, rule, mark) for p in places]
        again = marked.words(max(0, frame.a - 12), frame.b + 3) & {"again", "check", "recheck"}
        if frame.sites or again:
            pass  # "check that C1 and the right hip again"
        elif frame.levels and frame.side in OTHER and not (frame.concepts or frame.results or frame.numbers):
            listed = self.vocab.concepts["alignment.rotation"]  # "C1 is left": the trade's short form of turned to it
            if listed.kind in kinds:
                return [self._draft(frame, listed, p, "rotated", None, marked, "level and side", mark) for p in own]
        turned = self._turned(frame, own, focus, marked)
        if concept is not None and turned is not None and concept.kind in kinds:
            held = own or (tuple(context) if frame.side else self._with_focus_side(context, focus))
            places = self.place(concept, own, held)
            return [self._draft(frame, concept, p, turned, None, marked, "carried denial", mark) for p in places]
        if concept is not None and focus.result and self._same(frame, marked):
            return self._copied(frame, concept, focus.result, own, context, marked, mark)
        counted = marked.words(max(0, frame.a - 3), frame.a + 1) & self.vocab.listed("counted")
        if concept is not None and focus.result and own and counted and concept.id.startswith(("tissue.", "sign.")):
            return self._copied(frame, concept, focus.result, own, context, marked, mark)  # "one on the shin, one on …"
        affirmed = self._affirmed(frame, focus, marked)
        if concept is not None and affirmed is not None and not own and concept.kind in kinds:
            places = self.place(concept, own, context)
            return [self._draft(frame, concept, p, affirmed, None, marked, "affirmed", mark) for p in places]
        none = frame.ellipsis is not None and marked.tokens[frame.ellipsis.a].text in ("none", "nor", "neither")
        if none and concept is not None and own and focus.result in ("absent", "present") and concept.site is None:
            places = self.place(concept, own, context)
            return [self._draft(frame, concept, p, "absent", None, marked, "carried denial", mark) for p in places]
        if frame.ellipsis is not None and own and not frame.concepts and "finding" in kinds:
            overall = self.vocab.concepts["exam.overall"]
            return [self._draft(frame, overall, p, "normal", None, marked, "nothing there", mark) for p in own]
        return []

    def _turned(self, frame: Frame, own: Sequence[Target], focus: Focus, marked: Marked) -> str | None:
        """What "the right one isn't", "L5 is not", "it isn't now" leave of the result just said; else None."""
        cue = frame.ellipsis
        if cue is None or focus.concept is None or focus.result is None or is_good(self.vocab, focus.result):
            return None
        if focus.concept.startswith("alignment.") and frame.side in OTHER:  # "rotated right, not left"
            return None  # a bare denial never makes a good finding bad
        plain = marked.tokens[cue.b - 1].text in ("not", "n't") and focus.clause_of_concept >= focus.now - 1
        pointing = marked.tokens[max(0, cue.a - 2)].text in self.vocab.listed("pointing")
        sided = bool(frame.side) and cue.a != (frame.side_at or (-1,))[0] and not own
        if not (sided or (plain and (own or pointing))):
            return None
        return opposite(self.vocab, focus.concept, focus.result)

    def _affirmed(self, frame: Frame, focus: Focus, marked: Marked) -> str | None:
        """ "No clunk on the right, but on the left there is": what was denied of one side is so on the other."""
        if not focus.denied or focus.concept is None or focus.result is None or frame.side not in (*OTHER, "other"):
            return None
        if frame.told or focus.clause_of_concept < focus.now - 1:
            return None
        if not any(v == "affirmed" for v, _ in marked.cued("same", frame.a, frame.b + 3)):
            return None
        return opposite(self.vocab, focus.concept, focus.result)

    def _same(self, frame: Frame, marked: Marked) -> bool:
        return any(
            hit.payloads[0].gives == "same"
            and frame.a - 2 <= hit.b
            and hit.a <= frame.b + 1
            and not (hit.a >= frame.b and marked.ends(hit.a))
            and not any(marked.ends(k) for k in range(hit.b, frame.a + 1))
            for hit in marked.hits("same", frame.a - SAME, frame.b + 2)
        )

    def _copied(
        self,
        frame: Frame,
        concept: Concept,
        result: str,
        own: Sequence[Target],
        context: Sequence[Target],
        marked: Marked,
        mark: Mark,
    ) -> list[Draft]:
        """ "Same on the other side", "shoulders, same": the result just said, of what is named now."""
        if result == "value" or (not own and not (frame.side and all(t.side for t in context))):
            return []
        if own and concept.id.startswith(("joint.", "sign.", "suture.")) and is_good(self.vocab, result):
            concept, result = self.vocab.concepts["exam.overall"], "normal"
        places = self.place(concept, own, context)
        return [self._draft(frame, concept, p, result, None, marked, "same as before", mark) for p in places]
