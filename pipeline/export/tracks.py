"""The lines of a note as a WebVTT metadata track beside the words: one cue a span, its payload one JSON object.

WebVTT (W3C Candidate Recommendation, 4 April 2019): a cue's text may hold neither ``-->`` nor an empty line, and cues
stand in the order of their start. JSON on one line with ``>`` escaped holds to that whatever was said.
"""

import json
from collections.abc import Iterator

from pipeline.export.visit import VisitDocument
from pipeline.model import Item, Line, Span, contract_json
from pipeline.prompts import PROMPT_SECTIONS
from pipeline.vtt import stamp

_NOTE = "NOTE\nThe lines of the note as metadata: each cue is a JSON object. Load beside the words as kind=metadata.\n"


def lines_track(document: VisitDocument) -> str:
    """Every line of the note that rests on the recording, at every stretch that it rests on."""
    items = {item.id: item for item in document.drafted.extraction.items}
    cues = sorted(
        ((span, section, line) for section, line in _lines(document) for span in line.spans),
        key=lambda cue: (cue[0].start_ms, cue[0].end_ms),
    )
    blocks = ["WEBVTT\n", _NOTE]
    for number, (span, section, line) in enumerate(cues, 1):
        end = max(span.end_ms, span.start_ms + 1)
        payload = _payload(span, section, line, [items[key] for key in line.items if key in items])
        blocks.append(f"{number}\n{stamp(span.start_ms)} --> {stamp(end)}\n{payload}\n")
    return "\n".join(blocks)


def _lines(document: VisitDocument) -> Iterator[tuple[str, Line]]:
    for section in document.note.sections:
        if section.id not in PROMPT_SECTIONS:
            for part in section.parts():
                yield from ((part.id, line) for line in part.lines)


def _payload(span: Span, section: str, line: Line, items: list[Item]) -> str:
    told = {
        "line": line.id,
        "section": section,
        "text": line.text,
        "role": span.role,
        "quote": span.quote,
        "items": [contract_json(item) for item in items],
    }
    return json.dumps(told, ensure_ascii=True, separators=(",", ":")).replace(">", "\\u003e")
