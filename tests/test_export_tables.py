"""The table of all items as CSV and as Parquet."""

import csv
import io
from collections.abc import Callable
from datetime import date

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from exporting import document, filed
from invented import item

from pipeline.export import csv_blocks, parquet, tables
from pipeline.export.tables import COLUMNS
from pipeline.model import Dose, Onset, Transcript
from pipeline.records import FiledVisit
from pipeline.vocabulary import load_vocabulary

VOCAB = load_vocabulary()

# What readers of the table rely on: never renamed, moved or given another type. New ones come at the end.
PROMISED = """
infant string, infant_id string, sex string, gestation_weeks int32, visit string, day date32[day], age_days int32,
corrected_age_days int32, signed bool, position int32, item string, kind string, concept string, concept_label string,
site string, site_label string, side string, level string, result string, value double, unit string, degree string,
change string, reporter string, source_role string, dose_seconds double, dose_times double, dose_per string,
dose_days double, onset_value double, onset_unit string, onset_sudden bool, detail string, reason string, flags string,
start_ms int64, end_ms int64, quote string, recording_sha256 string
"""


def visit(spoken: Callable[[str], Transcript]) -> FiledVisit:
    t = spoken("left hip clunks and vomits since three days")
    hold = item(t, (2, 3), "technique.traction", "released", kind="treatment", site="hip")
    return filed(
        document(
            t,
            item(t, (0, 3), "joint.clunk", "present", site="hip", side="left"),
            hold.model_copy(update={"dose": Dose(seconds=30.0, per="day"), "flags": ("side_missing", "corrected")}),
            item(t, (4, 8), "symptom.vomiting", "present", kind="history").model_copy(
                update={"onset": Onset(value=3.0, unit="d", sudden=True), "reporter": "caregiver"}
            ),
        )
    )


def read(data: bytes) -> pa.Table:
    return pq.read_table(io.BytesIO(data))


def test_the_columns_stay() -> None:
    schema = read(parquet([], VOCAB, "test")).schema
    promised = [tuple(one.split()) for one in PROMISED.replace("\n", " ").split(", ")]

    assert [(field.name, str(field.type)) for field in schema][: len(promised)] == promised


def test_both_forms_hold_the_same(spoken: Callable[[str], Transcript]) -> None:
    given = [visit(spoken), visit(spoken)]
    told = list(csv.DictReader(io.StringIO(b"".join(csv_blocks(given, VOCAB)).decode(), newline="")))
    rows = read(parquet(given, VOCAB, "test")).to_pylist()

    assert len(rows) == len(told) == 6
    for row, cells in zip(rows, told, strict=True):
        assert {
            key: "" if v is None else str(v).lower() if isinstance(v, bool) else str(v) for key, v in row.items()
        } == cells


def test_what_was_not_said_is_empty(spoken: Callable[[str], Transcript]) -> None:
    first, second, third = read(parquet([visit(spoken)], VOCAB, "test")).to_pylist()

    assert (first["side"], second["side"], third["site"]) == ("left", "none", None)
    assert (first["dose_seconds"], second["dose_seconds"], second["dose_per"]) == (None, 30.0, "day")
    assert (third["onset_value"], third["onset_sudden"], first["onset_sudden"]) == (3.0, True, None)
    assert second["flags"] == "side_missing corrected"
    assert first["concept_label"] == VOCAB.concepts["joint.clunk"].label
    assert first["day"] == date(2026, 11, 25)
    assert (first["start_ms"], first["end_ms"], first["quote"]) == (0, 1500, "left hip clunks")


def test_the_file_says_what_made_it() -> None:
    about = read(parquet([], VOCAB, "handspoken 9")).schema.metadata

    assert about[b"handspoken.program"] == b"handspoken 9"
    assert about[b"handspoken.vocabulary"] == VOCAB.hash.encode()
    assert about[b"handspoken.table"] == b"1"


def test_many_visits_pass_in_pieces(spoken: Callable[[str], Transcript], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tables, "_BATCH", 10)
    given = visit(spoken)
    blocks = list(csv_blocks((given for _ in range(10)), VOCAB))

    assert len(blocks) == 4
    assert b"".join(blocks).count(b"\r\n") == 31
    assert read(parquet((given for _ in range(10)), VOCAB, "test")).num_rows == 30
    assert len(COLUMNS) == len(set(column.name for column in COLUMNS))
