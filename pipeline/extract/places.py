"""Where a statement is seated: the structures its own words name, those in hand, or the concept's own place."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise

from pipeline.extract.focus import Focus, Target
from pipeline.extract.frames import Frame
from pipeline.extract.marks import VIEWER, Marked
from pipeline.vocabulary import Concept, Vocabulary

FAR = 50
OTHER = {"left": "right", "right": "left"}
REGION = {"C": "cervical_spine", "T": "thoracic_spine", "L": "lumbar_spine"}
ROW = [f"{region}{n}" for region, last in (("C", 7), ("T", 12), ("L", 5)) for n in range(1, last + 1)]  # from above
SEATED = ("test.", "reflex.")
WITHHELD = "technique.withheld"
NAMED_ONLY = ("plan.refer", "plan.imaging", "advice.return_if")


class Places:
    """Sites and sides of frames."""

    def __init__(self, vocab: Vocabulary) -> None:
        self.vocab = vocab

    def targets(self, frame: Frame) -> tuple[Target, ...]:
        """The structures that the frame's own words name, each with its side and level."""
        found: list[Target] = []
        for mark in frame.levels:
            if mark.level is not None:
                side = frame.site_sides.get(mark.a, frame.side)
                found.append(Target(mark.level.site, "" if side == "both" else side, mark.level.text))
        regions = {t.site for t in found}
        for mark in frame.sites:
            reading = mark.readings[0]
            site = self.vocab.sites[reading.site]
            if regions and (site.id in regions or site.id in ("spine", "neck", "trunk")):
                continue
            side = frame.site_sides.get(mark.a, frame.side)
            target = Target(site.id, side, reading.level or None, mark.plural and site.paired)
            if target not in found:
                found.append(target)
        return tuple(found)

    def own(self, frame: Frame, focus: Focus) -> tuple[Target, ...]:
        """The structures that the frame names, "that hip" and "the other one" sided by what is in hand."""
        return self._sided(self.targets(frame), frame, focus)

    def neighbour(self, frame: Frame, focus: Focus, marked: Marked) -> tuple[Target, ...]:
        """ "The atlas is turned. The one below it sits square.": the vertebra next to the one in hand."""
        levels = [t for t in focus.targets if t.level in ROW]
        if frame.levels or frame.sites or len(levels) != 1 or focus.named_at < focus.now - 2:
            return ()
        words = [t.text for t in marked.tokens[max(0, frame.a - 4) : frame.b]]
        below = self.vocab.listed("beside_it")
        after = next((w for one, w in pairwise(words) if one in ("one", "segment", "vertebra") and w in below), None)
        at = ROW.index(levels[0].level or "") + (-1 if after == "above" else 1)
        if after is None or not 0 <= at < len(ROW):
            return ()
        return (Target(REGION[ROW[at][0]], frame.side if frame.side in OTHER else "", ROW[at]),)

    def _sided(self, own: tuple[Target, ...], frame: Frame, focus: Focus) -> tuple[Target, ...]:
        unsaid = ("one", "this")
        return tuple(
            replace(
                t,
                side=self._side(t.side or self._held_side(t, frame, focus), focus),
                plural=t.plural and t.side not in unsaid,
            )
            for t in own
        )

    def _held_side(self, target: Target, frame: Frame, focus: Focus) -> str:
        """ "that hip": the hip in hand, else the one on the only side where something was found."""
        if target.site is None or not self.vocab.sites[target.site].paired:
            return ""
        held = {t.site for t in focus.targets if t.site}
        if frame.pointed and not target.plural and not (focus.side in OTHER and target.site in held):
            return focus.troubled.get(target.site, "")
        if focus.side not in OTHER:
            return ""
        if target.site in held:
            return focus.side if frame.pointed and not target.plural else ""
        line = set(self.vocab.site_line(target.site))
        if not target.plural and line & held and not any(target.site in self.vocab.site_line(h) for h in held):
            return focus.side  # the toes of the foot in hand
        return ""

    def _side(self, said: str, focus: Focus) -> str:
        if said == "other":
            return OTHER.get(focus.side, "")
        if said in ("same_side", "this"):
            return focus.side
        return said if said in ("left", "right", "both", *VIEWER) else ""

    def _held(self, frame: Frame, focus: Focus, held: Sequence[Target]) -> Iterable[Target]:
        """The structures in hand, on the side said now, or said last for them."""
        said = self._side(frame.side, focus)
        for target in held:
            site = self.vocab.sites.get(target.site or "")
            if said or frame.side in ("one", "this"):
                yield replace(target, side=said, plural=False)
            elif site is not None and not site.paired:
                yield replace(target, side="")  # a direction said of one movement is not said of the next
            else:
                yield target

    def _with_focus_side(self, context: Sequence[Target], focus: Focus) -> tuple[Target, ...]:
        """The movement or test in hand goes on: so does the side last said of it."""
        return tuple(t if t.side else replace(t, side=focus.side) for t in context)

    def distance(self, concept: Concept, site: str | None) -> int | None:
        """How near the concept's ``on`` is to the site; None where it makes no sense there."""
        on = concept.on or ((concept.site,) if concept.site and concept.kind == "finding" else ())
        if site is None:
            return None if on else FAR
        line = list(self.vocab.site_line(site))
        near = min((line.index(s) for s in on if s in line), default=None)
        barred = min((line.index(s) for s in concept.not_on if s in line and s in (site, *line[:-1])), default=None)
        if barred is not None and (near is None or barred <= near):
            return None
        return near if on else FAR

    def _related(self, concept: Concept, site: str | None) -> bool:
        """One of the concept's sites lies in the site, or the other way round; one without sites goes anywhere."""
        on = concept.on or ((concept.site,) if concept.site else ())
        line = set(self.vocab.site_line(site))
        return not on or site is None or any(s in line or site in self.vocab.site_line(s) for s in on)

    def place(
        self, concept: Concept, own: Sequence[Target], focus: Sequence[Target], *, pointed: bool = False
    ) -> tuple[Target, ...]:
        """Where a concept is seated: the site its own words name, the structure in hand, or its default site."""
        lead = next((t.side for t in own if t.side), "")
        own = [replace(t, site=self._lifted(concept, t.site)) for t in own]
        fitting = [t for t in own if t.site is not None and self.distance(concept, t.site) is not None]
        if concept.site is not None and concept.kind != "treatment" and (not concept.sided or not concept.beyond):
            fitting = []  # jaundice down to the chest is the skin's; the contract seats a thigh fold at the thigh
        if concept.site not in (None, "whole_body", "skin"):  # a part of the default site is no site of its own
            fitting = [t for t in fitting if t.site == concept.site or concept.site not in self.vocab.site_line(t.site)]
        if concept.site in {t.site for t in fitting}:
            fitting = [t for t in fitting if t.site == concept.site]
        if fitting and (concept.site is None or (concept.on and not concept.id.startswith(SEATED))):
            return tuple(fitting)
        if concept.id in NAMED_ONLY:
            return tuple(focus[:1]) if pointed and focus else (Target(None),)
        if concept.kind == "treatment" and concept.on:
            held = [t for t in focus if self.distance(concept, t.site) is not None]
            if held:
                return tuple(replace(t, side=lead) if lead else t for t in held)
        if concept.site is not None:
            same = next((t for t in (*own, *focus) if t.site == concept.site), None)
            if same is not None:
                return (replace(same, side=lead) if lead else same,)
            return (Target(concept.site, lead, None, any(t.plural for t in fitting)),)
        if concept.id in self.vocab.listed("of_the_skin"):
            return (Target("skin"),)  # "no rash", just after the breathing, is not said of the chest
        held = [t for t in focus if self.distance(concept, t.site) is not None]
        if concept.id == WITHHELD and not pointed:
            return (Target("whole_body"),)  # "I'm not treating her today"
        if held:
            return tuple(replace(t, side=lead) if lead else t for t in held)
        if concept.on:
            if concept.id.startswith("joint.") and focus and not self._near(concept.on[0], focus):
                return ()  # "no click" with a finger in the mouth is not said of the hip
            return (Target(concept.on[0], lead),)
        if concept.id in self.vocab.listed("else_of_the_skin"):
            return (Target("skin"),)  # "there's a bruise": it must not be lost for want of its place
        return (Target(None, lead),) if concept.kind in ("plan", "advice") else ()

    def _lifted(self, concept: Concept, site: str | None) -> str | None:
        """ "I open her legs out": the one part of what is named at which this can be found, the hips."""
        if site is None or not concept.id.startswith("motion.") or self.distance(concept, site) is not None:
            return site
        parts = [s for s in concept.on if site in self.vocab.site_line(s)]
        return parts[0] if len(parts) == 1 else site

    def _near(self, site: str, held: Sequence[Target]) -> bool:
        """The site and a structure in hand belong to one part of the body."""
        line = set(self.vocab.site_line(site)) - {"whole_body"}
        return any(t.site is None or line & set(self.vocab.site_line(t.site)) for t in held)

    def _seats(self, concept: Concept, places: Sequence[Target]) -> list[Target]:
        return [
            p
            for p in places
            if p.site is not None or concept.site is not None or concept.id in NAMED_ONLY or concept.kind != "finding"
        ]
