"""What a person has to do to a draft until its lines say what the gold items say: from the contract's own pairing."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from score import CONCEPTS, Slots, pair_up, same_side, same_value, scored, take_variants

SLOTS = ("site", "side", "level", "result", "value")


@dataclass(frozen=True)
class Strike:
    """Strike an invented line."""

    line: str


@dataclass(frozen=True)
class Put:
    """Put slots of a line right."""

    line: str
    slots: Slots


@dataclass(frozen=True)
class AddLine:
    """Add a missed line; ``quote`` tells where it was said."""

    slots: Slots
    quote: str = field(compare=False)


Step = Strike | Put | AddLine


def plan(gold_items: Iterable[Slots], made_items: Iterable[Slots]) -> list[Step]:
    """The edits needed: those of lines first, in the order given, then those to be added."""
    gold, made = scored(gold_items), scored(made_items)
    pairs, missed, invented = pair_up(gold, made)
    pairs, missed = take_variants(pairs, missed)
    wanted = [m for m in missed if not m["optional"]]
    steps: list[Step] = []
    for g, m in pairs:
        if not g["optional"] and (wrong := _wrong(g, m)):
            steps.append(Put(m["id"], wrong))
    for m in list(invented):
        for g in [g for g in wanted if g["concept"] == m["concept"] and _of_the_same_words(g, m)][:1]:
            wanted.remove(g)
            invented.remove(m)
            steps.append(Put(m["id"], {"site": g["site"]} | _wrong(g, m)))
    steps += [Strike(m["id"]) for m in invented]
    return [*steps, *(AddLine({slot: g[slot] for slot in ("concept", "unit", *SLOTS)}, g["quote"]) for g in wanted)]


def left(gold_items: Iterable[Slots], made_items: Iterable[Slots]) -> int:
    """How many edits are still needed."""
    return len(plan(gold_items, made_items))


def _wrong(gold: Slots, made: Slots) -> dict[str, Any]:
    right = {
        "side": same_side(gold, made),
        "level": gold["level"] == made["level"],
        "result": gold["result"] == made["result"],
        "value": same_value(gold, made),
    }
    return {slot: gold[slot] for slot, fine in right.items() if not fine}


def _of_the_same_words(gold: Slots, made: Slots) -> bool:
    a, b = gold["quote"].casefold(), made["quote"].casefold()
    return bool(a and b) and (a in b or b in a or len(set(a.split()) & set(b.split())) >= 3)


def fits(slots: Slots, wanted: Slots) -> bool:
    """Whether a line with these slots is the wanted one by the contract's rules."""
    if slots["concept"] != wanted["concept"]:
        return False
    place = {"kind": "", "site": slots.get("site") or CONCEPTS[slots["concept"]][3] or None}
    full = {slot: slots.get(slot) for slot in ("result", "value", "unit", "level")}
    made = place | full | {"side": slots.get("side") or "none"}
    sites = {"cervical_spine": "neck"}
    return (
        sites.get(made["site"] or "", made["site"]) == wanted["site"]
        and (made["level"] or None) == wanted["level"]
        and same_side(wanted, made)
        and made["result"] == wanted["result"]
        and (made["value"] is None) == (wanted["value"] is None)
        and (wanted["value"] is None or abs(made["value"] - wanted["value"]) <= 0.005 * max(1.0, abs(wanted["value"])))
    )


def queries(wanted: Slots, names: dict[str, tuple[str, ...]]) -> Iterator[str]:
    """What one would type for a line: what the line it is typed at leaves open, beginnings of its names, the names.

    names: spoken forms of ``site`` (none where the concept has its own), ``concept`` and ``result``, the usual first.
    """
    side = {"left": "l", "right": "r", "both": "b"}.get(wanted["side"], "")
    number = f"{wanted['value']:g}" if wanted["value"] is not None else ""
    if wanted["unit"] in ("d", "wk", "mo"):
        number += wanted["unit"]
    for letters in (4, 40):
        for at in range(3):
            site, concept, result = (
                " ".join(word[:letters] for word in (forms[min(at, len(forms) - 1)] if forms else "").split()[:2])
                for forms in (names["site"], names["concept"], names["result"])
            )
            for parts in (
                (side, result, number),
                (concept, side, number),
                (concept, side, result, number),
                (site, concept, side, result, number),
            ):
                yield " ".join(filter(None, parts))
