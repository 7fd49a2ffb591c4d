"""What stands in the place of events that hold words of a destroyed stretch."""

from typing import Any

from pipeline.model import Answer, Destroyed, LineEdit, Stretch, WordCorrection
from pipeline.redaction.words import MARK, Mask, meet
from pipeline.store.events import Addendum, Payload, RecordingSealed, Redaction, Signed, kind_of, read_payload


def said_in(payload: Payload, stretch: Stretch) -> list[str]:
    """The words that an event gives for a stretch: what was put right there is said there too."""
    if isinstance(payload, WordCorrection) and meet((payload.start_ms, payload.end_ms), stretch):
        return [payload.heard, payload.meant]
    return []


def event_without(payload: Payload, stretch: Stretch, mask: Mask, gone: set[str]) -> Payload:
    """The payload itself where nothing of the stretch is in it, else what stands in its place.

    What was made on the stretch goes as a whole: a tombstone. In all other texts that people typed, quotes and telling
    words of it are marked. gone: ids of items, remarks and points that are no longer there.
    """
    if isinstance(payload, Destroyed | Redaction):
        return payload
    if _made_on(payload, stretch, gone):
        return Destroyed(was=kind_of(payload), step=getattr(payload, "step", ""))
    data: dict[str, Any] = mask.data(payload.model_dump(mode="json"))
    if isinstance(payload, Signed):
        data["left_open"] = {key: why for key, why in data["left_open"].items() if key not in gone}
    if isinstance(payload, Addendum) and payload.line in gone:
        data |= {"text": MARK, "reason": MARK, "line": ""}
    if isinstance(payload, RecordingSealed):
        for entry in data["recording"]["log"]:
            if entry["kind"] == "mark" and stretch[0] <= entry["at_ms"] < stretch[1]:
                entry["text"] = ""
    return payload if data == payload.model_dump(mode="json") else read_payload(data, 0)


def _made_on(payload: Payload, stretch: Stretch, gone: set[str]) -> bool:
    match payload:
        case WordCorrection():
            return meet((payload.start_ms, payload.end_ms), stretch)
        case LineEdit(item_id=item, anchor=anchor):
            return item in gone or meet((anchor.start_ms, anchor.end_ms), stretch)
        case Answer(remark_id=asked, anchor=at):
            return asked in gone or (at is not None and meet((at.start_ms, at.end_ms), stretch))
    return False
