"""From rules to remarks: one remark a rule and place, with the facts it rests on and an id that stays."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from pipeline.check.ages import both_shown, in_window, window_of
from pipeline.check.facts import Fact, Facts
from pipeline.check.norms import Norms
from pipeline.check.rows import RedFlag, Rule, Sourced
from pipeline.model import Age, Infant, Mark, Remark, Span, Urgency

ORDER = {urgency: rank for rank, urgency in enumerate(Urgency)}
MISSING = {
    "age": ("How old is the infant?", "The age is not known"),
    "gestation": ("How many weeks at birth?", "The weeks of gestation are not known"),
    "sex": ("Girl or boy?", "The sex is not entered"),
    "birth_weight": ("What was the birth weight?", "The birth weight is not known"),
}
PRESSING = (Urgency.REFER, Urgency.SAME_DAY, Urgency.EMERGENCY)
OURS = "Rules that need what is not known ask; they assume nothing"


@dataclass
class Waiting:
    """What cannot be judged before something is known: the findings, and the danger signs that they may be.

    ``kept_back``: a sign of the safeguarding class is among them, which is named in no other remark.
    """

    facts: list[Fact] = field(default_factory=list)
    signs: list[str] = field(default_factory=list)
    kept_back: bool = False

    def add(self, facts: Iterable[Fact], rule: Rule | None = None) -> None:
        """Let these facts wait; ``rule``: the one that would judge them."""
        self.facts += facts
        if isinstance(rule, RedFlag) and rule.urgency in PRESSING:
            self.kept_back |= rule.safeguarding
            self.signs += () if rule.safeguarding else (rule.title,)


def remark_id(rule: str, facts: Iterable[Fact]) -> str:
    """``RF29:hip:left``: the rule and the sorted places of its evidence; never a counter."""
    return ":".join([rule, *filter(None, ["+".join(sorted({fact.anchor for fact in facts}))])])


def cited(row: Sourced) -> str:
    """The source as shown; a remembered one says that it must be looked up, once."""
    source = row.source.rstrip(".")
    if row.mark is not Mark.MEMORY:
        return source
    if "from memory" in source:
        return source.replace("from memory", "from memory: verify", 1)
    return f"{source} (from memory: verify)"


def spans_of(facts: Iterable[Fact]) -> tuple[Span, ...]:
    """The audio a remark rests on, in spoken order, each stretch once."""
    return tuple(sorted({s for fact in facts for s in fact.spans}, key=lambda s: (s.start_ms, s.words, s.role)))


def items_of(facts: Iterable[Fact]) -> tuple[str, ...]:
    """The ids of the items a remark rests on, each once, in an order of their own."""
    return tuple(sorted({i for fact in facts for i in fact.items}))


def apply_rules(
    rules: Iterable[Rule], facts: Facts, infant: Infant, age: Age | None, weeks: int | None, norms: Norms
) -> tuple[list[tuple[Remark, Rule]], dict[str, Waiting]]:
    """Raise the remarks of all rules that hold; and, by what is not known, what waits for it."""
    raised: dict[str, tuple[Remark, Rule]] = {}
    waiting: dict[str, Waiting] = defaultdict(Waiting)
    for rule in rules:
        found = facts.matches(rule.when)
        if found is None:
            continue
        verdict = in_window(rule, infant, age, weeks)
        if verdict.missing:
            waiting[verdict.missing].add(found, rule)
        if verdict.holds:
            for group in _groups(rule, found):
                remark = _remark(rule, group, facts, age, norms)
                known = raised.get(remark.id)
                if known is None or ORDER[known[0].urgency] < ORDER[remark.urgency]:
                    raised[remark.id] = (remark, rule)
    return [(r, rule) for r, rule in raised.values() if not _outdone(r, raised.values())], waiting


def _outdone(remark: Remark, raised: Iterable[tuple[Remark, Rule]]) -> bool:
    """Whether the same danger sign is raised more pressingly on these items and more."""
    return any(
        other.rule == remark.rule and ORDER[other.urgency] > ORDER[remark.urgency] and {*remark.items} <= {*other.items}
        for other, _ in raised
    )


def _groups(rule: Rule, found: Sequence[Fact]) -> Iterator[tuple[Fact, ...]]:
    """A single condition gives one remark a place; a combination, or a comparison of sides, gives one."""
    if not rule.when.concept or rule.when.sides_differ:
        yield tuple(found)
        return
    places: dict[str, list[Fact]] = defaultdict(list)
    for fact in found:
        places[fact.anchor].append(fact)
    yield from (tuple(group) for group in places.values())


def _remark(rule: Rule, group: tuple[Fact, ...], facts: Facts, age: Age | None, norms: Norms) -> Remark:
    urgency, reasons, evidence = rule.urgency, [_filled(rule.reason, group, norms)], group
    for worse in rule.worse:
        because = facts.matches(worse.when)
        if because is not None and ORDER[worse.urgency] > ORDER[urgency]:
            urgency, evidence = worse.urgency, tuple(dict.fromkeys((*group, *because)))
            reasons.append(worse.reason)
    if isinstance(rule, RedFlag):
        reasons.append(rule.guidance)
    window = "; ".join(filter(None, [window_of(rule), both_shown(age) if rule.age and age else ""]))
    return Remark(
        id=remark_id(rule.flag if isinstance(rule, RedFlag) else rule.id, group),
        rule=rule.flag if isinstance(rule, RedFlag) else rule.id,
        urgency=urgency,
        title=rule.title,
        reason=" ".join(reasons),
        action=" ".join(filter(None, [rule.action, _held_back(rule, norms)])),
        source=cited(rule),
        mark=rule.mark,
        window=window,
        items=items_of(evidence),
        spans=spans_of(evidence),
        withhold=rule.withhold is not None and rule.withhold.everything,
        safeguarding=rule.safeguarding,
        choices=rule.choices,
    )


def _held_back(rule: Rule, norms: Norms) -> str:
    """What not to treat by hand, in words; that is our recommendation throughout (vocab/red_flags.yaml)."""
    if rule.withhold is None or rule.withhold.everything:
        return ""
    where = ", ".join(norms.place(site) for site in rule.withhold.sites)
    parts = [f"No manual treatment of {where}." if where else "", "No thrust." if rule.withhold.thrust else ""]
    return " ".join(filter(None, parts))


def _filled(reason: str, group: Sequence[Fact], norms: Norms) -> str:
    """The reason with the first fact's value, side, place and note in it."""
    first = next((f for f in group if f.note), group[0] if group else Fact(""))
    side = {"both": "on both sides", "none": ""}.get(first.side, f"on the {first.side}")
    to = {"both": "to both sides", "none": ""}.get(first.side, f"to the {first.side}")
    value = "" if first.value is None else f"{first.value:g}"
    filled = reason.format(
        value=value, side=side, to=to, site=norms.place(first.site), note=first.note, words=_words(group)
    )
    text = " ".join(filled.split()).replace(" ,", ",").replace(" .", ".").replace(" :", ":")
    return text[:1].upper() + text[1:]


def _words(group: Iterable[Fact]) -> str:
    """The words that a remark rests on, each stretch once, as one quotation that ends its sentence."""
    quotes = [span.quote.strip(" .,;") for span in spans_of(group) if span.role in ("said", "answer")]
    return "; ".join(f"“{quote}”" for quote in dict.fromkeys(quotes)) + "."


def questions(waiting: Mapping[str, Waiting]) -> Iterator[Remark]:
    """One question for each thing that is not known, with what waits for it; it blocks where that may be a danger."""
    for missing, held in sorted(waiting.items()):
        items = items_of(held.facts)
        count = max(len(items), 1)
        title, reason = MISSING[missing]
        signs = "; ".join(dict.fromkeys(held.signs))
        yield Remark(
            id=f"ASK.{missing}",
            rule=f"ASK.{missing}",
            urgency=Urgency.ASK,
            title=title,
            reason=f"{reason}; {count} finding{'s' * (count > 1)} cannot be judged without."
            + (f" It may decide about a danger: {signs}." if signs else ""),
            source=OURS,
            mark=Mark.OURS,
            items=items,
            spans=spans_of(held.facts),
            blocks_signing=bool(signs) or held.kept_back,
        )
