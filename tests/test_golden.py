"""The notes of the invented visits read as before; ``--update-golden`` writes them anew after a wanted change."""

import json
from datetime import date
from pathlib import Path

import pytest

from pipeline.ages import parse_age
from pipeline.config import Config, Settings
from pipeline.model import Infant
from pipeline.records import VisitRecord
from pipeline.resources import data_path
from pipeline.run import derive, read_source
from pipeline.stages import ShippedStages
from pipeline.vocabulary import load_vocabulary

GOLDEN = Path(__file__).parent / "golden"
SAMPLES = sorted(data_path("samples").glob("*.vtt"))


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_the_note_of_an_invented_visit_reads_as_before(sample: Path, request: pytest.FixtureRequest) -> None:
    told = json.loads(sample.with_suffix(".json").read_text(encoding="utf-8"))
    weeks = told["gestation_weeks"]
    stages = ShippedStages(load_vocabulary(), Config(home=Path("none"), settings=Settings()))
    source = read_source(sample, stages, None)
    record = VisitRecord(
        visit="0" * 26,
        infant=Infant(id="1" * 26, code_name=told["code_name"], gestation_weeks=weeks),
        day=date.fromisoformat(told["on"]),
        age=parse_age(told["age"], weeks),
        recording=source.recording,
        transcript=source.transcript,
        transcript_sha256="",
    )
    note = derive(record, stages).note.model_copy(update={"vocab_hash": "0" * 64, "program": "handspoken"})

    made = stages.render(note, source.transcript, None)["note.md"].decode()
    golden = GOLDEN / f"{sample.stem}.md"
    if request.config.getoption("--update-golden"):
        golden.write_text(made, encoding="utf-8")

    assert made == golden.read_text(encoding="utf-8")
