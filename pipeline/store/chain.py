"""The chain over the events: each hash covers its event and the hash before, so that none can be altered, dropped or
inserted without every later hash being another.

The hash of an event is the SHA-256 of ``previous hash, newline, the event as JSON`` (keys in order, no spaces, UTF-8);
the first follows the empty text. This form never changes: hashes written once must stay what they are.
"""

import hashlib
import json
from typing import Any

import sqlalchemy as sa

FIELDS = ("seq", "id", "at", "author", "infant", "visit", "type", "payload")


def event_hash(previous: str, row: dict[str, Any]) -> str:
    """The hash of one row of ``event`` (its ``FIELDS``; payload as parsed JSON) after the hash ``previous``."""
    text = json.dumps({name: row[name] for name in FIELDS}, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(f"{previous}\n{text}".encode("utf-8", "surrogatepass")).hexdigest()


def head(connection: sa.Connection) -> tuple[int, str]:
    """The number and the hash of the newest event; (0, "") where there is none."""
    row = connection.execute(sa.text("SELECT seq, hash FROM event ORDER BY seq DESC LIMIT 1")).first()
    return (row.seq, row.hash) if row else (0, "")
