"""Extraction quality as the findings contract (version 1) defines it: items made against items expected.

Items pair up by (kind, concept, site); ``found``, ``invented``, side, polarity, result and value errors and strict F1
follow the contract's section "Scoring". The tables in ``benchmarks/contract/`` are the contract's own.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent / "contract"
GOOD = {"normal", "symmetrical", "neutral", "level", "negative", "absent", "good", "slack"}
BAD = {
    "abnormal", "asymmetrical", "rotated", "tilted", "high", "low", "limited", "guarded", "tight",
    "present", "positive", "poor", "reduced", "bulging", "sunken", "head_lag",
}  # fmt: skip
OPPOSITE = {
    frozenset(pair)
    for pair in (
        ("present", "absent"),
        ("positive", "negative"),
        ("extensor", "flexor"),
        ("open", "closed"),
        ("good", "poor"),
        ("high", "low"),
    )
}
SAME_SITE = {"cervical_spine": "neck"}  # convention 4

Slots = dict[str, Any]
Pair = tuple[Slots, Slots]


def table(name: str) -> dict[str, list[str]]:
    """Rows of one of the contract's tables by id."""
    lines = (FOLDER / name).read_text(encoding="utf-8").splitlines()
    rows = (line.split("\t") for line in lines if line and not line.startswith("#"))
    return {row[0]: row for row in rows}


CONCEPTS = table("concepts.tsv")
UNSCORED = set(table("concepts-more.tsv"))
SITES = set(table("sites.tsv"))


def scored(items: Iterable[Slots]) -> list[Slots]:
    """The scored items with defaults filled in. Raises ValueError on a concept the contract does not know."""
    out = []
    for item in items:
        concept = item["concept"]
        if concept in UNSCORED:
            continue
        if concept not in CONCEPTS:
            raise ValueError(f"unknown concept {concept!r}: not in the contract's tables")
        _, _, kind, default_site, *_ = CONCEPTS[concept]
        site, value = item.get("site") or default_site or None, item.get("value")
        out.append(
            {
                "kind": kind,
                "concept": concept,
                "site": SAME_SITE.get(site or "", site),
                "side": item.get("side") or "none",
                "level": (item.get("level") or "").upper().replace(" ", "") or None,
                "result": item.get("result"),
                "value": None if value is None else round(float(value), 2),
                "unit": item.get("unit"),
                "quote": item.get("quote", ""),
                "optional": bool(item.get("optional")),
                "id": item.get("id", ""),
            }
        )
    return out


def _opposite(a: str | None, b: str | None) -> bool:
    if a is None or b is None or a == b:
        return False
    return frozenset((a, b)) in OPPOSITE or (a in GOOD and b in BAD) or (a in BAD and b in GOOD)


def same_side(gold: Slots, made: Slots) -> bool:
    harmless = {gold["side"], made["side"]} == {"both", "none"}
    return gold["side"] == made["side"] or (harmless and gold["result"] in GOOD and made["result"] in GOOD)


def same_value(gold: Slots, made: Slots) -> bool:
    if gold["value"] is None or made["value"] is None:
        return bool(gold["value"] == made["value"])
    near = abs(gold["value"] - made["value"]) <= 0.005 * max(1.0, abs(gold["value"]))
    return bool(near and gold["unit"] == made["unit"])


def _likeness(pair: Pair) -> tuple[bool, ...]:
    gold, made = pair
    return (
        gold["level"] == made["level"],
        not gold["optional"],
        same_side(gold, made),
        gold["result"] == made["result"],
        gold["value"] == made["value"],
    )


