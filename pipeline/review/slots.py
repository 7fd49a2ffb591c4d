"""Checks what a person puts into the slots of a line against the vocabulary."""

from typing import Any

from pydantic import ValidationError

from pipeline.errors import InputError
from pipeline.model import Item
from pipeline.safe import clean
from pipeline.vocabulary import Vocabulary

OWN_WORDS = "written.note"  # the concept of a line that is the person's own words and nothing else
OPEN = "not_assessed"
_FREE = ("detail", "reason", "level")
_TAKEN = (
    "kind", "concept", "site", "side", "level", "result", "value", "unit", "degree", "change", "detail", "reason",
    "dose", "onset", "reporter", "source_role", "part",
)  # fmt: skip
_LONGEST = 500


def checked(slots: dict[str, Any], before: Item | None, vocab: Vocabulary, parts: dict[str, str]) -> dict[str, Any]:
    """The slots as they go into an edit: those that differ, with what follows from them.

    before: the line as it stands, None for a new one. parts: ids of the note's parts. Raises InputError.
    """
    unknown = sorted(set(slots) - set(_TAKEN))
    if unknown:
        raise InputError(f"a line has no {', '.join(unknown)}.")
    given = {slot: _tidy(slot, value) for slot, value in slots.items()}
    if given.get("part") is None:
        given.pop("part", None)
    elif given["part"] not in parts:
        raise InputError(f"the note has no part {given['part']!r}.")
    now = {slot: value for slot, value in (before.model_dump(mode="json") if before else {}).items() if slot in _TAKEN}
    whole = now | {slot: value for slot, value in given.items() if slot != "part"}
    follow = _follow(whole, given, vocab)
    _fits(whole | follow)
    wanted = given | follow
    if before is None:
        return {slot: value for slot, value in wanted.items() if value is not None}
    return {slot: value for slot, value in wanted.items() if slot == "part" or now.get(slot) != value}


def _follow(whole: dict[str, Any], given: dict[str, Any], vocab: Vocabulary) -> dict[str, Any]:
    """What the concept decides: the kind, which results there are, the unit of a number. Raises InputError."""
    if whole.get("concept") == OWN_WORDS:
        if not whole.get("detail"):
            raise InputError("write what the line should say.")
        return {"result": "said"}
    concept = vocab.concepts.get(whole.get("concept") or "")
    if concept is None:
        raise InputError("choose what the line is about from the list.")
    if whole.get("site") is not None and whole["site"] not in vocab.sites:
        raise InputError("choose the structure from the list, or leave it out.")
    follow: dict[str, Any] = {"kind": concept.kind}
    result = whole.get("result")
    if result is not None and result not in concept.results and result not in (OPEN, "value"):
        if "concept" not in given or "result" in given:
            known = ", ".join(form.label for form in concept.results.values())
            raise InputError(f"{concept.label}: the result may be {known}, or not assessed.")
        follow["result"] = None
    if whole.get("value") is not None:
        if concept.measure is not None:
            unit = whole.get("unit") or concept.measure.unit
            if unit != concept.measure.unit:
                raise InputError(f"{concept.label}: give the number in {concept.measure.unit}.")
            follow["unit"] = unit
            if result is None:
                follow["result"] = "value"
    elif "value" in given:
        follow["unit"] = None
    return follow


def _fits(slots: dict[str, Any]) -> None:
    fields = {slot: value for slot, value in slots.items() if slot in Item.model_fields and value is not None}
    try:
        Item.model_validate({"id": "x", "evidence": (), **fields})
    except ValidationError as error:
        fault = error.errors()[0]
        raise InputError(f"{'.'.join(map(str, fault['loc']))}: {fault['msg']}.") from error


def _tidy(slot: str, value: Any) -> Any:
    if isinstance(value, str):
        value = " ".join(clean(value).split()) or None
        if value and len(value) > (_LONGEST if slot in _FREE else 64):
            raise InputError(f"{slot}: that is too long for a line.")
    if slot == "side" and value is None:
        return "none"
    if slot == "value" and value is not None:
        try:
            value = float(value)
        except (TypeError, ValueError) as error:
            raise InputError("value: give a number such as 4.1.") from error
        if not -1e6 < value < 1e6:
            raise InputError("value: that number is out of all bounds.")
    return value
