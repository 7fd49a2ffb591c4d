"""Clause -> frames: which site, side, concept, result, level and number were said together.

Dictation and talk come in telegrams ("Lateral pterygoid, left, tender. Right, not tender."), so no grammar is parsed:
marks are read from left to right into the open frame, and a mark that the frame has no room for opens the next one.
A frame says only what its own words say; what it leaves open is taken from the focus afterwards (resolve.py).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from pipeline.extract.clauses import Clause
from pipeline.extract.denials import Denials
from pipeline.extract.idle import Idle
from pipeline.extract.marks import Mark, Marked, one_and_other
from pipeline.extract.results import fit_result, takes
from pipeline.vocabulary import Vocabulary

PREFERENCE = frozenset({"symptom.head_preference", "symptom.limb_preference"})
TURNED = ("alignment.rotation", "alignment.tilt")


@dataclass
class Frame:
    """What was said in tokens ``a <= k < b``, in the order said."""

    a: int
    b: int
    sites: list[Mark] = field(default_factory=list)
    site_sides: dict[int, str] = field(default_factory=dict)
    side: str = ""
    side_at: tuple[int, int] | None = None
    concepts: list[Mark] = field(default_factory=list)
    results: list[Mark] = field(default_factory=list)
    levels: list[Mark] = field(default_factory=list)
    numbers: list[Mark] = field(default_factory=list)
    ellipsis: Mark | None = None
    negated: set[int] = field(default_factory=set)
    scarce: set[int] = field(default_factory=set)  # "barely a suck": of the denied, what is there, but hardly
    repaired: list[tuple[int, int]] = field(default_factory=list)
    pointed: bool = False  # "that hip": the one in hand

    def take(self, mark: Mark) -> None:
        """Widen the frame over a mark's words."""
        self.a, self.b = min(self.a, mark.a), max(self.b, mark.b)

    def denied(self, mark: Mark) -> bool:
        """Whether the mark stands under a negation."""
        return mark.a in self.negated

    @property
    def empty(self) -> bool:
        return not (
            self.sites or self.side or self.concepts or self.results or self.levels or self.numbers or self.ellipsis
        )

    @property
    def told(self) -> bool:
        """Something is said of something: a result, a number, a denial."""
        return bool(self.results or self.ellipsis or self.numbers)