def pair_up(gold: Sequence[Slots], made: Sequence[Slots]) -> tuple[list[Pair], list[Slots], list[Slots]]:
    """Greedy best pairs inside each (kind, concept, site); then what is missed and what is invented."""
    groups: dict[tuple[str, str, str | None], tuple[list[Slots], list[Slots]]] = defaultdict(lambda: ([], []))
    for side, items in enumerate((gold, made)):
        for item in items:
            groups[item["kind"], item["concept"], item["site"]][side].append(item)
    pairs: list[Pair] = []
    missed: list[Slots] = []
    invented: list[Slots] = []
    for wanted, got in groups.values():
        used: set[int] = set()
        for g, m in sorted(((g, m) for g in wanted for m in got), key=_likeness, reverse=True):
            if id(g) not in used and id(m) not in used:
                pairs.append((g, m))
                used |= {id(g), id(m)}
        missed += [g for g in wanted if id(g) not in used]
        invented += [m for m in got if id(m) not in used]
    return pairs, missed, invented


def take_variants(pairs: list[Pair], missed: list[Slots]) -> tuple[list[Pair], list[Slots]]:
    """An optional gold item on the same words as a missed required one is an equally good reading of them."""
    out, left = [], list(missed)
    for gold, made in pairs:
        if gold["optional"] and gold["quote"]:
            twin = next(
                (
                    m
                    for m in left
                    if not m["optional"]
                    and m["kind"] == gold["kind"]
                    and m["quote"]
                    and (m["quote"] in gold["quote"] or gold["quote"] in m["quote"])
                ),
                None,
            )
            if twin is not None:
                left.remove(twin)
                gold = {**gold, "optional": False}
        out.append((gold, made))
    return out, left


def score(sets: Iterable[tuple[str, Iterable[Slots], Iterable[Slots]]]) -> tuple[dict[str, float], list[str]]:
    """The figures over named (gold items, made items), and every error in words.

    ``found`` and the F1 values are shares 0..1; ``invented``, ``side_errors``, ``swapped`` (left for right),
    ``polarity_errors`` and ``value_errors`` are counts.
    """
    t: dict[str, int] = defaultdict(int)
    errors: list[str] = []
    for name, gold_items, made_items in sets:
        gold, made = scored(gold_items), scored(made_items)
        pairs, missed, invented = pair_up(gold, made)
        pairs, missed = take_variants(pairs, missed)
        missed = [m for m in missed if not m["optional"]]
        t["gold"] += sum(not g["optional"] for g in gold)
        t["made"] += len(made) - sum(g["optional"] for g, _ in pairs)
        pairs = [(g, m) for g, m in pairs if not g["optional"]]
        t["paired"] += len(pairs)
        t["invented"] += len(invented)
        for g, m in pairs:
            side, result = not same_side(g, m), g["result"] != m["result"]
            value, level = not same_value(g, m), g["level"] != m["level"]
            t["swapped"] += {g["side"], m["side"]} == {"left", "right"}
            t["side"] += side
            t["polarity"] += _opposite(g["result"], m["result"])
            t["result"] += result
            t["value"] += value
            t["strict"] += not (side or result or value or level)
            t["strict_no_level"] += not (side or result or value)
            if side or result or value or level:
                errors.append(f"{name} wrong {_words(g)} made {_words(m)} «{g['quote'][:80]}»")
        errors += [f"{name} missed {_words(m)} «{m['quote'][:80]}»" for m in missed]
        errors += [f"{name} invented {_words(m)} «{m['quote'][:80]}»" for m in invented]
    figures: dict[str, float] = {
        "gold": t["gold"],
        "predicted": t["made"],
        "found": round(t["paired"] / max(1, t["gold"]), 4),
        "invented": t["invented"],
        "invented_share": round(t["invented"] / max(1, t["made"]), 4),
        "side_errors": t["side"],
        "swapped": t["swapped"],
        "polarity_errors": t["polarity"],
        "result_accuracy": round(1 - t["result"] / max(1, t["paired"]), 4),
        "value_errors": t["value"],
        "strict_f1": round(2 * t["strict"] / max(1, t["gold"] + t["made"]), 4),
        "strict_f1_without_level": round(2 * t["strict_no_level"] / max(1, t["gold"] + t["made"]), 4),
    }
    return figures, errors


def _words(item: Slots) -> str:
    slots = [item["side"], item["level"], item["result"], item["value"], item["unit"]]
    return f"{item['concept']}@{item['site']} " + "/".join(str(slot) for slot in slots if slot is not None)
