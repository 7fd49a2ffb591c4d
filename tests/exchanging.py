"""A record with something of every kind, for the tests of its way out and in."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

from invented import DAY, PlainStages, file_visit, infant, record_of

from pipeline.config import Config, Settings
from pipeline.exchange import Exported, Wish, export
from pipeline.model import Anchor, Carer, LineEdit, Recording, Transcript, WordCorrection
from pipeline.run import derive
from pipeline.store import Store
from pipeline.store.compare import derived_rows
from pipeline.store.events import (
    Addendum,
    Attached,
    Consent,
    Contact,
    InfantRevised,
    RecordingSealed,
    Signed,
)

Spoken = Callable[[str], Transcript]
SOUND = b"invented sound"
LETTER = b"\xff\xfe invented letter"
TEXTS = ("a clunk here.", "the clunk no more.", "no clunk at all.")


def make_record(home: Path, stages: PlainStages, spoken: Spoken) -> dict[str, Any]:
    """A record with something of every kind under ``home``; returns what a test wants to name of it."""
    wren = infant("Wren", legal_name="Wren Invented", born=date(2026, 10, 1), carers=(Carer(name="Ann Invented"),))
    heron = infant("Heron")
    with Store(home) as store:
        first = file_visit(store, record_of(spoken(TEXTS[0]), wren, date(2026, 11, 1)))
        second = file_visit(store, record_of(spoken(TEXTS[1]), wren, DAY))
        other = file_visit(store, record_of(spoken(TEXTS[2]), heron, DAY))
        edit = LineEdit(
            item_id="x", anchor=Anchor(kind="finding", concept="joint.clunk", site="hip", start_ms=500, end_ms=1000),
            action="change", before={"side": "none"}, after={"side": "left"},
        )  # fmt: skip
        with store.writing() as unit:
            for text in TEXTS:
                unit.blobs.keep(text.encode())
            sound = Recording(
                id="f" * 64, sha256=unit.blobs.keep(SOUND), media_type="audio/ogg", duration_ms=9, source_name="ö.ogg"
            )
            unit.append(RecordingSealed(recording=sound), visit=None)
            unit.append(InfantRevised(infant=wren.model_copy(update={"sex": "female"})), infant=wren.id)
            unit.append(edit, visit=first.visit, infant=wren.id)
            unit.append(WordCorrection(start_ms=0, end_ms=500, heard="a", meant="the"), visit=first.visit)
            unit.append(Consent(scope="record", state="given", giver="mother"), visit=second.visit)
            note = unit.blobs.keep(derive(second, stages).note.model_dump_json().encode())
            signed = Signed(
                note=note, renderings={"note.md": unit.blobs.keep(b"# signed")}, signer="Invented Person", role="x",
                second="Second Person", second_role="student", left_open={"TEST:gone": "parent had to go"},
                program="test", vocab_hash="0" * 64, norms_sha256="1" * 64,
            )  # fmt: skip
            unit.append(signed, visit=second.visit, infant=wren.id)
            unit.append(
                Addendum(text="later", signer="Invented Person", kind="late_entry", reason="it came by post"),
                visit=second.visit,
                infant=wren.id,
            )
            letter = Attached(sha256=unit.blobs.keep(LETTER), name="letter.pdf", size=len(LETTER))
            unit.append(Contact(day=DAY, what="report", text="came", files=(letter,)), infant=wren.id)
        store.rebuild(lambda record: derive(record, stages))
    return {"wren": wren, "heron": heron, "first": first.visit, "second": second.visit, "other": other.visit}


def out(config: Config, stages: PlainStages, to: Path, key: str | None = None, **wishes: Any) -> Exported:
    return export(key, Wish(**({"form": "json"} | wishes)), to, config, stages)


def elsewhere(tmp_path: Path) -> Config:
    return Config(home=tmp_path / "empty", settings=Settings())


def derived(config: Config) -> dict[str, dict[str, list[str]]]:
    with Store(config.home) as store, store.reading() as connection:
        return derived_rows(connection)