class FrameBuilder:
    """Builds the frames of one clause; made anew for each."""

    def __init__(self, vocab: Vocabulary, marked: Marked, clause: Clause) -> None:
        self._vocab = vocab
        self._marked = marked
        self._tokens = marked.tokens
        self._clause = clause
        self._marks = [m for m in marked.within(clause.a, clause.b) if m.b <= clause.b]
        self._frames: list[Frame] = []
        self._open = Frame(clause.b, clause.a)
        self._bare = not any(t.stop for t in marked.tokens)
        self._prepositions = vocab.listed("prepositions")
        self._holding = vocab.listed("holding")

    def build(self, repaired: Sequence[tuple[int, int]] = ()) -> list[Frame]:
        """Frames in order. ``repaired``: where the speaker put himself right."""
        idle = Idle(self._vocab, self._marked, self._clause, self._marks)
        self._marks = [m for m in self._marks if not idle.is_idle(m)]
        negations = [  # the "no" of "on the right, no, sorry, the left" denies nothing
            hit
            for hit in self._marked.hits("negation", self._clause.a, self._clause.b)
            if not any(x <= hit.a < y for x, y in repaired) and not idle.is_particle(hit)
        ]
        self._denials = Denials(self._vocab, self._marked, self._clause, self._marks, negations)
        self._marks = idle.led(self._denials.marks)
        self._marks = one_and_other(self._marks, self._marked)
        marks = sorted([*self._marks, *self._denials.ellipses], key=lambda m: (m.a, m.b))
        last = self._clause.a
        for n, mark in enumerate(marks):
            inside = mark.a < last  # "likes the right": its side is said in the form itself
            border = not inside and (self._border(last, mark.a) or self._unmarked(last, mark))
            handler = {
                "site": self._site,
                "side": self._side,
                "concept": self._concept,
                "result": self._result,
                "level": self._level,
                "number": self._number,
                "ellipsis": self._ellipsis,
            }[mark.kind]
            handler(mark, border, marks[n + 1 :])
            last = max(last, mark.b)
        self._flush()
        for frame in self._frames:
            for mark in (*frame.concepts, *frame.results):
                scope = self._denials.of(mark)
                if scope is None:
                    continue
                frame.negated.add(mark.a)
                if self._marked.words(*scope.cue) & self._vocab.listed("scarcely"):
                    frame.scarce.add(mark.a)
            frame.repaired = [r for r in repaired if frame.a <= r[0] < frame.b]
        return self._frames

    # ------------------------------------------------------------ borders and negation

    def _border(self, a: int, b: int) -> bool:
        """A comma, "and" or "or" stands between two marks."""
        return self._marked.border(a, b, self._clause.a)

    def _unmarked(self, last: int, mark: Mark) -> bool:
        """Without punctuation, a new structure, concept or side after something said begins a new statement."""
        inner = self._tokens[self._clause.a : self._clause.b - 1]
        if any(t.stop for t in inner) or not self._open.told or mark.kind in ("result", "ellipsis"):
            return False
        close = mark.a - self._open.b <= 1 and not self._open.concepts  # "tight left SCM", "a weak suck"
        if close and (mark.kind == "concept" or (mark.kind == "site" and not self._open.sites)):
            return False
        led = mark.a if mark.kind != "side" else mark.b
        between = {t.text for t in self._tokens[last : mark.a]}
        told = {r.concept for m in self._open.results[-1:] for r in m.gives()}
        turned = any(c.startswith(TURNED) for c in told) and not between - {"the", "her", "his"}
        if mark.kind == "side" and turned and not self._bare:
            return False  # "C2 rotated | left and fixated"
        if mark.kind == "side" and not self._open.side and between <= {"the", "her", "his"} and PREFERENCE & told:
            return False  # "doesn't favour | the left"
        if self._tokens[max(last - 1, 0)].text in self._holding:
            return False  # "an ultrasound of | her hips": the form ends with the preposition
        return not any(self._tokens[k].text in self._prepositions for k in range(last, led))

    # ------------------------------------------------------------ one handler a kind

    def _flush(self) -> None:
        if not self._open.empty:
            self._frames.append(self._open)
        self._open = Frame(self._clause.b, self._clause.a)

    def _stated(self) -> bool:
        """The open frame already says something: a result, or a concept that is a statement by its name."""
        return self._open.told or any(
            self._plain(c) is not None or self._denials.of(c) is not None for c in self._open.concepts
        )

    def _plain(self, mark: Mark) -> str | None:
        return next((self._vocab.concepts[c].stated for c in mark.says() if self._vocab.concepts[c].stated), None)

    def _prepositional(self, mark: Mark) -> bool:
        """ "over the coccyx", "at the left occiput": a preposition within three words before the mark."""
        return any(self._tokens[k].text in self._prepositions for k in range(max(self._clause.a, mark.a - 3), mark.b))

    def _site(self, mark: Mark, border: bool, rest: Sequence[Mark]) -> None:
        if rest and self._open.concepts and rest[0].kind == "concept" and rest[0].a <= mark.a < mark.b <= rest[0].b:
            self._flush()  # "refer her for a | hip ultrasound"
        frame = self._open
        if self._stated():
            near = not border and not frame.levels and self._prepositional(mark)
            tail = (
                border
                and self._only_sites(rest)
                and (not frame.sites or (frame.results and frame.results[0].a < frame.sites[0].a))
            )
            again = (
                border
                and self._only_sites(rest)
                and mark.side
                and mark.readings[0].site in {s.readings[0].site for s in frame.sites}
            )
            own = not border and mark.readings[0].site in {
                self._vocab.concepts[c].site for m in frame.concepts for c in m.says()
            }
            treated = bool(frame.concepts) and self._acts(frame.concepts[-1], rest) and not frame.told
            adjective = frame.results and not (frame.sites or frame.concepts or border)
            if adjective and mark.a - frame.results[-1].b <= 1:
                tail = True  # "tight left SCM"
            around = [m for m in (*frame.results, *frame.concepts) if m.a < mark.a and mark.b <= m.b]
            if around:  # "leave the shoulder and the collarbone alone"
                tail = True
            if not (((near or treated or own) and not frame.sites) or tail or again):
                self._flush()
                frame = self._open
        elif frame.sites and self._inside(mark, frame.sites[-1]) and not (border and (mark.side or self._pair(frame))):
            frame.sites.pop()
        elif frame.sites and not mark.side and self._inside(frame.sites[-1], mark):
            return  # "left shoulder, lifting the arm": the part stays what is meant
        elif frame.side and frame.sites and border and not frame.site_sides:
            frame.site_sides = {s.a: frame.side for s in frame.sites}
        before = self._tokens[mark.a - 1].text if mark.a > self._clause.a else ""
        frame.pointed = frame.pointed or before in ("that", "this", "same")
        frame.take(mark)
        frame.sites.append(mark)
        self._lead(frame, mark)

    def _lead(self, frame: Frame, mark: Mark) -> None:
        if mark.side:
            if not frame.side:
                frame.site_sides.update({s.a: "" for s in (*frame.sites, *frame.levels) if s.a != mark.a})
            frame.site_sides[mark.a] = mark.side
            frame.side, frame.side_at = mark.side, (mark.a, mark.a + 1)

    def _only_sites(self, rest: Sequence[Mark]) -> bool:
        """ "Moves all four limbs well, arms and legs": nothing more is said, so the structures belong to what was."""
        return all(m.kind in ("site", "side") for m in rest)

    def _pair(self, frame: Frame) -> bool:
        """ "Foot, toes, fine" is a list; "in the face, the masseter" goes into detail."""
        return self._vocab.sites[frame.sites[-1].readings[0].site].paired

    def _inside(self, mark: Mark, outer: Mark) -> bool:
        inner = mark.readings[0].site
        return outer.readings[0].site in list(self._vocab.site_line(inner))[1:]

    def _side(self, mark: Mark, border: bool, rest: Sequence[Mark]) -> None:
        frame = self._open
        if self._stated():
            unsaid = frame.side in ("", "this", "one")
            both = mark.side == "both" and unsaid
            other = {frame.side, mark.side} == {"left", "right"}
            if other or (not both and ((not unsaid and border) or (border and self._goes_on(mark, rest)))):
                self._flush()
                frame = self._open
        elif {frame.side, mark.side} == {"left", "right"}:
            parted = any(self._tokens[k].stop for k in range(frame.side_at[1], mark.a)) if frame.side_at else False
            runs_on = not self._tokens[mark.b - 1].stop and self._goes_on(mark, rest)
            if frame.sites and frame.site_sides and parted and runs_on:
                self._flush()  # "he kicks with the right leg, and the left just lies there"
                frame = self._open
            elif self._close(frame, mark):
                frame.take(mark)
                frame.side = "both"
                if len(frame.site_sides) == 1:
                    frame.site_sides = {}  # "the right leg and the left are equal"
                return
            elif frame.sites and border:
                frame.site_sides = {**{s.a: frame.side for s in frame.sites}, **frame.site_sides}
        frame.take(mark)
        frame.side, frame.side_at = mark.side, (mark.a, mark.b)

    def _goes_on(self, mark: Mark, rest: Sequence[Mark]) -> bool:
        """After the side its own result, number or denial follows: "…, right, not tender"."""
        following = next((m for m in rest if m.kind != "side" and not self._affirms(m, rest)), None)
        if following is None or following.kind not in ("result", "number", "ellipsis", "concept"):
            return False
        treated = bool(self._open.concepts) and self._treats(self._open.concepts[-1])
        if following.number is not None and (treated or following.number.unit not in ("", "deg")):
            return False
        if following.kind == "concept" and self._marked.words(mark.b, following.a) & self._prepositions:
            return False  # "deviates right on opening"
        if following.kind == "result" and not any(r.role == "means" for r in following.gives()):
            return not self._open.concepts or any(self._fits(c, following) for c in self._open.concepts)
        return following.kind != "concept" or not (self._bare or self._border(mark.b, following.a))

    def _affirms(self, mark: Mark, rest: Sequence[Mark]) -> bool:
        """ "Rooting, yes, on the left, yes, on the right": each yes is said of the side behind it."""
        following = next((m for m in rest if m.a >= mark.b), None)
        return mark.word in ("yes", "yeah", "yep") and following is not None and following.kind == "side"

    def _close(self, frame: Frame, mark: Mark) -> bool:
        return frame.side_at is not None and mark.a - frame.side_at[1] <= 4

    def _concept(self, mark: Mark, border: bool, rest: Sequence[Mark]) -> None:
        frame = self._open
        open_ended = all(self._vocab.concepts[c].stated is None for c in mark.says())
        if mark.a == self._clause.head and self._tokens[mark.a].text.endswith("ing"):
            open_ended = False  # "Turning right, that's eighty now": the movement, not a position
        if open_ended and any(r.role == "means" for r in mark.gives()) and not self._says_more(mark, rest):
            self._result(mark, border, rest)  # "C1 rotated left": not the movement, the position
            return
        counted = bool(frame.numbers) and self._measured_by(mark, frame.numbers[-1])
        if counted:  # "a dimple, three millimetres wide": the number is the width's
            number = frame.numbers.pop()
            self._flush()
            self._number(number, False, ())
        if counted or (frame.results and not frame.concepts and not border and self._fits(mark, frame.results[-1])):
            self._open.take(mark)
            self._open.concepts.append(mark)
            return
        if frame.concepts and set(mark.says()) & set(frame.concepts[-1].says()) and not (self._stated() and border):
            frame.take(mark)
            return
        waits = (
            frame.concepts
            and not frame.told
            and (self._plain(frame.concepts[-1]) is None or self._treats(frame.concepts[-1]))
        )
        answer = mark.gives() if waits else []
        if any(r.concept in frame.concepts[-1].says() for r in answer):
            frame.take(mark)
            frame.results.append(mark)
            return
        if self._stated() and not (self._listed(border) and not frame.told):
            self._flush()
            frame = self._open
        frame.take(mark)
        frame.concepts.append(mark)

    def _measured_by(self, mark: Mark, number: Mark) -> bool:
        """The last number stands right before what it measures or counts: "two wet nappies", "two cm from the anus"."""
        near = mark.a - number.b <= 1 and not self._border(number.b, mark.a)
        return near and [m for m in (*self._open.concepts, mark) if takes(self._vocab, m, number)] == [mark]

    def _acts(self, mark: Mark, rest: Sequence[Mark]) -> bool:
        """A treatment, or a plan with nothing found after it, takes the structure after a comma as its object."""
        kinds = {self._vocab.concepts[c].kind for c in mark.says()}
        found = any(m.kind in ("result", "ellipsis") for m in rest)
        return "treatment" in kinds or ("plan" in kinds and not found)

    def _treats(self, mark: Mark) -> bool:
        return any(self._vocab.concepts[c].kind == "treatment" for c in mark.says())

    def _says_more(self, mark: Mark, rest: Sequence[Mark]) -> bool:
        """A result, number or denial follows before the next comma."""
        for following in rest:
            if following.kind in ("site", "concept"):
                return False
            if following.kind == "result" and self._fits(mark, following):
                return True
            if following.kind == "number" or (following.kind == "ellipsis" and not self._border(mark.b, following.a)):
                return True
        return False

    def _listed(self, border: bool) -> bool:
        """Concepts in a row wait for one result: "Ortolani and Barlow both negative"."""
        return border and bool(self._open.concepts) and all(self._plain(c) is None for c in self._open.concepts)

    def _fits(self, concept: Mark, result: Mark) -> bool:
        return any(fit_result(self._vocab, c, result) is not None for c in concept.says())

    def _result(self, mark: Mark, border: bool, rest: Sequence[Mark]) -> None:
        frame = self._open
        foreign = frame.concepts and any(r.role == "means" for r in mark.gives())
        apart = border or (bool(frame.side) and self._own_side(mark, rest))  # "tips to the left | turns right"
        if apart and foreign and self._stated() and not any(self._fits(c, mark) for c in frame.concepts):
            self._flush()
        sided = self._open.told and self._open.side and self._own_side(mark, rest)
        if border and foreign_to_turn(frame, mark):
            self._flush()
            frame = self._open
        bound = self._tokens[mark.b - 1].text in self._prepositions  # "nothing wrong with | the right"
        if (border and (sided or self._leads(mark, rest))) or (bound and sided):
            self._flush()  # "brisk to the left and weaker to the right", "ptosis on both sides, a weak suck"
        self._open.take(mark)
        self._open.results.append(mark)

    def _leads(self, mark: Mark, rest: Sequence[Mark]) -> bool:
        """The word is said of the concept right behind it and not of the statement before."""
        if not (rest and rest[0].kind == "concept" and self._stated()) or self._border(mark.b, rest[0].a):
            return False
        return self._fits(rest[0], mark) and not any(self._fits(c, mark) for c in self._open.concepts)

    def _own_side(self, mark: Mark, rest: Sequence[Mark]) -> bool:
        if self._affirms(mark, rest):
            return True
        return bool(rest) and rest[0].kind == "side" and not self._border(mark.b, rest[0].a)

    def _level(self, mark: Mark, border: bool, rest: Sequence[Mark]) -> None:
        led = mark.a > self._clause.a and self._tokens[mark.a - 1].text in self._prepositions
        late = led and not self._open.levels and all(m.kind == "level" for m in rest)  # "it's tight, around T4"
        apart = border or self._open.levels or not self._prepositional(mark)
        if self._stated() and apart and self._open.told and not late:
            self._flush()
        self._open.take(mark)
        self._open.levels.append(mark)
        self._lead(self._open, mark)

    def _number(self, mark: Mark, border: bool, _rest: Sequence[Mark]) -> None:
        beside = self._open.numbers and self._open.numbers[-1].b == mark.a and not self._tokens[mark.a - 1].stop
        if self._open.numbers and border and not beside:  # "four two" is one weight
            self._flush()
        self._open.take(mark)
        self._open.numbers.append(mark)

    def _ellipsis(self, mark: Mark, border: bool, rest: Sequence[Mark]) -> None:
        sited = bool(rest) and rest[0].kind in ("site", "level") and not self._border(mark.b, rest[0].a)
        if border and self._stated() and (sited or (self._open.side and self._own_side(mark, rest))):
            self._flush()  # "no ridge along the sagittal, none along the metopic"
        self._open.take(mark)
        self._open.ellipsis = mark


def foreign_to_turn(frame: Frame, mark: Mark) -> bool:
    """ "C2 rotated left and fixated": the side says which way it is turned, not where it is stuck."""
    if not frame.results or frame.side_at is None or frame.side_at[0] < frame.results[-1].b:
        return False
    turned = all(r.concept.startswith(TURNED) for r in frame.results[-1].gives() if r.role == "means")
    other = not any(r.concept.startswith(TURNED) for r in mark.gives())
    return turned and other and any(r.role == "means" for r in frame.results[-1].gives())
