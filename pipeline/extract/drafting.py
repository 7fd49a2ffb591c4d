"""A concept at a place -> the draft of an item, with its side and what is to be asked of it."""

from pipeline.extract.drafts import Draft
from pipeline.extract.focus import Target
from pipeline.extract.frames import Frame
from pipeline.extract.marks import VIEWER, Mark, Marked
from pipeline.extract.places import Places
from pipeline.extract.results import is_good
from pipeline.vocabulary import Concept, Vocabulary


class Drafting(Places):
    """Makes drafts."""

    def __init__(self, vocab: Vocabulary) -> None:
        super().__init__(vocab)
        self.plural_tests = vocab.listed("plural_tests")
        self._plurals: dict[str, set[str]] = {}
        self.side_always = vocab.listed("side_always")

    def _plural_in(self, site: str, words: set[str]) -> bool:
        """The plural of the structure stands among the words."""
        if site not in self._plurals:
            entry = self.vocab.sites[site]
            self._plurals[site] = {*entry.plural, *(f"{say}s" for say in entry.say if " " not in say)}
        return bool(words & self._plurals[site])

    def _side_only(self, frame: Frame) -> str:
        return frame.side if frame.side in ("left", "right", "both", *VIEWER) else ""

    def _draft(
        self,
        frame: Frame,
        concept: Concept,
        place: Target,
        result: str,
        value: tuple[float, str, tuple[str, ...]] | None,
        marked: Marked,
        rule: str,
        mark: Mark,
    ) -> Draft:
        site = self.vocab.sites.get(place.site or "")
        side = place.side
        paired = site is not None and site.paired
        if not side and place.plural and paired:
            side = "both"
        if not side and concept.id == "exam.symmetry" and paired and result == "symmetrical":
            side = "both"
        if concept.id.startswith("reflex.") and "both" in marked.words(mark.a, mark.b):
            side = "both"  # "both arms come out" is one form
        if frame.side_at is None and marked.words(mark.a, mark.b) & self.plural_tests:
            side = "both"
        if not side and paired and site is not None and self._plural_in(site.id, marked.words(mark.a, mark.b)):
            side = "both"  # "grasp in the hands" is one form
        if concept.id == "alignment.height" and result == "level" and not frame.side_at:
            side = ""  # what was high on the left and is level now has no side any more
        if side in VIEWER:
            side = VIEWER[side] if concept.kind == "advice" else ""
        if not concept.sided:
            side = ""
        flags: tuple[str, ...] = value[2] if value else ()
        if frame.repaired:
            flags = (*flags, "corrected")
        if not side and self._needs_side(concept, paired, result):
            flags = (*flags, "side_missing")
        steps = [("concept", concept.id, rule, mark.a, mark.b), ("result", result, rule, mark.a, mark.b)]
        if side:
            at = frame.side_at or (frame.a, frame.b)
            steps.append(("side", side, "said" if frame.side_at else "from the structure in hand", *at))
        return Draft(
            concept=concept.id,
            site=place.site,
            side=side or "none",
            level=place.level,
            result=result,
            a=frame.a,
            b=frame.b,
            value=value[0] if value else None,
            unit=value[1] if value else None,
            degree=marked.degree(frame.a - 3, frame.b + 1),
            flags=flags,
            steps=tuple(steps),
            inherited=concept.site is None and not (frame.sites or frame.levels),
            retracted=tuple(frame.repaired),
        )

    def _needs_side(self, concept: Concept, paired: bool, result: str) -> bool:
        if concept.kind == "treatment":
            return paired and result != "withheld"
        if concept.kind not in ("finding", "history") or not concept.sided or is_good(self.vocab, result):
            return False
        if result in ("not_assessed", "value", "equivocal"):
            return concept.id in ("motion.rotation", "motion.side_bend")
        return (paired and concept.kind == "finding") or concept.id in self.side_always
