"""All items over all visits as one table: CSV (RFC 4180) and Parquet, one row an item, columns that stay.

Columns are never renamed or moved; new ones come at the end. Times in milliseconds of the recording, ages in completed
days, numbers in UCUM units. A field that was not said is empty.
"""

import csv
import io
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from pipeline.model import Item
from pipeline.records import FiledVisit
from pipeline.safe import clean
from pipeline.vocabulary import Vocabulary

TABLE_VERSION = "1"
_BATCH = 5000  # items held in memory at once
# What a spreadsheet takes for the beginning of a formula (OWASP, CSV Injection), the full-width forms too.
_LIVE = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")


@dataclass(frozen=True)
class Column:
    """One column: its name, its Arrow type, and what it holds of an item."""

    name: str
    kind: str
    of: Callable[[FiledVisit, Item, int, Vocabulary], Any]


def _concept_label(_visit: FiledVisit, item: Item, _n: int, vocab: Vocabulary) -> str:
    known = vocab.concepts.get(item.concept)
    return known.label if known else item.concept


def _site_label(_visit: FiledVisit, item: Item, _n: int, vocab: Vocabulary) -> str | None:
    known = vocab.sites.get(item.site or "")
    return known.label if known else item.site


COLUMNS = (
    Column("infant", "string", lambda v, _i, _n, _w: v.infant.code_name),
    Column("infant_id", "string", lambda v, _i, _n, _w: v.infant.id),
    Column("sex", "string", lambda v, _i, _n, _w: v.infant.sex),
    Column("gestation_weeks", "int32", lambda v, _i, _n, _w: v.infant.gestation_weeks),
    Column("visit", "string", lambda v, _i, _n, _w: v.visit),
    Column("day", "date32", lambda v, _i, _n, _w: v.day),
    Column("age_days", "int32", lambda v, _i, _n, _w: v.age.days if v.age else None),
    Column("corrected_age_days", "int32", lambda v, _i, _n, _w: v.age.corrected_days if v.age else None),
    Column("signed", "bool", lambda v, _i, _n, _w: v.signed),
    Column("position", "int32", lambda _v, _i, n, _w: n),
    Column("item", "string", lambda _v, i, _n, _w: i.id),
    Column("kind", "string", lambda _v, i, _n, _w: i.kind),
    Column("concept", "string", lambda _v, i, _n, _w: i.concept),
    Column("concept_label", "string", _concept_label),
    Column("site", "string", lambda _v, i, _n, _w: i.site),
    Column("site_label", "string", _site_label),
    Column("side", "string", lambda _v, i, _n, _w: i.side),
    Column("level", "string", lambda _v, i, _n, _w: i.level),
    Column("result", "string", lambda _v, i, _n, _w: i.result),
    Column("value", "float64", lambda _v, i, _n, _w: i.value),
    Column("unit", "string", lambda _v, i, _n, _w: i.unit),
    Column("degree", "string", lambda _v, i, _n, _w: i.degree),
    Column("change", "string", lambda _v, i, _n, _w: i.change),
    Column("reporter", "string", lambda _v, i, _n, _w: i.reporter),
    Column("source_role", "string", lambda _v, i, _n, _w: i.source_role),
    Column("dose_seconds", "float64", lambda _v, i, _n, _w: i.dose.seconds if i.dose else None),
    Column("dose_times", "float64", lambda _v, i, _n, _w: i.dose.times if i.dose else None),
    Column("dose_per", "string", lambda _v, i, _n, _w: i.dose.per if i.dose else None),
    Column("dose_days", "float64", lambda _v, i, _n, _w: i.dose.days if i.dose else None),
    Column("onset_value", "float64", lambda _v, i, _n, _w: i.onset.value if i.onset else None),
    Column("onset_unit", "string", lambda _v, i, _n, _w: i.onset.unit if i.onset else None),
    Column("onset_sudden", "bool", lambda _v, i, _n, _w: i.onset.sudden if i.onset else None),
    Column("detail", "string", lambda _v, i, _n, _w: i.detail),
    Column("reason", "string", lambda _v, i, _n, _w: i.reason),
    Column("flags", "string", lambda _v, i, _n, _w: " ".join(i.flags) or None),
    Column("start_ms", "int64", lambda _v, i, _n, _w: i.start_ms if i.evidence else None),
    Column("end_ms", "int64", lambda _v, i, _n, _w: i.end_ms if i.evidence else None),
    Column("quote", "string", lambda _v, i, _n, _w: i.quote if i.evidence else None),
    Column("recording_sha256", "string", lambda v, _i, _n, _w: v.recording),
)


def csv_blocks(visits: Iterable[FiledVisit], vocab: Vocabulary) -> Iterator[bytes]:
    """The table as CSV in UTF-8: a header, lines ended by CRLF, no cell that a spreadsheet would run."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(column.name for column in COLUMNS)
    for rows in _batches(visits, vocab):
        writer.writerows([_cell(value) for value in row] for row in rows)
        yield text.getvalue().encode()
        text.seek(0)
        text.truncate()
    yield text.getvalue().encode()


def parquet(visits: Iterable[FiledVisit], vocab: Vocabulary, program: str) -> bytes:
    """The table as one Parquet file; the file's metadata name the program and the vocabulary."""
    import pyarrow as pa  # 0.3 s: only where a Parquet file is written
    import pyarrow.parquet as pq

    types = {
        "string": pa.string(),
        "int32": pa.int32(),
        "int64": pa.int64(),
        "float64": pa.float64(),
        "bool": pa.bool_(),
        "date32": pa.date32(),
    }
    about = {"handspoken.table": TABLE_VERSION, "handspoken.program": program, "handspoken.vocabulary": vocab.hash}
    schema = pa.schema([pa.field(column.name, types[column.kind]) for column in COLUMNS], metadata=about)
    out = io.BytesIO()
    with pq.ParquetWriter(out, schema) as writer:
        for rows in _batches(visits, vocab):
            columns = [
                pa.array(values, type=field.type) for values, field in zip(zip(*rows, strict=True), schema, strict=True)
            ]
            writer.write_table(pa.table(columns, schema=schema))
    return out.getvalue()


def _batches(visits: Iterable[FiledVisit], vocab: Vocabulary) -> Iterator[list[tuple[Any, ...]]]:
    rows: list[tuple[Any, ...]] = []
    for visit in visits:
        for n, item in enumerate(visit.items):
            rows.append(tuple(column.of(visit, item, n, vocab) for column in COLUMNS))
        if len(rows) >= _BATCH:
            yield rows
            rows = []
    if rows:
        yield rows


def _cell(value: Any) -> Any:
    """A cell as it goes into CSV: text that would be run as a formula gets an apostrophe before it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if not isinstance(value, str):
        return value
    plain = clean(value)
    return f"'{plain}" if value.lstrip(" ").startswith(_LIVE) or plain.lstrip().startswith(_LIVE) else plain
