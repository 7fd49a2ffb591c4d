"""The chain over the events: each hash covers its event and the hash before, so that none can be altered, dropped or
inserted without every later hash being another.

The hash of an event is the SHA-256 of ``previous hash, newline, its FIELDS as JSON`` (keys in order, no spaces, UTF-8);
the first follows the empty text. What the event says is among them as ``content``, the SHA-256 of ``salt, newline,
payload as JSON``: what was said may be destroyed, and its salt with it, while the chain still proves that nothing else
was touched. The salt keeps a destroyed word from being found by guessing. An event whose payload no longer gives its
content must be named, with the hash of what stands there instead, by a later event that says why (``attested``).

Events from before revision 0005 were chained over their payload itself; those hashes are kept as ``first_hash``, for
heads noted then. Neither form ever changes: hashes written once must stay what they are.
"""

import hashlib
import json
import secrets
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # what notes a reading must start at once
    import sqlalchemy as sa

FIELDS = ("seq", "id", "at", "author", "infant", "visit", "type", "content")
FIRST_FIELDS = ("seq", "id", "at", "author", "infant", "visit", "type", "payload")


NEWEST = "SELECT seq, hash FROM event ORDER BY seq DESC LIMIT 1"


def new_salt() -> str:
    """For the content of one event: 128 bits."""
    return secrets.token_hex(16)


def content_hash(salt: str, payload: Any) -> str:
    """The hash of what an event says; ``salt`` is "" for what stands in the place of something destroyed."""
    return hashlib.sha256(f"{salt}\n{_json(payload)}".encode("utf-8", "surrogatepass")).hexdigest()


def event_hash(previous: str, row: dict[str, Any]) -> str:
    """The hash of one row of ``event`` (its ``FIELDS``) after the hash ``previous``."""
    return _chained(previous, {name: row[name] for name in FIELDS})


def chained(newest: tuple[int, str], row: dict[str, Any]) -> dict[str, Any]:
    """A new event's row after the newest one (its number and hash; (0, "") for none): number, salt and hashes added."""
    seq, previous = newest
    whole = {**row, "seq": seq + 1, "salt": new_salt()}
    whole["content"] = content_hash(whole["salt"], whole["payload"])
    return {**whole, "hash": event_hash(previous, whole)}


def first_hash(previous: str, row: dict[str, Any]) -> str:
    """The hash as it was made before revision 0005, over ``FIRST_FIELDS`` (payload as parsed JSON)."""
    return _chained(previous, {name: row[name] for name in FIRST_FIELDS})


def head(connection: "sa.Connection") -> tuple[int, str]:
    """The number and the hash of the newest event; (0, "") where there is none."""
    row = connection.exec_driver_sql(NEWEST).first()
    return (row.seq, row.hash) if row else (0, "")


def _chained(previous: str, fields: dict[str, Any]) -> str:
    return hashlib.sha256(f"{previous}\n{_json(fields)}".encode("utf-8", "surrogatepass")).hexdigest()


def _json(data: Any) -> str:
    return json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
