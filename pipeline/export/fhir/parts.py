"""What all resources are made of: references, coded text, extensions, narrative; and the collection they go into.

FHIR R4 (4.0.1), JSON form. What R4 has no element for is in extensions and code systems under ``OWN``, never modifying:
a reader that knows none of them misses detail, and reads nothing wrong.
"""

import base64
import hashlib
from collections.abc import Iterable, Iterator
from html import escape
from typing import Any
from uuid import UUID, uuid5

from pipeline.export.coding import Coding
from pipeline.safe import clean

Json = dict[str, Any]

OWN = "urn:handspoken:fhir:"
_ROWS = UUID("0d6bb2a5-8a1c-4d2e-9f53-5b8f7b1c2e64")  # ours, fixed for ever: the addresses of all entries depend on it
_DIV = '<div xmlns="http://www.w3.org/1999/xhtml">{}</div>'


class Entries:
    """The resources of one bundle in the order added, each under the UUIDv5 of its kind and row."""

    def __init__(self) -> None:
        self._resources: dict[str, Json] = {}

    def add(self, kind: str, row: str, body: Json) -> Json:
        """Put a resource in, once; returns the reference to it."""
        key = row_uuid(kind, row)
        self._resources.setdefault(f"urn:uuid:{key}", {"resourceType": kind, "id": key, **body})
        return reference(kind, row)

    def __iter__(self) -> Iterator[Json]:
        for url, resource in self._resources.items():
            yield {"fullUrl": url, "resource": tidy(resource)}


def row_uuid(kind: str, row: str) -> str:
    """The UUID that a row of the record has in every export."""
    return str(uuid5(_ROWS, f"{kind}|{row}"))


def reference(kind: str, row: str) -> Json:
    """A reference to an entry of the same bundle."""
    return {"reference": f"urn:uuid:{row_uuid(kind, row)}"}


def coded(text: str, *codings: Coding | None) -> Json:
    """A CodeableConcept: the text always, codes where there are any."""
    return {"coding": [coding.model_dump() for coding in codings if coding], "text": text}


def own_code(system: str, code: str | None, display: str) -> Coding | None:
    """A code of one of our own lists (``concept``, ``site``, ``result`` ...)."""
    return Coding(system=f"{OWN}{system}", code=code, display=display) if code else None


def extension(name: str, **value: Any) -> Json:
    """One of our extensions: ``extension("level", valueString="C1")``; with ``parts`` one made of several."""
    if (parts := value.pop("parts", None)) is not None:
        return {"url": f"{OWN}{name}", "extension": [{"url": url, **part} for url, part in parts]}
    return {"url": f"{OWN}{name}", **value}


def extensions(found: Iterable[Json | None]) -> list[Json]:
    """Those that are there."""
    return [one for one in found if one]


def narrative(paragraphs: Iterable[str], *, listed: bool = True) -> Json:
    """A Narrative of lines of plain text."""
    tag = "li" if listed else "p"
    body = "".join(f"<{tag}>{escape(clean(line))}</{tag}>" for line in paragraphs)
    return {"status": "generated", "div": _DIV.format(f"<ul>{body}</ul>" if listed else body)}


def named_information(sha256: str) -> str:
    """The address of bytes by their SHA-256 (RFC 6920, section 3): what refers to sound that is kept elsewhere."""
    return f"ni:///sha-256;{base64.urlsafe_b64encode(bytes.fromhex(sha256)).decode().rstrip('=')}"


def attachment(media_type: str, sha256: str, data: bytes | None, title: str) -> Json:
    """An Attachment: with its bytes (``hash`` is their SHA-1, as R4 demands), else by reference to their content."""
    if data is None:
        return {"contentType": media_type, "url": named_information(sha256), "title": title}
    sha1 = hashlib.sha1(data, usedforsecurity=False).digest()
    return {
        "contentType": media_type,
        "data": base64.b64encode(data).decode(),
        "size": len(data),
        "hash": base64.b64encode(sha1).decode(),
        "title": title,
    }


def tidy(value: Any) -> Any:
    """Without empty parts (FHIR allows none) and without control characters in text."""
    if isinstance(value, dict):
        kept = {key: tidy(part) for key, part in value.items()}
        return {key: part for key, part in kept.items() if part not in (None, "", [], {})}
    if isinstance(value, list | tuple):
        return [part for part in map(tidy, value) if part not in (None, "", [], {})]
    return " ".join(clean(value).split(" ")).strip() if isinstance(value, str) else value
