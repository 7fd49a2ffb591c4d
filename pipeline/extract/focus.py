"""The structure under the hands: what a later "the right one", "it" or "negative" is about."""

from dataclasses import dataclass, field

CLAUSES = 8
MS = 45_000


@dataclass(frozen=True, slots=True)
class Target:
    """One structure, as far as its words went: side "" where none was said, ``plural`` for "the hips"."""

    site: str | None
    side: str = ""
    level: str | None = None
    plural: bool = False


@dataclass
class Focus:
    """State between frames. ``side`` is the side last said in the present run of one structure."""

    targets: tuple[Target, ...] = ()
    side: str = ""
    concept: str | None = None
    result: str | None = None
    clause: int = 0
    at_ms: int = 0
    clause_of_concept: int = -9
    now: int = 0
    measured: str | None = None  # the measure that a bare number said soon belongs to
    measured_at: int = -9
    named_at: int = -9  # the clause that last named the structure in hand
    headed: bool = True  # its side was said as a heading, or with a test: the tests that follow are of that side
    denied: bool = False  # the last finding was one by denial
    lone: str = ""  # a side said by itself, "Left side.": the next statement is of it
    lone_at: int = -9
    seen: bool = False  # the last item was found by the hands, not told
    treated: bool = False  # the first treatment is over: what is tested now was tested before
    seats: dict[str, Target] = field(default_factory=dict)  # where each movement was last tested
    troubled: dict[str, str] = field(default_factory=dict)  # side on which something was found, "" for both
    born: bool = False  # the birth was spoken of in this clause or the one before
    mentioned: tuple[Target, ...] = ()  # named in an explanation or a question just before
    mentioned_at: int = -9
    mentioned_state: tuple[str, str | None] | None = None

    def live(self, clause: int, at_ms: int) -> bool:
        """Not yet forgotten: at most eight clauses and 45 seconds back."""
        return bool(self.targets) and clause - self.clause <= CLAUSES and at_ms - self.at_ms <= MS

    def shift(self, targets: tuple[Target, ...], clause: int, at_ms: int) -> None:
        """The hands go on to another structure (or back to one); what was said of the side before is over."""
        same = {t.site for t in targets} == {t.site for t in self.targets}
        self.targets = targets
        sides = {t.side for t in targets}
        self.side = sides.pop() if len(sides) == 1 else ""
        if not same:
            self.concept = self.result = None
        self.touch(clause, at_ms)

    def awaits(self) -> str | None:
        """The measure that a number without a name may belong to: its symptom was told of a little while ago."""
        return self.measured if self.now - self.measured_at <= CLAUSES else None

    def touch(self, clause: int, at_ms: int) -> None:
        """Still there."""
        self.clause, self.at_ms = clause, at_ms
