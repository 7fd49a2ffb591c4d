"""RFC 4180, "Common Format and MIME Type for CSV Files", section 2; and OWASP, "CSV Injection"."""

import csv
import io
import re
from collections.abc import Callable

import pytest
from exporting import document, filed
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import item

from pipeline.export import csv_blocks
from pipeline.export.tables import COLUMNS
from pipeline.model import Item, Span, Transcript
from pipeline.vocabulary import load_vocabulary

VOCAB = load_vocabulary()
# RFC 4180, section 2, as a grammar: file = record *(CRLF record) [CRLF], field = escaped / non-escaped.
FIELD = r'(?:"(?:[^"]|"")*"|[^",\r\n]*)'
FILE = re.compile(rf"(?:{FIELD}(?:,{FIELD})*\r\n)+")


def table(transcript: Transcript, *items: Item) -> str:
    """The visit as CSV."""
    return b"".join(csv_blocks([filed(document(transcript, *items))], VOCAB)).decode()


def quoting(text: str) -> Item:
    """A finding on these words."""
    span = Span(start_ms=0, end_ms=1, words=(0, 1), quote=text)
    return Item(id="x", kind="finding", concept="joint.clunk", detail=text, reason=text, level=text, evidence=(span,))


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def test_the_form(spoken: Callable[[str], Transcript]) -> None:
    t = spoken('he said "ow", then laughed')
    text = table(t, item(t, (0, 5), "symptom.crying", "absent", kind="history"), item(t, (0, 1), "joint.clunk", None))

    assert FILE.fullmatch(text), "2.1, 2.2, 2.5, 2.6, 2.7"
    assert text.split("\r\n")[0] == ",".join(column.name for column in COLUMNS), "2.3: a header line"
    assert {len(row) for row in csv.reader(io.StringIO(text, newline=""))} == {len(COLUMNS)}, "2.4: as many in each"
    assert [row["quote"] for row in rows(text)] == ['he said "ow", then laughed', "he"]


@settings(max_examples=40)
@given(st.text(max_size=60))
def test_whatever_was_said_keeps_the_form(text: str) -> None:
    from conftest import _spoken

    made = table(_spoken("x"), quoting(text))

    assert FILE.fullmatch(made)
    assert len(rows(made)) == 1


LIVE = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", " =1", "\x00=1", "\u202e=1", "＝1", "＋1", "－1", "＠1", "\n=1"]


@pytest.mark.parametrize("text", [*LIVE, '=HYPERLINK("http://x.invalid","a")', "=cmd|' /C calc'!A0"])
def test_no_cell_is_a_formula(spoken: Callable[[str], Transcript], text: str) -> None:
    (row,) = rows(table(spoken("x"), quoting(text)))

    for cell in (row["quote"], row["detail"], row["reason"], row["level"]):
        assert cell.startswith("'"), "OWASP: prepend each cell field with a single quote"


def test_a_number_is_no_text(spoken: Callable[[str], Transcript]) -> None:
    t = spoken("minus two")
    (row,) = rows(table(t, item(t, (0, 2), "motion.rotation", "value", value=-2.5, unit="deg")))

    assert row["value"] == "-2.5"
