"""Rebuilding gives the tables that the work left, row by row, whatever was done; and so does one event at a time."""

import os
import random
import subprocess
import sys
from collections.abc import Callable
from datetime import date, datetime, time
from functools import partial
from pathlib import Path

import pytest
from invented import PlainStages

from pipeline import contacts, handwritten, infants, moves
from pipeline.config import Config, Settings
from pipeline.custody import rebuild
from pipeline.errors import InputError
from pipeline.infants import Facts
from pipeline.model import Anchor, Answer, LineEdit, Transcript, WordCorrection
from pipeline.run import derive
from pipeline.store import Store
from pipeline.store.compare import derived_rows, differences
from pipeline.store.events import Addendum, Consent, Redaction, Signed
from pipeline.visits import Told, draft

TODAY = date(2026, 11, 25)
Spoken = Callable[[str], Transcript]
SAID = "Hips, no clunk. A clonk in the shoulder. Now her brother. A clunk in the hip, no clunk in the knee."


@pytest.fixture
def config(tmp_path: Path) -> Config:
    return Config(home=tmp_path / "home", settings=Settings())


@pytest.fixture
def stages(spoken: Spoken) -> PlainStages:
    return PlainStages(spoken)


def _rows(config: Config) -> dict[str, dict[str, list[str]]]:
    with Store(config.home) as store, store.reading() as connection:
        return derived_rows(connection)


def test_a_record_with_everything_in_it_is_rebuilt_row_by_row(
    config: Config, stages: PlainStages, spoken: Spoken, tmp_path: Path
) -> None:
    sound = tmp_path / "visit.opus"
    for name in ("wren", "robin", "wren-again"):
        infants.add(Facts(code_name=name, risk_factors=("breech",)), config, today=TODAY)
    sound.write_text(SAID)
    twins = draft(sound, Told(infant="wren", age="9 weeks"), config, stages, today=TODAY).record
    draft(sound, Told(), config, PlainStages(spoken, word="shoulder"), today=TODAY)  # a second version of the words
    moves.give_stretches(twins.visit, ["0-3=wren", "5-end=robin"], config, stages)
    sound.write_text("The first visit, a clunk.")
    first = draft(sound, Told(infant="wren-again", on=date(2026, 11, 1)), config, stages, today=TODAY).record
    sound.write_text("Filed to the wrong one, no clunk.")
    wrong = draft(sound, Told(infant="robin", on=date(2026, 11, 9)), config, stages, today=TODAY).record
    moves.move(wrong.visit, "wren", config, stages, reason="the wrong chart was open")
    infants.merge("wren", "wren-again", config, stages)
    infants.edit("wren", Facts(born=date(2026, 9, 22), code_name="Wren", legal_name="Wren Invented"), config, stages,
                 today=TODAY)  # fmt: skip
    opened = handwritten.open_visit("robin", config, today=TODAY, on=date(2026, 11, 20), at=time(10))
    handwritten.write_visit(opened.id, "No clunk.", config, stages, now=datetime(2026, 11, 20, 18, 40))
    handwritten.write_visit(opened.id, "A clunk.", config, stages, now=datetime(2026, 11, 20, 18, 50))
    handwritten.open_visit("robin", config, today=TODAY)
    sound.write_text("Came by post.")
    contacts.add("wren", "report", "hips normal", config, today=TODAY, files=[sound])
    anchor = Anchor(kind="finding", concept="joint.clunk", site="hip", start_ms=0, end_ms=1500)
    with Store(config.home) as store, store.writing() as unit:
        for payload in (
            LineEdit(item_id="gone", anchor=anchor, action="change", before={"side": "none"}, after={"side": "left"}),
            WordCorrection(start_ms=0, end_ms=500, heard="Hips", meant="Hip"),
            Answer(remark_id="TEST:joint.clunk", choice="done"),
            Consent(scope="examine", state="given", giver="mother"),
            Signed(note=unit.blobs.keep(b"{}"), renderings={}, signer="x", program="0", vocab_hash="0" * 64),
            Addendum(text="afterwards", signer="x"),
            Redaction(recording=first.recording.id, start_ms=0, end_ms=10, reason="invented"),
        ):
            unit.append(payload, visit=first.visit, infant=first.infant.id)
        edited = unit.record(first.visit)
        unit.put_draft(edited, derive(edited, stages))
    before = _rows(config)
    assert {"contact", "infant_name", "transcript", "item"} <= {table for table, rows in before.items() if rows}

    assert rebuild(config, stages).visits == 5

    assert list(differences(before, _rows(config))) == []
    infants.split("wren-again", config, stages)
    split = _rows(config)
    assert list(differences(before, split)) != []
    rebuild(config, stages)
    assert list(differences(split, _rows(config))) == []


@pytest.mark.parametrize("seed", range(3))
def test_whatever_is_done_the_tables_follow_from_the_events(
    seed: int, config: Config, stages: PlainStages, tmp_path: Path
) -> None:
    """Work in a random order; what cannot be done is refused and changes nothing."""
    choose = random.Random(seed)
    names = ["ada", "bo", "cy"]
    sound = tmp_path / "visit.opus"
    for name in names:
        infants.add(Facts(code_name=name), config, today=TODAY)
    done = 0
    for turn in range(14):
        one, other = choose.sample(names, 2)
        with Store(config.home) as store:
            visits = [visit.id for visit in store.visits()]
        sound.write_text(f"Turn {turn}, {choose.choice(['no', 'a'])} clunk. Now {one}. And a clunk.")
        told = Told(infant=one, on=date(2026, 11, 1 + turn % 5))
        born = Facts(born=date(2026, 9, 1 + turn))
        steps: list[Callable[[], object]] = [
            partial(draft, sound, told, config, stages, today=TODAY),
            partial(infants.merge, one, other, config, stages),
            partial(infants.split, one, config, stages),
            partial(infants.edit, one, born, config, stages, today=TODAY),
        ]
        if visits:
            visit = choose.choice(visits)
            steps += [
                partial(moves.move, visit, other, config, stages),
                partial(moves.give_stretches, visit, [f"0-2={one}", f"2-end={other}"], config, stages),
            ]
        before = _rows(config)
        try:
            choose.choice(steps)()
            done += 1
        except InputError:
            assert before == _rows(config)
    assert done > 6
    worked = _rows(config)

    rebuild(config, stages)

    assert list(differences(worked, _rows(config))) == []


WRITER = """
import sys
from datetime import date
from pathlib import Path
from pipeline.config import Config, Settings
from pipeline.infants import Facts, add
config = Config(home=Path(sys.argv[1]), settings=Settings())
for n in range(6):
    add(Facts(code_name=f"invented-{sys.argv[2]}-{n}"), config, today=date(2026, 11, 25))
"""


def test_several_programs_write_at_once(config: Config) -> None:
    """Each waits for the others; also where all of them find no record and make it."""
    writers = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(config.home), str(n)], env=os.environ | {"PYTHONPATH": "."})
        for n in range(3)
    ]

    assert [writer.wait() for writer in writers] == [0, 0, 0]
    with Store(config.home) as store:
        events = store.events()
    assert [event.seq for event in events] == list(range(1, 19))
    assert len(infants.listed(config)) == 18
