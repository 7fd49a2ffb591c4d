"""Chunks: never longer than the model's window, cut in pauses, every voice in one of them, the same from any blocks."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.audio import RATE, open_sound
from pipeline.hear.chunks import FRAME_MS, Cutter, SoundChunk, cut, halves, part, speech_ranges
from pipeline.hear.guard import holes
from pipeline.hear.words import TimedWord, utterances

CLIP = Path(__file__).parent / "sounds" / "hips.ogg"
Samples = npt.NDArray[np.int16]


@pytest.fixture(scope="module")
def clip() -> Samples:
    return np.concatenate(list(open_sound(CLIP).blocks()))


def pause(seconds: float) -> Samples:
    return np.asarray(np.random.default_rng(3).normal(0, 20, int(seconds * RATE)), dtype=np.int16)


def blocks_of(sound: Samples, size: int) -> list[Samples]:
    return [sound[k : k + size] for k in range(0, len(sound), size)]


@given(st.lists(st.floats(0, 1), max_size=400))
def test_ranges_are_ordered_apart_and_begin_with_voice(voice: list[float]) -> None:
    ranges = speech_ranges(voice)
    assert all(a < b for a, b in ranges)
    assert all(before[1] < after[0] for before, after in pairwise(ranges))
    assert all(voice[a] >= 0.35 for a, _ in ranges)
    covered = {k for a, b in ranges for k in range(a, b)}
    assert all(k in covered for k, value in enumerate(voice) if value >= 0.35)


def test_long_speech_is_cut_into_windows_that_hold_all_of_it(clip: Samples) -> None:
    sound = np.concatenate([clip] * 14)  # 70 s with pauses of about half a second
    chunks = list(cut(blocks_of(sound, 16_000)))
    assert all(chunk.end_ms - chunk.start_ms <= 29_500 for chunk in chunks)
    assert len(chunks) <= 4
    voiced = sum(b - a for chunk in chunks for a, b in chunk.speech)
    alone = sum(b - a for chunk in cut([clip]) for a, b in chunk.speech)
    assert voiced == pytest.approx(14 * alone, rel=0.03)
    for before, after in pairwise(chunks):
        assert before.speech[-1][1] <= after.speech[0][0]
    for chunk in chunks:
        low = chunk.start_ms * RATE // 1000
        assert np.array_equal(chunk.pcm, sound[low : low + len(chunk.pcm)])


@pytest.mark.parametrize("size", [512, 7_001, 160_000])
def test_the_size_of_blocks_does_not_matter(clip: Samples, size: int) -> None:
    sound = np.concatenate([pause(1), clip, pause(45), clip, clip, pause(5)])
    whole = list(cut([sound]))
    assert [c.pcm_sha256 for c in cut(blocks_of(sound, size))] == [c.pcm_sha256 for c in whole]
    assert len(whole) == 2  # a long pause always ends a chunk


def test_speech_without_a_pause_is_cut_all_the_same() -> None:
    assert speech_ranges([1.0] * 2000) == [(0, 2000)]


@pytest.mark.parametrize("sound", [pause(20), np.zeros(20 * RATE, dtype=np.int16), np.zeros(0, dtype=np.int16)])
def test_noise_and_silence_give_no_chunk(sound: Samples) -> None:
    assert list(cut([sound])) == []


def test_noise_lowers_the_level_that_is_told(clip: Samples) -> None:
    noise = np.random.default_rng(1).normal(0, 1, len(clip) + 2 * RATE)
    padded = np.concatenate([np.zeros(RATE), clip, np.zeros(RATE)])
    power = float(np.mean(clip.astype(float) ** 2))
    told = []
    for wanted in (30, 15, 5):
        noisy = padded + noise * np.sqrt(power / 10 ** (wanted / 10))
        (chunk,) = cut([np.clip(noisy, -32768, 32767).astype(np.int16)])
        told.append(chunk.snr_db)
    assert told == sorted(told, reverse=True)
    assert [abs(t - w) < 4 for t, w in zip(told, (30, 15, 5), strict=True)] == [True] * 3


def test_loud_stretches_without_voice_are_told_and_quiet_ones_are_not(clip: Samples) -> None:
    hiss = np.random.default_rng(2).normal(0, 2500, 4 * RATE)
    swell = np.asarray(hiss * np.sin(np.linspace(0, np.pi, len(hiss))), dtype=np.int16)
    sound = np.concatenate([clip, pause(4), swell, pause(70), swell, clip, pause(9), clip])
    found = [stretch for chunk in cut(blocks_of(sound, 9_000)) for stretch in chunk.masked]
    first, second = len(clip) / RATE + 4, len(clip) / RATE + 78
    assert len(found) == 2
    for (start, end), at in zip(found, (first, second), strict=True):
        assert abs((start + end) / 2000 - (at + 2)) < 0.6
        assert 2000 < end - start < 4200


def test_halves_and_parts_keep_their_place(clip: Samples) -> None:
    (chunk,) = cut([np.concatenate([pause(2), clip])])
    left, right = halves(chunk)
    assert (left.start_ms, right.end_ms) == (chunk.start_ms, chunk.end_ms)
    assert left.end_ms == right.start_ms
    assert np.array_equal(np.concatenate([left.pcm, right.pcm]), chunk.pcm)
    middle = part(chunk, left.end_ms - 500, left.end_ms + 500)
    assert (middle.start_ms, middle.end_ms) == (left.end_ms - 500, left.end_ms + 500)
    assert len(middle.pcm) == RATE
    assert isinstance(middle, SoundChunk)


def word(text: str, start: int, end: int) -> TimedWord:
    return TimedWord(text, start, end, 0.9, (0, 1))


def test_voice_without_words_is_found() -> None:
    words = [word("left", 100, 400), word("hip", 500, 900), word("tight", 4000, 4300)]
    assert holes(words, [(0, 5000)], 1500) == [(900, 4000)]
    assert holes([], [(0, 2000), (3000, 3500)], 1500) == [(0, 2000)]
    assert holes(words, [(0, 1000), (3900, 4400)], 1500) == []


def test_utterances_end_at_sentences_and_pauses_and_cover_all_words() -> None:
    words = [("The", 0, 100), ("hip.", 100, 300), ("Left", 350, 500), ("is", 2000, 2100), ("fine", 2150, 2300)]
    assert utterances(words) == [(0, 2), (2, 3), (3, 5)]
    assert utterances([]) == []


def test_frames_are_what_the_detector_expects() -> None:
    assert FRAME_MS == 32


def test_a_chunk_comes_soon_after_the_pause_that_ends_it(clip: Samples) -> None:
    cutter = Cutter()
    seen = [len(list(cutter.take(block))) for block in blocks_of(np.concatenate([clip, pause(30)]), RATE)]

    assert sum(seen) == 1
    assert seen.index(1) <= len(clip) // RATE + 3 + 10
    assert list(cutter.end()) == []
