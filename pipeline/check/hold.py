"""What should not be treated by hand today: one question a visit, however many treatments and danger signs."""

from collections.abc import Iterator, Sequence

from pipeline.check.facts import Fact, Facts
from pipeline.check.remarks import items_of, spans_of
from pipeline.check.rows import Hold, Rule
from pipeline.model import Mark, Remark, Urgency

THRUST = "technique.thrust"
FORCE_UNSAID = "force_unsaid"
NOT_TREATED = frozenset({"technique.withheld"})
CHOICES = ("treated before the sign was found", "treated knowingly, reason given", "not treated", "no such sign")


def treatments(facts: Facts) -> list[Fact]:
    """Every treatment by hand that was given or tried in this visit."""
    return [f for f in facts if f.concept.startswith("technique.") and f.concept not in NOT_TREATED and not f.earlier]


def is_thrust(fact: Fact) -> bool:
    """A thrust, or an adjustment whose force was not said."""
    return fact.concept == THRUST or FORCE_UNSAID in fact.flags


def _against(hold: Hold, fact: Fact, facts: Facts) -> bool:
    return hold.everything or (hold.thrust and is_thrust(fact)) or facts.within(fact.site, hold.sites)


def hold_question(raised: Sequence[tuple[Remark, Rule]], facts: Facts) -> Iterator[Remark]:
    """One blocking question if a treatment was given against a sign that says not to."""
    given = treatments(facts)
    against: dict[str, tuple[Remark, Rule]] = {}
    touched: list[Fact] = []
    for remark, rule in raised:
        hit = [f for f in given if rule.withhold is not None and _against(rule.withhold, f, facts)]
        if hit:
            against[remark.rule] = (remark, rule)
            touched += hit
    if not against:
        return
    # What concerns safeguarding is named in no remark but its own.
    open_signs = sorted(rule for rule, (remark, _) in against.items() if not remark.safeguarding)
    titles = "; ".join(dict.fromkeys(against[rule][0].title for rule in open_signs)) or "a danger sign"
    yield Remark(
        id=":".join(filter(None, ["HOLD", "+".join(open_signs)])),
        rule="HOLD",
        urgency=Urgency.ASK,
        title="Treated in spite of a sign that says to hold back?",
        reason=f"Treatment was spoken of, and hands-on treatment should wait for this: {titles}.",
        action="Say what was done and why, or that it was not done.",
        source="When guidance names a danger sign it rarely speaks of manual treatment; holding back is our choice",
        mark=Mark.OURS,
        items=items_of(touched),
        spans=spans_of(touched),
        withhold=True,
        blocks_signing=True,
        safeguarding=not open_signs,
        choices=CHOICES,
    )
