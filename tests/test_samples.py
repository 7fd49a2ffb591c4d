"""The samples are whole, belong together, and say that they are invented."""

import hashlib
import json
from pathlib import Path

import av
import pytest

from pipeline.ages import parse_age
from pipeline.resources import data_path
from pipeline.vtt import read_vtt

SAMPLES = data_path("samples")
NAMES = sorted(path.stem for path in SAMPLES.glob("*.txt"))
MAX_BYTES = 4 * 1024 * 1024


def spoken_text(name: str) -> str:
    """The words of a sample's text, speakers, remarks and silences left out."""
    lines = (SAMPLES / f"{name}.txt").read_text(encoding="utf-8").splitlines()
    return " ".join(line.partition(": ")[2] for line in lines if line and line[0] not in "#(")


def test_there_are_three_from_a_minute_to_five() -> None:
    lengths = [read_vtt(SAMPLES / f"{name}.vtt").duration_ms / 60_000 for name in NAMES]

    assert len(lengths) == 3
    assert min(lengths) < 2
    assert 4.5 < max(lengths) < 6


def test_the_sums_cover_every_file_and_agree() -> None:
    sums = [line.split("  ") for line in (SAMPLES / "SHA256SUMS").read_text(encoding="utf-8").splitlines()]

    assert {name for _, name in sums} == {f"{name}.{kind}" for name in NAMES for kind in ("json", "opus", "txt", "vtt")}
    for digest, name in sums:
        assert hashlib.sha256((SAMPLES / name).read_bytes()).hexdigest() == digest, name


@pytest.mark.parametrize("name", NAMES)
def test_the_transcript_holds_the_text_with_a_time_for_every_word(name: str) -> None:
    transcript = read_vtt(SAMPLES / f"{name}.vtt")

    assert " ".join(word.text for word in transcript.words) == spoken_text(name)
    several = [words for i0, i1 in transcript.utterances if len(words := transcript.words[i0:i1]) > 1]
    assert {word.timing for words in several for word in words} == {"word"}
    starts = [word.start_ms for word in transcript.words]
    assert starts == sorted(starts)
    assert all(word.end_ms > word.start_ms for word in transcript.words)


@pytest.mark.parametrize("name", NAMES)
def test_the_sound_lasts_as_long_as_its_transcript(name: str) -> None:
    transcript = read_vtt(SAMPLES / f"{name}.vtt")

    with av.open(str(SAMPLES / f"{name}.opus")) as container:
        stream = container.streams.audio[0]
        heard_s = sum(frame.samples / frame.sample_rate for frame in container.decode(stream))
        comment = {**container.metadata, **stream.metadata}["comment"]

    assert transcript.duration_ms / 1000 <= heard_s <= transcript.duration_ms / 1000 + 1.0
    assert "Invented" in comment
    assert "synthetic" in comment


@pytest.mark.parametrize("name", NAMES)
def test_the_facts_beside_it_can_be_used(name: str) -> None:
    facts = json.loads((SAMPLES / f"{name}.json").read_text(encoding="utf-8"))

    assert parse_age(facts["age"], facts["gestation_weeks"]).as_said == facts["age"]
    assert facts["code_name"].lower() == name
    assert "invented" in facts["made"]
    assert "NOTE Invented" in (SAMPLES / f"{name}.vtt").read_text(encoding="utf-8")


def test_they_stay_small() -> None:
    assert sum(path.stat().st_size for path in Path(SAMPLES).iterdir()) < MAX_BYTES
