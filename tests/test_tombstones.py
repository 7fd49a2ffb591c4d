"""Events whose words were destroyed: the chain still proves all the rest, and rebuilding gives the same."""

import json
import shutil
import sqlite3
from pathlib import Path

import pytest
from kept import STAGES, fill, tamper, verify

from pipeline import custody
from pipeline.config import Config, Settings
from pipeline.model import Anchor, Answer, Destroyed, LineEdit, Undo, WordCorrection
from pipeline.store import Store, Writing
from pipeline.store.events import Redaction
from pipeline.store.tombstones import in_place_of, put_in_place

ANCHOR = Anchor(kind="finding", concept="joint.clunk", site="hip", start_ms=1000, end_ms=1500)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Made once; each test works on a copy."""
    return fill(tmp_path_factory.mktemp("filled"))


@pytest.fixture
def config(filled: Path, tmp_path: Path) -> Config:
    shutil.copytree(filled, tmp_path / "home")
    return Config(home=tmp_path / "home", settings=Settings())


def _ids(config: Config, kind: str) -> list[str]:
    db = sqlite3.connect(config.home / "record.db")
    found = [key for (key,) in db.execute("SELECT id FROM event WHERE type = ? ORDER BY seq", (kind,))]
    db.close()
    return found


def _robin(unit: Writing) -> str:
    known = unit.infant("robin")
    assert known
    return known.id


def _redact(config: Config, *kinds: str) -> str:
    """Destroy what all events of these kinds say; returns the head from before."""
    with Store(config.home) as store:
        before = store.head()
        with store.writing() as unit:
            keys = {key: kind for kind in kinds for key in _ids(config, kind)}
            told = put_in_place(unit.connection, {key: Destroyed(was=kind) for key, kind in keys.items()})
            visit = unit.visits_of(infant=_robin(unit))[0]
            redaction = Redaction(recording="none", start_ms=0, end_ms=1, reason="invented", events=told)
            unit.append(redaction, visit=visit.id)
    return before


def _edits(config: Config, *edits: LineEdit | Answer | WordCorrection | Undo) -> str:
    with Store(config.home) as store, store.writing() as unit:
        visit = unit.visits_of(infant=_robin(unit))[0].id
        for edit in edits:
            unit.append(edit, visit=visit)
    return visit


def test_what_an_event_said_is_gone_and_the_chain_holds(config: Config) -> None:
    secret = WordCorrection(start_ms=0, end_ms=1, heard="Zebulon", meant="")
    _edits(config, secret)
    head = _redact(config, "word_correction")
    custody.rebuild(config, STAGES)

    found = verify(config, head)

    assert [fault for fault in found.faults if fault.damage] == []
    db = sqlite3.connect(config.home / "record.db")
    assert db.execute("SELECT payload, salt FROM event WHERE type = 'word_correction'").fetchall() == [
        (json.dumps({"type": "destroyed", "was": "word_correction", "step": ""}), "")
    ]
    with pytest.raises(sqlite3.DatabaseError, match="never changes"):
        db.execute("UPDATE event SET author = 'x'")
    db.close()


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE event SET payload = json_set(payload, '$.was', 'answer') WHERE type = 'word_correction'",
        "UPDATE event SET payload = json_set(payload, '$.reason', 'other') WHERE type = 'redaction'",
        "DELETE FROM event WHERE type = 'word_correction'",
        "UPDATE event SET at = '2020-01-01T00:00:00Z' WHERE type = 'word_correction'",
        "UPDATE event SET payload = json_set(payload, '$.infant.sex', 'male') WHERE seq = 1",
    ],
)
def test_a_tombstone_is_no_cover_for_another_change(statement: str, config: Config) -> None:
    _edits(config, WordCorrection(start_ms=0, end_ms=1, heard="x", meant=""))
    _redact(config, "word_correction")
    tamper(config, statement)

    assert not verify(config).sound


def test_a_destroyed_edit_counts_as_a_step_and_changes_nothing(config: Config) -> None:
    """Undone steps stay those that were undone: a later undo never reaches past a destroyed step."""
    change = LineEdit(item_id="x", anchor=ANCHOR, action="change", before={}, after={"side": "left"}, step="1")
    visit = _edits(config, Answer(remark_id="kept", choice="yes"), change, Undo())
    _redact(config, "line_edit")

    with Store(config.home) as store:
        record = store.record(visit)

    assert [edit.type for edit in record.edits] == ["answer", "destroyed", "undo"]
    assert [edit.type for edit in STAGES.standing(record.edits)] == ["answer"]


def test_files_said_to_stand_for_each_other_are_gone() -> None:
    assert in_place_of("a", {"a": "b", "b": "c"}) == "c"
    assert in_place_of("a", {"a": "b", "b": ""}) == ""
    assert in_place_of("a", {"a": "b", "b": "a"}) == ""
