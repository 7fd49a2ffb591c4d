"""Lines put right, struck, put back, added, moved; and answers. Each edit finds its line by id, else by time."""

from collections.abc import Iterable
from typing import Any

from pydantic import ValidationError

from pipeline.model import (
    SETTLED_BY,
    Anchor,
    Answer,
    Changes,
    Edit,
    Extraction,
    Item,
    LineEdit,
    Span,
    Transcript,
    Unattached,
    span_of,
)
from pipeline.times import clock

PART = "part"  # among the slots of an edit: where the line was moved
_FIXED = frozenset({"id", "evidence", "confidence", "flags"})  # no edit may set these
_HALF = 0.5  # of an edit's time that a line must share to be taken for the one it was made on


def amend(
    extraction: Extraction, words: Transcript, edits: Iterable[Edit], unattached: tuple[Unattached, ...] = ()
) -> tuple[Extraction, Changes]:
    """The items as the edits leave them, in spoken order, and what was done to them. Applied in the given order.

    unattached: corrections of words that found no place; those of lines are added to them.
    """
    table = _Table(extraction, words)
    answers: dict[str, Answer] = {}
    loose = list(unattached)
    for edit in edits:
        if isinstance(edit, LineEdit):
            why = table.apply(edit)
            if why:
                loose.append(Unattached(id=_name(edit), edit=edit, why=why))
        elif isinstance(edit, Answer):
            answers[table.asked(edit)] = edit
    return table.extraction(), Changes(
        struck=tuple(table.struck.values()),
        moved=table.moved,
        written=table.written,
        edited={key: tuple(slots) for key, slots in table.edited.items()},
        answers=answers,
        unattached=tuple(u for u in loose if u.id not in answers),
    )


class _Table:
    """The lines while the edits are applied."""

    def __init__(self, extraction: Extraction, words: Transcript) -> None:
        self._base, self._words = extraction, words
        self.items = {item.id: item for item in extraction.items}
        self.struck: dict[str, Item] = {}
        self.moved: dict[str, str] = {}
        self.written: dict[str, str] = {}
        self.edited: dict[str, dict[str, None]] = {}
        self._now: dict[str, str] = {}  # id of a line when it was edited -> its id now

    def extraction(self) -> Extraction:
        items = tuple(sorted(self.items.values(), key=lambda item: item.start_ms))
        return self._base.model_copy(update={"items": items})

    def apply(self, edit: LineEdit) -> str:
        """Apply one edit; returns why it could not be, or ""."""
        if edit.action == "add":
            return self._add(edit)
        found = self._find(edit.item_id, edit.anchor, edit.before)
        if found is None:
            return "The line it was made on is no longer there."
        self._now[edit.item_id] = found
        if edit.action == "strike":
            if found in self.items:
                self.struck[found] = self.items.pop(found)
            return ""
        if edit.action == "restore":
            if found in self.struck:
                self.items[found] = self.struck.pop(found)
            return ""
        return self._change(found, edit.after)

    def asked(self, answer: Answer) -> str:
        """What an answer is about, by its id now."""
        code, _, line = answer.remark_id.rpartition(":")
        if answer.anchor is None:
            return answer.remark_id
        found = self._find(line, answer.anchor, {})
        return f"{code}:{found}" if found else answer.remark_id

    def _add(self, edit: LineEdit) -> str:
        slots = {slot: value for slot, value in edit.after.items() if slot not in _FIXED and slot != PART}
        try:
            item = Item.model_validate({**slots, "id": edit.item_id, "evidence": (self._span(edit.anchor),)})
        except ValidationError as error:
            return f"It cannot be read ({error.errors()[0]['msg']})."
        self.items[item.id] = item
        if PART in edit.after:
            self.moved[item.id] = edit.after[PART]
        when = f" {edit.at:%H:%M}" if edit.at else ""
        typed = edit.anchor.start_ms == edit.anchor.end_ms
        at = f"for {clock(edit.anchor.start_ms)}" if typed else "from these words"
        self.written[item.id] = f"{'written' if typed else 'added'}{when} {at}"
        return ""

    def _change(self, key: str, after: dict[str, Any]) -> str:
        item = self.items.get(key) or self.struck[key]
        slots = {slot: value for slot, value in after.items() if slot not in _FIXED and slot != PART}
        settled = {code for slot in slots for code in SETTLED_BY.get(slot, ())}
        data = item.model_dump() | slots | {"flags": tuple(flag for flag in item.flags if flag not in settled)}
        try:
            changed = Item.model_validate(data)
        except ValidationError as error:
            return f"It cannot be read ({error.errors()[0]['msg']})."
        (self.items if key in self.items else self.struck)[key] = changed
        if PART in after:
            self.moved[key] = after[PART]
        self.edited.setdefault(key, {}).update(dict.fromkeys(after))
        return ""

    def _find(self, key: str, anchor: Anchor, before: dict[str, Any]) -> str | None:
        """The id of the line now: the same, else the one of its kind that shares most of its time, unchanged."""
        key = self._now.get(key, key)
        if key in self.items or key in self.struck:
            return key
        taken = {*self._now.values(), *self.written}
        wanted = {slot: value for slot, value in before.items() if slot != PART}
        best: tuple[float, bool, str] | None = None
        for item in self.items.values():
            share = _shared(anchor, item)
            if item.kind != anchor.kind or item.id in taken or share < _HALF:
                continue
            same = (item.concept, item.site) == (anchor.concept, anchor.site)
            stands = {slot: value for slot, value in item.model_dump(mode="json").items() if slot in wanted}
            if stands == wanted and (best is None or (same, share) > (best[1], best[0])):
                best = (share, same, item.id)
        return best[2] if best else None

    def _span(self, anchor: Anchor) -> Span:
        """The words of a stretch; an empty span at its time where it holds none."""
        words = self._words.words
        inside = [w.i for w in words if anchor.start_ms <= (w.start_ms + w.end_ms) / 2 < anchor.end_ms]
        if inside:
            return span_of(words, inside[0], inside[-1] + 1)
        at = next((word.i for word in words if word.start_ms >= anchor.start_ms), len(words))
        return Span(start_ms=anchor.start_ms, end_ms=anchor.end_ms, words=(at, at), quote="")


def _shared(anchor: Anchor, item: Item) -> float:
    """Which part of the anchor's time the item lies in, 0..1."""
    length = anchor.end_ms - anchor.start_ms
    common = min(anchor.end_ms, item.end_ms) - max(anchor.start_ms, item.start_ms)
    return max(common, 0) / length if length > 0 else 0.0


def _name(edit: LineEdit) -> str:
    slots = "+".join(sorted(edit.after)) or edit.action
    return f"unattached:{edit.item_id}:{slots}"
