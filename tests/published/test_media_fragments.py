"""Our time links against the W3C Recommendation "Media Fragments URI 1.0 (basic)", 25 September 2012.

The reader below follows the grammar of the Recommendation (4.2.1 temporal dimension, 5.1 name-value pairs, 6.2 errors)
and is first held against the Recommendation's own examples; then what we write is read with it.
"""

import re
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.times import fragment, media_link

_NPT = re.compile(r"(?:(?P<h>\d+):)?(?P<m>[0-5]\d):(?P<s>[0-5]\d(?:\.\d*)?)|(?P<sec>\d+(?:\.\d*)?)")
FOREVER = float("inf")


def _examples() -> list[tuple[str, tuple[float, float] | None, str]]:
    rows = (Path(__file__).parent / "media_fragments.tsv").read_text(encoding="utf-8").splitlines()
    split = [row.split("\t") for row in rows if not row.startswith("#")]
    return [(text, None if start == "-" else (float(start), float(end)), source) for text, start, end, source in split]


EXAMPLES = _examples()


def read(text: str) -> tuple[float, float] | None:
    """The interval in seconds that a fragment names, or None where it names none."""
    value = None
    for pair in text.split("&"):
        name, equals, raw = pair.partition("=")
        if equals and unquote(name) == "t":
            value = unquote(raw)
    if value is None:
        return None
    start, comma, end = value.removeprefix("npt:").partition(",")
    if (not start and not end) or (comma and not end):
        return None
    times = [_seconds(part) if part else default for part, default in ((start, 0.0), (end, FOREVER))]
    return (times[0], times[1]) if None not in times and times[0] < times[1] else None


def _seconds(text: str) -> float:
    match = _NPT.fullmatch(text)
    if match is None:
        return float("nan")
    if match["sec"]:
        return float(match["sec"])
    return int(match["h"] or 0) * 3600 + int(match["m"]) * 60 + float(match["s"])


@pytest.mark.parametrize(("text", "interval", "source"), EXAMPLES, ids=[row[2] for row in EXAMPLES])
def test_the_reader_reads_the_recommendations_examples(
    text: str, interval: tuple[float, float] | None, source: str
) -> None:
    assert read(text) == interval, source


@pytest.mark.parametrize(
    ("start_ms", "end_ms", "written"),
    [
        (10_000, 20_000, "t=10,20"),
        (0, 20_000, "t=0,20"),
        (12_500, 18_200, "t=12.5,18.2"),
        (120_000, 121_500, "t=120,121.5"),
    ],
)
def test_spans_are_written_as_the_recommendation_writes_them(start_ms: int, end_ms: int, written: str) -> None:
    assert fragment(start_ms, end_ms) == written


@given(st.integers(0, 40_000_000), st.integers(0, 600_000))
def test_what_is_written_is_read_as_the_same_span(start_ms: int, length_ms: int) -> None:
    interval = read(fragment(start_ms, start_ms + length_ms))

    assert interval is not None  # an empty span is widened, since 6.2.2 knows none
    assert [round(second * 1000) for second in interval] == [start_ms, max(start_ms + length_ms, start_ms + 1)]


@given(st.text(min_size=1, max_size=30))
def test_a_file_name_never_ends_or_alters_the_fragment(name: str) -> None:
    name = name.encode("utf-8", "ignore").decode()
    parts = urlsplit("https://example.org/" + media_link(name, 1000, 2000))

    assert parts.fragment == "t=1,2"
    assert unquote(parts.path.removeprefix("/")) == name
