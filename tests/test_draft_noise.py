"""A noisy stretch is told in the note, once, with its level; a quiet one is not."""

from collections.abc import Callable
from dataclasses import replace

from pipeline.draft.points import loose_points
from pipeline.draft.wording import load_wording
from pipeline.model import Chunk, Extraction, Transcript

TEXT = "The left hip is tight. The right hip moves freely. No clunk was felt."


def with_noise(spoken: Callable[[str], Transcript], levels: tuple[float, ...]) -> Transcript:
    """Chunks of 2.5 s; the words of those below 12 dB carry the flag, as hearing sets it."""
    transcript = spoken(TEXT)
    chunks = tuple(Chunk(start_ms=k * 2500, end_ms=(k + 1) * 2500, snr_db=level) for k, level in enumerate(levels))
    words = tuple(replace(w, flags=("noise",)) if levels[w.start_ms // 2500] < 12 else w for w in transcript.words)
    return transcript.model_copy(update={"chunks": chunks, "words": words})


def test_noisy_chunks_that_touch_are_one_point_with_the_worst_level(spoken: Callable[[str], Transcript]) -> None:
    transcript = with_noise(spoken, (30.0, 9.6, 7.2))
    (point,) = loose_points(Extraction(items=(), clauses=()), transcript, load_wording())

    assert "only 7 dB above it" in point.text
    assert (point.spans[0].start_ms, point.spans[0].end_ms) == (2500, 7500)
    assert point.spans[0].words[0] == 5


def test_a_quiet_recording_has_none(spoken: Callable[[str], Transcript]) -> None:
    assert loose_points(Extraction(items=(), clauses=()), with_noise(spoken, (30.0, 25.0, 40.0)), load_wording()) == []
