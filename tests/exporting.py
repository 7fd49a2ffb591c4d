"""Invented visits as an export takes them, and a walk through a FHIR document."""

import json
from collections.abc import Iterator
from datetime import UTC, date, datetime
from typing import Any

from invented import drafted, infant, record_of

from pipeline.export import Signature, VisitDocument, document_bundle
from pipeline.model import Item, Transcript
from pipeline.records import FiledVisit
from pipeline.vocabulary import load_vocabulary

AT = datetime(2026, 11, 25, 18, 40, tzinfo=UTC)
SIGNED = (Signature(name="Invented Person", role="chiropractor", at=AT),)


def document(transcript: Transcript, *items: Item, **changes: Any) -> VisitDocument:
    """A visit with these items; ``changes`` to the document."""
    record = record_of(transcript, infant("Robin", legal_name="Robin Invented", born=date(2026, 9, 30)))
    told = {"record": record, "drafted": drafted(record, items), "changed_at": AT, "program": "test"}
    return VisitDocument.model_validate(told | changes)


def bundle(given: VisitDocument, **wishes: Any) -> dict[str, Any]:
    """The visit as a FHIR document."""
    return dict(json.loads(document_bundle(given, load_vocabulary(), **wishes)))


def resources(made: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    """All resources of a kind in the order of the bundle."""
    return [entry["resource"] for entry in made["entry"] if entry["resource"]["resourceType"] == kind]


def own(resource: dict[str, Any], name: str) -> list[Any]:
    """The values of one of our extensions; of one made of parts, the parts by name."""
    found = [one for one in resource.get("extension", ()) if one["url"] == f"urn:handspoken:fhir:{name}"]
    return [
        {part["url"]: _value(part) for part in one["extension"]} if "extension" in one else _value(one) for one in found
    ]


def _value(one: dict[str, Any]) -> Any:
    return next(value for key, value in one.items() if key.startswith("value"))


def strings(value: Any) -> Iterator[str]:
    """Every text in a JSON value, keys too."""
    if isinstance(value, dict):
        for key, part in value.items():
            yield key
            yield from strings(part)
    elif isinstance(value, list):
        for part in value:
            yield from strings(part)
    elif isinstance(value, str):
        yield value


def filed(given: VisitDocument) -> FiledVisit:
    """The visit as the tables take it."""
    record = given.record
    return FiledVisit(
        visit=record.visit,
        infant=record.infant,
        day=record.day,
        age=record.age,
        recording=record.recording.sha256,
        signed=bool(given.signatures),
        items=given.drafted.extraction.items,
    )
