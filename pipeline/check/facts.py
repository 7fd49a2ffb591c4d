"""Items, computed numbers and chart entries in one shape, and the test whether a condition holds on them."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.ages import DAYS
from pipeline.check.rows import When
from pipeline.model import Item, Onset, Span


@dataclass(frozen=True, slots=True)
class Fact:
    """One statement that rules look at. ``items`` and ``spans`` say what it rests on in this visit."""

    concept: str
    site: str | None = None
    side: str = "none"
    level: str | None = None
    result: str | None = None
    value: float | None = None
    unit: str | None = None
    degree: str | None = None
    change: str | None = None
    onset: Onset | None = None
    flags: tuple[str, ...] = ()
    text: str = ""
    note: str = ""
    items: tuple[str, ...] = ()
    spans: tuple[Span, ...] = ()
    start_ms: int = 0
    earlier: bool = False

    @property
    def anchor(self) -> str:
        """Place of the fact for a remark's id: ``hip:left``, ``cervical_spine:C1``, or the concept's own name."""
        side = self.side if self.side != "none" else None
        return ":".join(part for part in (self.site or self.concept, self.level, side) if part)


def fact_of(item: Item, earlier: bool = False) -> Fact:
    """The fact of one item; of an earlier visit it keeps no spans (they lie in another recording)."""
    return Fact(
        concept=item.concept,
        site=item.site,
        side=item.side,
        level=item.level,
        result=item.result,
        value=item.value,
        unit=item.unit,
        degree=item.degree,
        change=item.change,
        onset=item.onset,
        flags=item.flags,
        text=f"{item.quote} {item.detail or ''}".lower(),
        items=() if earlier else (item.id,),
        spans=() if earlier else item.evidence,
        start_ms=item.start_ms,
        earlier=earlier,
    )


class Facts:
    """All facts of a visit by concept, in an order that does not depend on the order they came in."""

    def __init__(self, facts: Iterable[Fact], parents: Mapping[str, str | None]) -> None:
        self._parents = parents
        self._by_concept: dict[str, list[Fact]] = defaultdict(list)
        for fact in sorted(facts, key=_order):
            self._by_concept[fact.concept].append(fact)

    def __iter__(self) -> Iterator[Fact]:
        for concept in sorted(self._by_concept):
            yield from self._by_concept[concept]

    def of(self, *concepts: str, earlier: bool = False) -> list[Fact]:
        """The facts of these concepts in this visit (or in earlier ones), spoken order within a concept."""
        return [f for concept in concepts for f in self._by_concept.get(concept, ()) if f.earlier == earlier]

    def within(self, site: str | None, sites: Sequence[str]) -> bool:
        """Whether a site is one of ``sites`` or lies in one of them."""
        while site is not None:
            if site in sites:
                return True
            site = self._parents.get(site)
        return False

    def matches(self, when: When) -> tuple[Fact, ...] | None:
        """The facts that make the condition true; None where it is false. (), where nothing had to be there."""
        if when.concept:
            return self._facts(when) or None
        if when.none:
            return None if any(self.matches(part) is not None for part in when.none) else ()
        found = [self.matches(part) for part in (*when.any, *when.all)]
        hits = [hit for hit in found if hit is not None]
        if not hits or (when.all and len(hits) < len(found)):
            return None
        return tuple(dict.fromkeys(fact for hit in hits for fact in hit))

    def _facts(self, when: When) -> tuple[Fact, ...]:
        found = [
            fact
            for concept in when.concept
            for fact in self._by_concept.get(concept, ())
            if _this_visit(fact, when) and self._placed(fact, when) and _said(fact, when)
        ]
        return tuple(_unlike_sides(found, when.difference) if when.sides_differ else found)

    def _placed(self, fact: Fact, when: When) -> bool:
        return (
            (not when.site or self.within(fact.site, when.site))
            and (not when.site_is or fact.site in when.site_is)
            and not (when.not_site and self.within(fact.site, when.not_site))
        )


def _order(fact: Fact) -> tuple[str, ...]:
    return (fact.concept, f"{fact.start_ms:012}", *(str(getattr(fact, s)) for s in ("site", "side", "result", "items")))


def _this_visit(fact: Fact, when: When) -> bool:
    return when.visit == "ever" or fact.earlier == (when.visit == "earlier")


def _said(fact: Fact, when: When) -> bool:
    side = {"one": ("left", "right"), "not_one": ("both", "none")}.get(when.side or "", (fact.side,))
    return (
        (not when.result or fact.result in when.result)
        and fact.side in side
        and _in_range(fact.value, when)
        and (not when.degree or fact.degree in when.degree)
        and fact.degree not in when.not_degree
        and (not when.change or fact.change in when.change)
        and fact.change not in when.not_change
        and (not when.flag or any(flag in fact.flags for flag in when.flag))
        and _since(fact.onset, when)
        and (not when.words or any(holds(fact.text, word) for word in when.words))
        and not any(holds(fact.text, word) for word in when.not_words)
    )


def holds(text: str, beginning: str) -> bool:
    """Whether a word or phrase of ``text`` begins so; both in small letters."""
    return f" {beginning}" in f" {text}"


def _in_range(value: float | None, when: When) -> bool:
    limits = (when.ge, when.gt, when.le, when.lt)
    if value is None:
        return all(limit is None for limit in limits)
    return (
        (when.ge is None or value >= when.ge)
        and (when.gt is None or value > when.gt)
        and (when.le is None or value <= when.le)
        and (when.lt is None or value < when.lt)
    )


def _since(onset: Onset | None, when: When) -> bool:
    if when.sudden:
        return onset is not None and onset.sudden
    if when.onset_from is None and when.onset_within is None:
        return True
    days = onset.value * DAYS[onset.unit] if onset and onset.value is not None and onset.unit else None
    if days is None:
        return when.onset_within is not None and onset is not None and onset.sudden
    return (when.onset_from is None or days >= when.onset_from) and (
        when.onset_within is None or days <= when.onset_within
    )


def _unlike_sides(facts: Sequence[Fact], difference: float | None) -> list[Fact]:
    """Pairs of left and right facts that are not alike, and facts that call themselves asymmetrical."""
    found = [f for f in facts if f.result == "asymmetrical"] if difference is None else []
    known = [f for f in facts if f.result not in ("not_assessed", "asymmetrical")]
    for left in (f for f in known if f.side == "left"):
        for right in (f for f in known if f.side == "right" and f.concept == left.concept):
            if difference is None:
                unlike = left.result != right.result
            else:
                unlike = None not in (left.value, right.value) and abs(left.value - right.value) >= difference  # type: ignore[operator]
            if unlike:
                found += [left, right]
    return list(dict.fromkeys(found))


def without(facts: Iterable[Fact], items: frozenset[str]) -> list[Fact]:
    """The facts that rest on none of these items."""
    return [fact for fact in facts if not items.intersection(fact.items)]


def named(fact: Fact, concept: str, value: float, note: str, unit: str | None = None, *more: Fact) -> Fact:
    """A computed fact: ``value`` under ``concept``, resting on ``fact`` and ``more``."""
    rest = (fact, *more)
    return replace(
        fact,
        concept=concept,
        result=None,
        value=round(value, 6),  # so that a limit met exactly is met
        unit=unit,
        note=note,
        items=tuple(dict.fromkeys(i for f in rest for i in f.items)),
        spans=tuple(dict.fromkeys(s for f in rest for s in f.spans)),
        earlier=False,
    )
