"""A record with a bit of everything in it, and ways to harm it: for the tests of verify, backup and restore."""

import sqlite3
from datetime import date, datetime
from pathlib import Path

from conftest import _spoken
from invented import PlainStages

from pipeline import contacts, custody, infants, moves
from pipeline.config import Config, Settings
from pipeline.infants import Facts
from pipeline.store import Store
from pipeline.store.events import Signed
from pipeline.store.verify import Verified
from pipeline.visits import Told, draft

NOW = datetime(2026, 11, 25, 18, 40)
TODAY = date(2026, 11, 25)
STAGES = PlainStages(_spoken)


def fill(folder: Path) -> Path:
    """A record with a bit of everything, made once; each test works on a copy."""
    config, sound = Config(home=folder / "home", settings=Settings()), folder / "visit.opus"
    for name in ("wren", "robin"):
        infants.add(Facts(code_name=name), config, today=TODAY)
    sound.write_text("Hips, no clunk. Now her brother. A clunk.")
    visit = draft(sound, Told(infant="wren"), config, STAGES, today=TODAY)
    moves.give_stretches(visit.record.visit, ["0-1.5=wren", "3-end=robin"], config, STAGES)
    sound.write_text("A report that came.")
    contacts.add("robin", "report", "hips normal", config, today=TODAY, files=[sound])
    with Store(config.home) as store, store.writing() as unit:
        note = unit.blobs.keep(visit.drafted.note.model_dump_json().encode())
        page = unit.blobs.keep(b"a signed page")
        signed = Signed(note=note, renderings={"note.html": page}, signer="x", program="0", vocab_hash="")
        unit.append(signed, visit=visit.record.visit)
    (config.home / "settings.toml").write_text('jurisdiction = "allowed"\n')
    return folder / "home"


def verify(config: Config, head: str | None = None) -> Verified:
    return custody.verify(config, STAGES, head=head, step=lambda _what: None)


def contents_of(folder: Path) -> dict[str, bytes]:
    """Every file by path; the database as its rows, for its file may differ without meaning."""
    files = {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in folder.rglob("*")
        if p.is_file() and not p.name.startswith("record.db")
    }
    if (folder / "record.db").exists():
        db = sqlite3.connect(folder / "record.db")
        files["rows"] = "\n".join(line for line in db.iterdump() if "fts" not in line).encode()
        db.close()
    return files


def tamper(config: Config, *statements: str) -> None:
    """Change the database as another tool would, guards taken away."""
    db = sqlite3.connect(config.home / "record.db")
    for statement in ("DROP TRIGGER event_kept", "DROP TRIGGER event_unchanged", *statements):
        db.execute(statement)
    db.commit()
    db.close()


def blob_of(config: Config, kind: str) -> Path:
    """The blob of the first event of this kind."""
    keys = {"recording_sealed": "$.recording.sha256", "signed": "$.note", "contact": "$.files[0].sha256"}
    db = sqlite3.connect(config.home / "record.db")
    query = "SELECT json_extract(payload, ?) FROM event WHERE type = ?"
    sha256 = str(db.execute(query, (keys.get(kind, "$.sha256"), kind)).fetchone()[0])
    db.close()
    return config.blobs / sha256[:2] / sha256
