"""WebVTT (W3C Candidate Recommendation, 4 April 2019): the lines of a note as a metadata track.

4.1: a metadata text is any text without ``-->`` and without an empty line; the start of a cue is not before that of
the cue before it and its end is after its start; an identifier holds no ``-->`` and stands once. Parsed by webvtt-py.
"""

import json
from collections.abc import Callable

import pytest
import webvtt
from exporting import document
from invented import item

from pipeline.export import VisitDocument, lines_track
from pipeline.model import Transcript

HOSTILE = ["a --> b", "</c><b>&amp;", "\n\nWEBVTT\n\n00:00.000 --> 00:01.000\nx", "\r\rNOTE", "-->", "\u2028 NOTE \x00"]


def cues(given: VisitDocument) -> list[tuple[int, int, dict[str, object]]]:
    track = webvtt.from_string(lines_track(given))
    return [(ms(c.start), ms(c.end), json.loads("\n".join(c.lines))) for c in track.captions]


def ms(stamp: str) -> int:
    """A timestamp in milliseconds (the package's own seconds are whole ones)."""
    hours, minutes, seconds = stamp.split(":")
    return round((int(hours) * 60 + int(minutes)) * 60_000 + float(seconds) * 1000)


@pytest.mark.parametrize("words", HOSTILE)
def test_whatever_was_said_stays_inside_its_cue(spoken: Callable[[str], Transcript], words: str) -> None:
    t = spoken("clunk tight")
    hip = item(t, (0, 1), "joint.clunk", "present", site="hip")
    told = hip.model_copy(update={"evidence": (hip.evidence[0].model_copy(update={"quote": words}),), "detail": words})
    given = document(t, told, item(t, (1, 2), "tissue.tension", "tight", site="neck"))

    text = lines_track(given)
    found = cues(given)

    assert text.startswith("WEBVTT\n")
    assert text.count("-->") == len(found) == 2
    assert found[0][2]["quote"] == words
    assert found[0][2]["items"][0]["detail"] == words  # type: ignore[index]
    assert "\r" not in text
    assert "\x00" not in text


def test_cues_stand_in_order_and_last(spoken: Callable[[str], Transcript]) -> None:
    t = spoken("one two three four")
    items = [item(t, (n, n + 1), "joint.click", "present", site="hip") for n in (3, 1, 2, 0)]
    empty = items[0].evidence[0].model_copy(update={"start_ms": 700, "end_ms": 700})
    items[0] = items[0].model_copy(update={"evidence": (empty,)})
    given = document(t, *items)
    found = cues(given)
    numbers = [caption.identifier for caption in webvtt.from_string(lines_track(given)).captions]

    assert [start for start, _, _ in found] == sorted(start for start, _, _ in found)
    assert all(start < end for start, end, _ in found)
    assert len(set(numbers)) == len(numbers) == 4


def test_a_cue_holds_its_line_and_its_items(spoken: Callable[[str], Transcript]) -> None:
    t = spoken("left hip clunks")
    hip = item(t, (0, 3), "joint.clunk", "present", site="hip", side="left")

    ((start, end, told),) = cues(document(t, hip))

    assert (start, end) == (0, 1500)
    assert (told["line"], told["section"], told["role"]) == (hip.id, "found.all", "said")
    assert told["items"][0]["concept"] == "joint.clunk"  # type: ignore[index]


def test_points_to_check_are_no_lines(spoken: Callable[[str], Transcript]) -> None:
    t = spoken("clunk")
    given = document(t, item(t, (0, 1), "joint.clunk", "present"))

    assert any(section.id == "check" for section in given.note.sections)
    assert "invented seizure prompt" not in lines_track(given)
