"""Spoken snippets against the items that the findings contract justifies for them (``tests/readings/README.md``)."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from extracting import extractor, vocabulary
from extraction import READINGS, UNSEEN, reading, rows
from score import CONCEPTS, GOOD, SAME_SITE, SITES, UNSCORED, Slots

from pipeline.run import extraction_json

FOLDER = Path(__file__).parent / "readings"
SLOTS = ("concept", "site", "side", "level", "result", "value", "unit")

Row = dict[str, Any]


def _known_failures() -> set[str]:
    lines = (FOLDER / "known_failures.txt").read_text(encoding="utf-8").splitlines()
    return {word for line in lines if (word := line.partition("#")[0].strip())}


ROWS = [row for name in READINGS for row in rows(name)]
UNSEEN_IDS = {row["id"] for name in UNSEEN for row in rows(name)}
KNOWN = _known_failures()


def _same(key: str, want: Any, got: Slots) -> bool:
    """Whether one slot of a made item agrees with the reading, by the contract's own tolerances."""
    have = got.get(key)
    match key:
        case "site":
            return bool(SAME_SITE.get(want, want) == SAME_SITE.get(str(have), have))
        case "side":
            harmless = {want, have} == {"both", "none"} and got["result"] in GOOD
            return harmless or bool(want == have)
        case "value":
            if want is None or have is None:
                return want is have
            return bool(abs(want - have) <= 0.005 * max(1.0, abs(want)))
        case "dose" | "onset":
            return have is not None and all(have.get(k) == v for k, v in want.items())
        case "reason" | "detail":
            return have is not None and str(want).lower() in str(have).lower()
        case "flags":
            return set(want) <= set(have or ())
    return bool(want == have)


def _fits(want: Slots, got: Slots) -> bool:
    return all(_same(key, value, got) for key, value in want.items() if key not in ("optional", "one_of"))


def _optional(want: Slots) -> bool:
    return bool(want.get("optional")) or "one_of" in want


def _pair(wanted: Sequence[Slots], made: Sequence[Slots]) -> dict[int, int]:
    """A largest matching of readings to made items, required readings first: index made -> index wanted."""
    taken: dict[int, int] = {}

    def place(w: int, seen: set[int]) -> bool:
        for m, item in enumerate(made):
            if m not in seen and _fits(wanted[w], item):
                seen.add(m)
                if m not in taken or place(taken[m], seen):
                    taken[m] = w
                    return True
        return False

    for w in sorted(range(len(wanted)), key=lambda w: _optional(wanted[w])):
        place(w, set())
    return taken


def faults(wanted: Sequence[Slots], made: Sequence[Slots]) -> list[str]:
    """What is missing or invented, in words; empty where the reading is met in every slot given."""
    named = {want["concept"] for want in wanted}
    made = [item for item in made if item["concept"] not in UNSCORED or item["concept"] in named]
    taken = _pair(wanted, made)
    met = set(taken.values())
    out = [f"missing: {want}" for w, want in enumerate(wanted) if w not in met and not _optional(want)]
    groups = {want["one_of"] for want in wanted if "one_of" in want}
    out += [
        f"none of the equally good readings {group!r}"
        for group in sorted(groups)
        if not any(wanted[w].get("one_of") == group for w in met)
    ]
    keys = (*SLOTS, "degree", "reporter", "source_role", "change", "dose", "onset", "reason", "detail", "flags")
    out += [f"not in the reading: { {k: item.get(k) for k in keys} }" for m, item in enumerate(made) if m not in taken]
    return out


def _params() -> list[Any]:
    known = pytest.mark.xfail(strict=True, reason="known failure")
    return [pytest.param(row, id=row["id"], marks=[known] if row["id"] in KNOWN else []) for row in ROWS]


@pytest.mark.parametrize("row", _params())
def test_the_reading_is_what_the_extractor_makes_of_the_words(row: Row) -> None:
    case = reading(row)

    made = extractor().extract(case.transcript, age=case.age)
    wrong = faults(row["items"], extraction_json(made, vocabulary())["items"])

    if row["id"] in UNSEEN_IDS:
        held_back = bool(wrong)  # the sentence stays unseen, so that no rule is made for it
        assert not held_back
    else:
        assert wrong == [], row["say"]


def test_known_failures_are_readings() -> None:
    assert {row["id"] for row in ROWS} >= KNOWN


def test_every_reading_has_an_id_of_its_own_and_words_of_its_own() -> None:
    assert len({row["id"] for row in ROWS}) == len(ROWS)
    assert len({(row.get("before"), str(row["say"])) for row in ROWS}) == len(ROWS)


@pytest.mark.parametrize("row", [pytest.param(row, id=row["id"]) for row in ROWS])
def test_a_reading_holds_ids_and_results_of_the_contract(row: Row) -> None:
    for item in row["items"]:
        _, _, kind, _, sided, results = CONCEPTS[item["concept"]]

        assert set(SLOTS) <= set(item)
        assert item["site"] is None or item["site"] in SITES
        assert item["side"] in (("left", "right", "both", "none") if sided == "y" else ("none",))
        assert item["result"] in [*results.split(","), *(["not_assessed"] if kind == "finding" else [])]
        assert (item["value"] is None) == (item["unit"] is None)
        assert item["value"] is not None or item["result"] != "value"


WANT: Slots = {
    "concept": "tissue.tension",
    "site": "neck",
    "side": "left",
    "level": None,
    "result": "tight",
    "value": None,
    "unit": None,
}


@pytest.mark.parametrize(
    ("change", "met"),
    [
        ({}, True),
        ({"site": "cervical_spine"}, True),
        ({"side": "right"}, False),
        ({"side": "none"}, False),
        ({"result": "normal"}, False),
        ({"level": "C2"}, False),
        ({"flags": ["corrected"]}, True),
        ({"site": "head"}, False),
    ],
)
def test_the_comparison_itself_sees_a_wrong_slot(change: Slots, met: bool) -> None:
    made = [{**WANT, **change}]

    assert (faults([WANT], made) == []) is met
    assert (faults([{**WANT, "one_of": "a"}, {**WANT, "one_of": "a", "site": "trunk"}], made) == []) is met


def test_the_comparison_itself_sees_what_is_missing_and_what_is_too_much() -> None:
    assert faults([WANT], []) != []
    assert faults([], [WANT]) != []
    assert faults([WANT], [WANT, WANT]) != []
    assert faults([{**WANT, "optional": True}], []) == []
    assert faults([], [{**WANT, "concept": sorted(UNSCORED)[0]}]) == []
    assert faults([{**WANT, "flags": ["side_missing"]}], [{**WANT, "flags": []}]) != []
