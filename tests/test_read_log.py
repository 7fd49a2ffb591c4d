"""Who read what: noted in the chain once for each opening, listed for an infant, changing nothing else."""

import logging
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from invented import PlainStages, file_visit, infant, record_of
from reviewing import stages
from webbing import Pages

from pipeline import custody, infants, readings
from pipeline.config import Config, Settings
from pipeline.exchange import Wish, export
from pipeline.infants import Facts
from pipeline.model import Transcript
from pipeline.store import Store
from pipeline.store import readings as kept
from pipeline.store.events import Read


@pytest.fixture
def config(tmp_path: Path, spoken: Callable[[str], Transcript]) -> Config:
    """A record with the infants Wren, of a visit, and Robin, of none."""
    home = tmp_path / "home"
    with Store(home) as store:
        with store.writing() as unit:
            unit.blobs.keep(b"a clunk.")
        file_visit(store, record_of(spoken("a clunk."), infant("Wren")))
    config = Config(home=home, settings=Settings())
    infants.add(Facts(code_name="Robin"), config, today=date(2026, 11, 25))
    return config


def visit_of(config: Config) -> str:
    with Store(config.home) as store:
        return store.visits()[0].id


def read(config: Config, key: str) -> list[tuple[str, str]]:
    return [(one.what, one.way) for one in readings.log(key, config)[1] if one.way]


def test_what_is_opened_is_noted_once_and_proven(config: Config, spoken: Callable[[str], Transcript]) -> None:
    client, visit = Pages(config.home, stages()), visit_of(config)
    with Store(config.home) as store:
        before = store.version(visit), store.events(visit=visit)
    for path in (f"/visits/{visit}", f"/visits/{visit}", "/infants/wren", "/infants/robin"):
        assert client.get(path).status_code == 200
    readings.note_read(config, "lines", "command", visits=[visit, visit])
    readings.note_read(config, "lines", "command", visits=[])
    export("wren", Wish("csv"), config.home.parent / "one", config, PlainStages(spoken))
    export(None, Wish("csv"), config.home.parent / "all", config, PlainStages(spoken))

    wren = [("note", "page"), ("course", "page"), ("lines", "command"), ("export", "command"), ("export", "command")]
    assert read(config, "wren") == wren
    assert read(config, "robin") == [("course", "page"), ("export", "command")]
    with Store(config.home) as store:
        assert (store.version(visit), store.events(visit=visit)) == before
    found = custody.verify(config, PlainStages(spoken), step=lambda _what: None)
    assert [fault for fault in found.faults if fault.where.startswith("event")] == []
    custody.rebuild(config, PlainStages(spoken))
    assert read(config, "wren") == wren
    with Store(config.home) as store, store.writing() as unit:
        unit.connection.exec_driver_sql("DROP TRIGGER event_unchanged")
        unit.connection.exec_driver_sql("UPDATE event SET author = 'X' WHERE type = 'read' AND visit IS NOT NULL")
    altered = custody.verify(config, PlainStages(spoken), step=lambda _what: None)
    assert "altered" in altered.faults[0].what


def test_opened_again_much_later_it_is_read_again(config: Config, monkeypatch: pytest.MonkeyPatch) -> None:
    visit = visit_of(config)
    for _ in range(2):
        readings.note_read(config, "note", "page", visit=visit)
    monkeypatch.setattr(kept, "ONE_READING", kept.ONE_READING * -1)
    readings.note_read(config, "note", "page", visit=visit)

    assert read(config, "wren") == [("note", "page")] * 2


def test_the_record_can_be_read_while_another_program_writes(
    config: Config, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(kept, "_WAIT_S", 0.01)
    with Store(config.home) as store, store.writing(), caplog.at_level(logging.WARNING):
        readings.note_read(config, "note", "page", visit="V")

    assert "could not be noted" in caplog.text
    with Store(config.home) as store:
        assert not any(isinstance(event.payload, Read) for event in store.events())
