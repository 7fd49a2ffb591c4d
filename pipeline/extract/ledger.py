"""The items so far: a statement said twice is one item, a new state is its own, a correction replaces."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import islice

from pipeline.extract.drafts import with_flag, without_flag
from pipeline.model import Item, ItemEvent, Retract, Span, TraceStep, Upsert, item_id

Key = tuple[str, str | None, str, str | None]
NEAR_CLAUSES = 3
RECENT = 40
MOST_SPANS = 12  # a thing said over and over rests on its first places
TREATMENT_CLAUSES = 8
REFINED = ("weak", "asymmetrical", "strong")  # "there's something, but weak"


@dataclass
class Record:
    """One item with where it was last said."""

    item: Item
    clause: int
    steps: tuple[TraceStep, ...]


@dataclass
class Ledger:
    """Items in spoken order, found again by what they are about. Events are what changed since they were last taken."""

    recording: str
    records: dict[str, Record] = field(default_factory=dict)
    _by_key: dict[Key, list[str]] = field(default_factory=lambda: defaultdict(list))
    _events: list[ItemEvent] = field(default_factory=list)
    _of_concept: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    treated: int = -1

    def take_events(self) -> list[ItemEvent]:
        """The events since the last call."""
        events, self._events = self._events, []
        return events

    def of(self, concept: str) -> list[Record]:
        """The standing records of a concept, the latest first."""
        return [self.records[i] for i in reversed(self._of_concept[concept]) if i in self.records]

    def recent(self) -> list[Record]:
        """The latest records by the order of their first mention, newest first: enough to look back a little."""
        return [self.records[i] for i in islice(reversed(self.records), RECENT)]

    def last(self, ids: Sequence[str]) -> list[Record]:
        """The records of the ids that still stand."""
        return [self.records[i] for i in dict.fromkeys(ids) if i in self.records]

    def add(
        self,
        item: Item,
        clause: int,
        steps: tuple[TraceStep, ...],
        *,
        corrects: bool,
        today: bool,
        turned: bool = False,
    ) -> str:
        """Add a statement; returns the id under which it stands."""
        key = _key(item)
        for known in reversed(self._by_key[key]):
            record = self.records[known]
            if _same(record.item, item):
                return self._repeat(record, item, clause)
            if item.result == "value" and record.item.value == item.value:
                return self._repeat(record, item, clause)
            if turned and clause - record.clause <= 1:
                return self._replace(record, item, clause, steps, corrected=False)
            if corrects:
                return self._replace(record, item, clause, steps)
            if record.item.result == "present" and item.result in REFINED and clause - record.clause <= 2:
                return self._replace(record, item, clause, steps, corrected=False)
            near = clause - record.clause <= NEAR_CLAUSES
            if near and _adds_value(record.item, item):  # "limited … she stops me at fifty": the judgement stays
                item = item.model_copy(update={"result": record.item.result})
                return self._replace(record, item, clause, steps, corrected=False)
            if near and _judges_value(record.item, item):  # "forty-five … so limited": the number stays
                item = item.model_copy(update={"value": record.item.value, "unit": record.item.unit})
                return self._replace(record, item, clause, steps, corrected=False)
            if not today and record.clause >= self.treated and _clash(record.item, item):
                flagged = record.item.model_copy(update={"flags": with_flag(record.item.flags, "conflict")})
                self._put(flagged, record.clause, record.steps)
                item = item.model_copy(update={"flags": with_flag(item.flags, "conflict")})
            break
        plain = next((self.records[i] for i in reversed(self._by_key[(*key[:2], "none", key[3])])), None)
        weaker = plain is not None and item.result in REFINED and item.side != "none" and clause - plain.clause <= 1
        if plain is not None and weaker and plain.item.result == "present":  # "is there, but weak in both hands"
            self.amend(plain.item.id, clause, None, side=item.side)
            return self._replace(self.records[plain.item.id], item, clause, steps, corrected=False)
        treated = self._same_treatment(item, clause)
        if treated is not None:
            return self._go_on(treated, item, clause)
        one = self._of_both(item, clause)
        if one is not None:
            return self._repeat(one, item, clause)
        late = self._sided_later(item, clause)
        if late is not None:
            flags = without_flag(late.item.flags, "side_missing")
            self.amend(late.item.id, clause, None, side=item.side, flags=flags)
            return self._repeat(self.records[late.item.id], item, clause)
        general = self._unsided(item, clause)
        if general is not None:
            return self._repeat(general, item, clause)
        ordinal = 0
        fresh = item_id(self.recording, item.concept, item.site, item.start_ms)
        while fresh in self.records:
            ordinal += 1
            fresh = item_id(self.recording, item.concept, item.site, item.start_ms, ordinal)
        item = item.model_copy(update={"id": fresh})
        self._by_key[key].append(fresh)
        self._of_concept[item.concept].append(fresh)
        self._put(item, clause, steps)
        return fresh

    def _of_both(self, item: Item, clause: int) -> Record | None:
        """ "Tense on the right, the left as well, so both": one line; "tight, right more than left" too."""
        if item.kind != "finding" or item.side == "none":
            return None
        sides = ("left", "right") if item.side == "both" else ("both",)
        near = [self.records[i] for s in sides for i in self._by_key[item.concept, item.site, s, item.level]]
        near = [
            r for r in near if _same(r.item, item) and clause - r.clause <= (NEAR_CLAUSES if item.side == "both" else 0)
        ]
        if not near:
            return None
        for other in near[1:]:
            self.retract(other.item.id, "both sides were said as one")
        if item.side == "both":
            self.amend(
                near[0].item.id, clause, None, side="both", flags=without_flag(near[0].item.flags, "side_missing")
            )
        return self.records[near[0].item.id]

    def _unsided(self, item: Item, clause: int) -> Record | None:
        """The same said just before with its side: "Ortolani negative on both … so Ortolani's negative"."""
        if item.side != "none":
            return None
        for side in ("both", "left", "right"):
            for known in reversed(self._by_key[item.concept, item.site, side, item.level]):
                record = self.records[known]
                if _same(record.item, item) and clause - record.clause <= NEAR_CLAUSES:
                    return record
        return None

    def _same_treatment(self, item: Item, clause: int) -> Record | None:
        """The same technique on the same structure a few clauses later is the same treatment going on."""
        if item.kind != "treatment":
            return None
        for record in self.of(item.concept):
            known = record.item
            if clause - record.clause > TREATMENT_CLAUSES or known.kind != "treatment":
                continue
            sides = {known.side, item.side}
            if (known.concept, known.site) == (item.concept, item.site) and (len(sides) == 1 or "none" in sides):
                return record
        return None

    def _go_on(self, record: Record, item: Item, clause: int) -> str:
        known = record.item
        result = known.result if item.result in ("done", known.result) else item.result
        side = item.side if known.side == "none" else known.side
        flags = known.flags if side == "none" else without_flag(known.flags, "side_missing")
        self.amend(known.id, clause, None, result=result, side=side, flags=flags)
        return self._repeat(self.records[known.id], item, clause)

    def turn_side(self, item: Item, clause: int) -> None:
        """ "SCM on the right, tight. Hold on … SCM on the left, tight.": the doubted side gives way to the new one."""
        other = {"left": "right", "right": "left"}.get(item.side)
        for known in list(self._by_key[item.concept, item.site, other or "", item.level]):
            record = self.records[known]
            if record.item.result == item.result and clause - record.clause <= NEAR_CLAUSES + 2:
                old = tuple(s.model_copy(update={"role": "retracted"}) for s in record.item.evidence)
                flags = with_flag(record.item.flags, "corrected")
                self.amend(known, clause, None, side=item.side, evidence=old, flags=flags)

    def _sided_later(self, item: Item, clause: int) -> Record | None:
        """ "Thigh folds are not the same. There's an extra one on the left.": the side comes after."""
        if item.side == "none":
            return None
        for known in reversed(self._by_key[item.concept, item.site, "none", item.level]):
            record = self.records[known]
            if (
                ("side_missing" in record.item.flags or item.kind == "advice" or self._of_two(record, item, clause))
                and _same(record.item, item)
                and clause - record.clause <= NEAR_CLAUSES
            ):
                return record
        return None

    def _of_two(self, record: Record, item: Item, clause: int) -> bool:
        """ "Beautiful Moro, both arms the same": of which sides comes in the same breath."""
        return item.kind == "finding" and item.side == "both" and clause - record.clause <= 1

    def _repeat(self, record: Record, item: Item, clause: int) -> str:
        spans = record.item.evidence
        for span in item.evidence if len(spans) < MOST_SPANS else ():
            spans = extend(record.item.model_copy(update={"evidence": spans}), span)
        merged = record.item.model_copy(
            update={
                "evidence": spans,
                "degree": record.item.degree or item.degree,
                "dose": record.item.dose or item.dose,
                "change": record.item.change or item.change,
            }
        )
        if merged != record.item:
            self._put(merged, clause, record.steps)
        record = self.records[record.item.id]
        record.clause = clause
        return record.item.id

    def _replace(
        self, record: Record, item: Item, clause: int, steps: tuple[TraceStep, ...], *, corrected: bool = True
    ) -> str:
        before = tuple(s.model_copy(update={"role": "retracted"}) if corrected else s for s in record.item.evidence)
        flags = with_flag(item.flags, "corrected") if corrected else item.flags
        fresh = item.model_copy(update={"id": record.item.id, "evidence": (*before, *item.evidence), "flags": flags})
        self._put(fresh, clause, steps)
        return record.item.id

    def amend(self, identity: str, clause: int, step: TraceStep | None = None, **slots: object) -> None:
        """Change slots of an item that stands (a side put right, a treatment's result)."""
        record = self.records[identity]
        item = record.item.model_copy(update=slots)
        if _key(item) != _key(record.item):
            self._by_key[_key(record.item)].remove(identity)
            self._by_key[_key(item)].append(identity)
        self._put(item, clause, (*record.steps, step) if step else record.steps)

    def retract(self, identity: str, why: str) -> None:
        """Take an item back."""
        record = self.records.pop(identity)
        self._by_key[_key(record.item)].remove(identity)
        self._events.append(Retract(item_id=identity, why=why))

    def _put(self, item: Item, clause: int, steps: tuple[TraceStep, ...]) -> None:
        self.records[item.id] = Record(item, clause, steps)
        self._events.append(Upsert(item=item))

    def items(self) -> tuple[Item, ...]:
        """All items that stand, by time."""
        return tuple(sorted((r.item for r in self.records.values()), key=lambda i: (i.start_ms, i.end_ms)))


def _key(item: Item) -> Key:
    return item.concept, item.site, item.side, item.level


def _same(a: Item, b: Item) -> bool:
    return a.result == b.result and (a.value, a.unit) == (b.value, b.unit)


def _adds_value(a: Item, b: Item) -> bool:
    """ "To the left she's tight … about sixty degrees": a number that only fills in what was said."""
    return a.value is None and b.value is not None and b.result in (a.result, "value") and a.result != "value"


def _judges_value(a: Item, b: Item) -> bool:
    return (
        a.result == "value" and a.value is not None and b.value is None and b.result in ("limited", "normal", "guarded")
    )


def _clash(a: Item, b: Item) -> bool:
    return a.kind == "finding" and a.value is None and b.value is None and "not_assessed" not in (a.result, b.result)


def extend(item: Item, span: Span) -> tuple[Span, ...]:
    """An item's evidence with one more span; of spans with the same role, one inside another is said only once."""
    same = [s for s in item.evidence if s.role == span.role]
    if any(s.words[0] <= span.words[0] and span.words[1] <= s.words[1] for s in same):
        return item.evidence
    inside = [s for s in same if span.words[0] <= s.words[0] and s.words[1] <= span.words[1]]
    return (*(s for s in item.evidence if s not in inside), span)
