"""The recording as Media (a typed or given text as DocumentReference), and the spans that a resource rests on."""

from pipeline.export.fhir.parts import OWN, Entries, Json, attachment, coded, extension, named_information
from pipeline.export.visit import VisitDocument
from pipeline.model import Item
from pipeline.times import fragment

_SOUND = ("audio/", "video/")


class Sound:
    """What was recorded at the visit; ``data`` where its bytes are to be attached. A copy without names has none."""

    def __init__(self, document: VisitDocument, patient: Json, entries: Entries, data: bytes | None) -> None:
        recording = document.record.recording
        self.references: list[Json] = []
        self.line = "No recording and no words: a copy without names."
        self._address = ""
        if not document.nameless:
            self._address = named_information(recording.sha256)
            self.references = [_entry(document, patient, entries, data)]
            self.line = f"Recording {recording.sha256} ({recording.media_type}, {recording.duration_ms / 1000:g} s)"

    def spans(self, item: Item) -> list[Json]:
        """Every span of an item as an extension: which role, when, which words, and what plays them."""
        return [
            extension(
                "evidence",
                parts=(
                    ("recording", {"valueReference": recording}),
                    ("role", {"valueCode": span.role}),
                    ("start-ms", {"valueInteger": span.start_ms}),
                    ("end-ms", {"valueInteger": span.end_ms}),
                    ("quote", {"valueString": span.quote or "(no words)"}),
                    ("plays", {"valueUri": f"{self._address}#{fragment(span.start_ms, span.end_ms)}"}),
                ),
            )
            for recording in self.references
            for span in item.evidence
        ]


def _entry(document: VisitDocument, patient: Json, entries: Entries, data: bytes | None) -> Json:
    """The recording as a resource; returns the reference to it."""
    recording, visit = document.record.recording, document.record
    sounds = recording.media_type.startswith(_SOUND)
    title = "recording of the visit" if sounds else "text of the visit"
    content = attachment(recording.media_type, recording.sha256, data, title)
    hashed = {"system": f"{OWN}sha-256", "value": recording.sha256}
    if not sounds:
        text = {"masterIdentifier": hashed, "status": "current", "type": coded(title), "subject": patient}
        return entries.add("DocumentReference", f"{visit.visit}|text", text | {"content": [{"attachment": content}]})
    body = {
        "extension": [extension("torn", valueString=recording.torn)] if recording.torn else [],
        "identifier": [hashed],
        "status": "completed",
        "type": coded(recording.media_type.partition("/")[0]),
        "subject": patient,
        "createdDateTime": visit.day.isoformat(),
        "duration": recording.duration_ms / 1000 if recording.duration_ms else None,
        "content": content,
    }
    return entries.add("Media", f"{visit.visit}|recording", body)
