"""Contacts that are no visits: a call, a report that came, an answered referral, a missed visit; with their files."""

import hashlib
from collections.abc import Sequence
from datetime import date, time
from pathlib import Path
from typing import Literal

from pipeline.config import Config
from pipeline.errors import InputError, NotFoundError
from pipeline.files import blocks_of, staged
from pipeline.infants import found
from pipeline.model import Infant
from pipeline.records import ContactEntry
from pipeline.store import Store
from pipeline.store.events import Attached, Contact

LONGEST_TEXT = 20_000  # characters
MOST_FILES = 50
_LONGEST_NAME = 180  # bytes; file systems take 255
What = Literal["call", "report", "referral_answer", "visit_missed", "other"]


def add(
    key: str,
    what: What,
    text: str,
    config: Config,
    *,
    today: date,
    on: date | None = None,
    at: time | None = None,
    visit: str | None = None,
    files: Sequence[Path] = (),
) -> tuple[Infant, ContactEntry]:
    """Enter a contact; its files are kept by their content. Raises NotFoundError, InputError, StoreError."""
    day = on or today
    if day > today:
        raise InputError(f"{day} lies in the future; a contact is entered when it was.")
    said = _checked(text)
    if len(files) > MOST_FILES:
        raise InputError(f"{len(files)} files: attach {MOST_FILES} at most to one contact.")
    attached = [_attached(path) for path in files]
    with Store(config.home) as store:
        with store.writing() as unit:
            infant = found(unit, key)
            about = unit.find_visit(visit) if visit else None
            if about and about.infant.id != infant.id:
                raise InputError(f"visit {about.id} is of {about.infant.code_name}, not of {infant.code_name}.")
            for path, file in zip(files, attached, strict=True):
                unit.blobs.keep_file(path, file.sha256)
            payload = Contact(day=day, what=what, text=said, at=at, files=tuple(attached))
            unit.append(payload, visit=about.id if about else None, infant=infant.id)
        entered = max(store.contacts(infant.id), key=lambda entry: entry.id)
    return infant, entered


def contacts(key: str, config: Config) -> tuple[Infant, list[ContactEntry]]:
    """The contacts of an infant, oldest first. Raises NotFoundError, StoreError."""
    with Store(config.home) as store:
        infant = store.infant(key.strip())
        if infant is None:
            raise NotFoundError(f"infant {key[:80]!r}: the record holds none; `handspoken infant list` shows them.")
        return infant, store.contacts(infant.id)


def copy_files(entries: Sequence[ContactEntry], to: Path, config: Config) -> list[Path]:
    """Write the files of contacts to a folder, each under its day and name; nothing there is replaced.

    Raises InputError where a file is there already, NotFoundError, StoreError; nothing was written then.
    """
    written: list[Path] = []
    with Store(config.home) as store, staged() as batch:
        for entry in entries:
            for n, (sha256, name, _) in enumerate(entry.files):
                short = name.replace("/", "_").encode()[-_LONGEST_NAME:].decode(errors="ignore")
                path = to / f"{entry.day} {entry.id[-6:]}-{n + 1} {short}"
                if path.exists():
                    raise InputError(f"{path}: is there already; name another folder.")
                batch.write(path, store.stored(sha256))
                written.append(path)
        batch.publish()
    return written


def _checked(text: str) -> str:
    said = text.strip()
    odd = next((c for c in said if not c.isprintable() and c not in "\n\t"), None)
    if not said or len(said) > LONGEST_TEXT or odd is not None:
        raise InputError(f"the words of a contact: give 1 to {LONGEST_TEXT} printable characters.")
    return said


def _attached(path: Path) -> Attached:
    if not path.is_file():
        raise InputError(f"{path}: is no file that could be attached.")
    digest, size = hashlib.sha256(), 0
    for block in blocks_of(path):
        digest.update(block)
        size += len(block)
    name = "".join(c if c.isprintable() else "_" for c in path.name)[-200:]
    return Attached(sha256=digest.hexdigest(), name=name, size=size)
