"""What the infant's outline shows: every place as looked at, found or still open, from the items alone."""

from collections.abc import Iterable, Mapping

from pipeline.draft.wording import Place, Wording
from pipeline.model import Item, Line
from pipeline.vocabulary import Vocabulary

_STRENGTH = {"open": 0, "looked": 1, "found": 2}


def place_lines(
    items: Iterable[Item], states: Mapping[str, str], vocab: Vocabulary, wording: Wording
) -> tuple[Line, ...]:
    """One line a place and side, head to foot; id ``place:<state>:<place>:<side>``, ``items`` = what rests on it.

    states: ``open``, ``looked`` or ``found`` by item id. A finding on a sided place whose side was not said marks
    neither side: it stands as a line of its own with the side ``none``.
    """
    owner = {site: place for place in wording.places for site in place.sites}
    marks: dict[tuple[str, str], list[Item]] = {}
    for item in items:
        place = next((owner[site] for site in _sites(item, vocab) if site in owner), None)
        if place is not None:
            for side in _sides(item, place, states[item.id]):
                marks.setdefault((place.id, side), []).append(item)
    lines = []
    for place in wording.places:
        sides = ("left", "right", "none") if place.sided else ("none",)
        for side in sides:
            here = marks.get((place.id, side), [])
            if side == "none" and place.sided and not here:
                continue
            lines.append(_line(place, side, here, states, wording))
    return tuple(lines)


def _sites(item: Item, vocab: Vocabulary) -> tuple[str, ...]:
    return tuple(vocab.site_line(item.site)) if item.site in vocab.sites else ()


def _sides(item: Item, place: Place, state: str) -> tuple[str, ...]:
    if not place.sided:
        return ("none",)
    if item.side == "both" or (item.side == "none" and state == "looked"):
        return ("left", "right")  # a quiet result without a side speaks of both (findings contract, scoring)
    return (item.side,)


def _line(place: Place, side: str, here: list[Item], states: Mapping[str, str], wording: Wording) -> Line:
    state = max((states[item.id] for item in here), key=_STRENGTH.__getitem__, default="open")
    said = wording.word("side", side) if side != "none" else ""
    if place.sided and side == "none":
        said = wording.word("line", "no_side")
    label = ", ".join(part for part in (place.label, said) if part)
    return Line(
        id=f"place:{state}:{place.id}:{side}",
        text=f"{label}: {wording.word('state', state)}",
        items=tuple(item.id for item in here),
    )
