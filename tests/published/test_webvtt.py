"""WebVTT that we write is read by webvtt-py, an implementation of the W3C format that is not ours."""

from collections.abc import Callable

import pytest
import webvtt

from pipeline.model import Transcript
from pipeline.vtt import stamp, write_vtt

TEXTS = [
    "The left hip is tight. The right hip moves freely.",
    "weight 3.4 kilograms -- more than <last> time & rising.",
    "a --> b is not a cue header. Nor is this.",
    "één naïve façade 你好.",
]


@pytest.mark.parametrize("text", TEXTS)
def test_every_cue_is_read_as_it_was_written(spoken: Callable[[str], Transcript], text: str) -> None:
    transcript = spoken(text)
    captions = webvtt.from_string(write_vtt(transcript)).captions
    assert len(captions) == len(transcript.utterances)
    for caption, (i0, i1) in zip(captions, transcript.utterances, strict=True):
        words = transcript.words[i0:i1]
        assert (caption.start, caption.end) == (stamp(words[0].start_ms), stamp(words[-1].end_ms))
        plain = caption.text.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&")
        assert plain == " ".join(word.text for word in words)
