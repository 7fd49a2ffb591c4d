"""Where the hands are after each frame: the focus that the next frames fall back on."""

from collections.abc import Sequence
from dataclasses import replace

from pipeline.extract.drafts import Draft
from pipeline.extract.filing import Filing
from pipeline.extract.focus import Focus, Target
from pipeline.extract.frames import Frame
from pipeline.extract.marks import Mark
from pipeline.extract.naming import turns_head
from pipeline.extract.places import OTHER, SEATED


class Hands(Filing):
    """Moves the focus."""

    def _shift(self, frame: Frame, own: tuple[Target, ...], drafts: Sequence[Draft], now: int) -> None:
        focus, clause = self._state.focus, self._state.clause
        found = [d for d in drafts if self._vocab.concepts[d.concept].kind in ("finding", "treatment")]
        goes = bool(found) and (found[-1].concept, found[-1].result) == ("exam.symmetry", "asymmetrical")
        if goes:  # "the jaw slides over to the left": where it goes, not where the hands are
            own = tuple(replace(t, side="") for t in own)
        if own:
            focus.shift(own, clause, now)
            focus.named_at = clause
            focus.headed = True
        elif found and found[-1].site is not None and self._seated(found[-1]):
            last = found[-1]
            if last.site not in {t.site for t in focus.targets}:
                side = "" if last.side == "none" else last.side
                focus.shift((Target(last.site, side, last.level),), clause, now)
            focus.touch(clause, now)
        if not own and frame.side in OTHER:
            if found and not found[-1].concept.startswith(SEATED):
                focus.headed = False  # "abduction right sixty": the side of a movement is not that of the next test
            elif not (frame.told or frame.concepts):
                focus.lone, focus.lone_at, focus.headed = frame.side, clause, True
        if frame.side == "other" and frame.ellipsis is not None:
            return  # "and the other, no": the talk goes on about the first
        said = (
            frame.side
            if frame.side in ("left", "right", "both")
            else OTHER.get(focus.side, "") * (frame.side == "other")
        )
        if said and focus.targets and not goes:
            focus.targets = tuple(replace(t, side=said) for t in focus.targets)
            focus.side = said
            focus.touch(clause, now)
        named = [c for m in frame.concepts for c in m.says()]
        if named and not said and focus.concept not in named and not self._paired(focus):
            focus.side = ""  # the direction of the movement before
        if drafts:
            kind = self._vocab.concepts[drafts[-1].concept].kind
            focus.seen = kind in ("finding", "treatment")
            focus.treated = focus.treated or kind == "treatment"
        if found:
            for draft in found:
                if draft.concept.startswith("motion."):
                    focus.seats[draft.concept] = Target(draft.site, "", draft.level)
                self._trouble(draft)
            focus.concept, focus.result = found[-1].concept, found[-1].result
            focus.denied = "denied" in found[-1].rule
            focus.clause_of_concept = clause
            focus.touch(clause, now)
        elif named:
            kinds = [c for c in named if self._vocab.concepts[c].kind == "finding"]
            moves = [self._vocab.concepts[c] for c in kinds if c.startswith("motion.")]
            head = moves and turns_head(
                self._vocab, moves[0], frame.concepts[-1], frame, focus.targets, self._marked
            )  # "turning left, he goes all the way", after the hips
            away = moves and not self._fits_here(frame.concepts[-1])
            if moves and moves[0].on[:1] == ("neck",) and not own and (away or head):
                focus.shift((Target(moves[0].on[0], said),), clause, now)  # "see how you turn": the neck
            if kinds and (own or self._fits_here(frame.concepts[-1])):
                site = focus.targets[0].site if focus.targets else None
                chosen = self._resolver.named(frame.concepts[-1], site, frozenset({"finding"})) or kinds[0]
                concept = self._vocab.concepts[chosen]
                if not own and concept.site is not None and concept.site not in {t.site for t in focus.targets}:
                    focus.shift((Target(concept.site, said),), clause, now)
                focus.concept, focus.result = chosen, None
                focus.clause_of_concept = clause
                focus.touch(clause, now)

    def _trouble(self, draft: Draft) -> None:
        """Remember on which side of a structure something was found: "that hip" will be this one."""
        bad = draft.result in self._vocab.listed("bad_results")
        if (
            bad
            and draft.site is not None
            and draft.side in OTHER
            and self._vocab.concepts[draft.concept].kind == "finding"
        ):
            known = self._state.focus.troubled.setdefault(draft.site, draft.side)
            if known != draft.side:
                self._state.focus.troubled[draft.site] = ""

    def _recall(self, frame: Frame, now: int) -> None:
        """ "rest my finger on that tight muscle": the hands go back to where it was found."""
        if frame.sites or frame.levels:
            return
        bad = self._vocab.listed("bad_results")
        for mark in (*frame.results, *frame.concepts):
            before = self._marked.tokens[mark.a - 1].text if mark.a else ""
            if before not in ("that", "this", "the", "those"):
                continue
            meant = [r.concept for r in mark.gives() if r.role == "means" and r.result in bad]
            records = [r.item for c in (*meant, *mark.says()) for r in self._state.ledger.of(c)]
            muscle = self._marked.words(mark.a, mark.b + 1) & {"muscle", "muscles"}
            seats = [i for i in records if i.kind == "finding" and i.result in bad and i.site is not None]
            found = next((i for i in seats if not muscle or self._is_muscle(i.site or "")), None)
            if found is not None:
                side = "" if found.side == "none" else found.side
                self._state.focus.shift((Target(found.site, side, found.level),), self._state.clause, now)
                return

    def _is_muscle(self, site: str) -> bool:
        return any("muscle" in form for form in self._vocab.sites[site].say)

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
