"""Make ``tests/records/<revision>.zip``: a record with data in it, as the program of this revision keeps it.

Run once before a new revision is added (``PYTHONPATH=.:tests python tests/records/keep_record.py``), and keep the file:
the migration test brings every one of them to the newest revision. Everyone in it is invented.
"""

import tempfile
import zipfile
from datetime import date, datetime, time
from pathlib import Path

from conftest import _spoken
from invented import PlainStages

from pipeline import contacts, handwritten, infants, moves
from pipeline.config import Config, Settings
from pipeline.infants import Facts
from pipeline.model import Anchor, Answer, Carer, LineEdit, WordCorrection
from pipeline.store import Store
from pipeline.store.events import Addendum, Consent, Payload
from pipeline.store.head import HEAD
from pipeline.visits import Told, draft

HERE = Path(__file__).parent


def make(folder: Path) -> Path:
    """Fill a record under ``folder`` and pack it; returns the zip."""
    config, stages = Config(home=folder / "home", settings=Settings()), PlainStages(_spoken)
    sound = folder / "visit.opus"
    for told, said in (
        (Told(infant="robin", age="9 weeks", gestation_weeks=36), "Hips, no clunk. A clonk in the shoulder."),
        (Told(infant="wren", born=date(2026, 9, 20), sex="female"), "A heart-murmur was told. No clunk."),
        (Told(infant="robin", on=date(2026, 11, 30)), "The second visit, no clunk."),
    ):
        sound.write_text(said)
        done = draft(sound, told, config, stages, today=date(2026, 11, 30))
    anchor = Anchor(kind="finding", concept="joint.clunk", site="hip", start_ms=0, end_ms=500)
    events: list[Payload] = [
        LineEdit(item_id="x", anchor=anchor, action="change", before={"side": "none"}, after={"side": "left"}),
        WordCorrection(start_ms=0, end_ms=500, heard="hep", meant="hip"),
        Answer(remark_id="TEST:joint.clunk", choice="done", text="rung through"),
        Addendum(text="the report came", signer="invented"),
        Consent(scope="treat", state="given", giver="mother"),
    ]
    with Store(config.home) as store, store.writing() as unit:
        for payload in events:
            unit.append(payload, visit=done.record.visit, infant=done.record.infant.id)
    carer = Carer(name="invented", role="mother", may_consent=True)
    infants.add(Facts(code_name="robin-again", carers=(carer,)), config, today=date(2026, 11, 30))
    infants.merge("robin", "robin-again", config, stages)
    sound.write_text("Twins. No clunk. Now her brother. A clunk.")
    twins = draft(sound, Told(infant="wren"), config, stages, today=date(2026, 11, 30)).record.visit
    moves.give_stretches(twins, ["0-1.5=wren", "3-end=robin"], config, stages)
    opened = handwritten.open_visit("wren", config, today=date(2026, 11, 30), at=time(10))
    handwritten.write_visit(opened.id, "No clunk.", config, stages, now=datetime(2026, 11, 30, 18, 40))
    moves.move(opened.id, "robin", config, stages)
    contacts.add("wren", "report", "hips normal", config, today=date(2026, 11, 30), files=[sound])
    packed = HERE / f"{HEAD}.zip"
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as out:
        for path in sorted(config.home.rglob("*")):
            if path.is_file() and "notes" not in path.parts:
                out.write(path, path.relative_to(config.home))
    return packed


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        make(Path(folder))
