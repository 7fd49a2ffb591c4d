"""Before they leave: was it said what to watch for, how soon to act, and whom to call."""

from collections.abc import Iterator, Sequence

from pipeline.check.facts import Facts, holds
from pipeline.check.norms import Norms
from pipeline.check.remarks import ORDER, items_of, spans_of
from pipeline.model import Frozen, Mark, Remark, Span, Urgency


class Said(Frozen):
    """One part of the safety net; ``spans`` is empty where it was not said."""

    id: str
    label: str
    items: tuple[str, ...] = ()
    spans: tuple[Span, ...] = ()

    @property
    def said(self) -> bool:
        return bool(self.items)


def safety_net(facts: Facts, norms: Norms) -> tuple[Said, ...]:
    """Each part, with the audio it was said in or shown as missing."""
    return tuple(
        Said(id=row.id, label=row.label, items=items_of(found), spans=spans_of(found))
        for row in norms.safety_net
        for found in [
            [f for f in facts.of(*row.concept) if not row.words or any(holds(f.text, word) for word in row.words)]
        ]
    )


def net_remark(facts: Facts, norms: Norms, raised: Sequence[Remark]) -> Iterator[Remark]:
    """Ask for the missing parts where something was treated or is to be looked into."""
    parts = safety_net(facts, norms)
    missing = [part.label for part in parts if not part.said]
    treated = any(f.concept.startswith("technique.") for f in facts if not f.earlier)
    serious = any(ORDER[r.urgency] >= ORDER[Urgency.REFER] for r in raised)
    if missing and (treated or serious):
        spans = tuple(s for part in parts for s in part.spans)
        yield Remark(
            id="SAFETY_NET",
            rule="SAFETY_NET",
            urgency=Urgency.ASK,
            title="Before they leave",
            reason=f"Not heard: {'; '.join(missing)}.",
            action="Say it now, or write that it was told and how.",
            source="Safety-net advice in the record: consensus on care of children by hands-on practitioners "
            "(chiro.org, 2024) and our recommendation",
            mark=Mark.OURS,
            items=tuple(sorted({i for part in parts for i in part.items})),
            spans=tuple(dict.fromkeys(spans)),
        )
