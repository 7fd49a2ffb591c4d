"""Pieces: each utterance once, soon after it ends, at its own place; loud noise without a voice is told."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from pipeline.audio import RATE, open_sound
from pipeline.hear import Pieces

CLIP = Path(__file__).parent / "sounds" / "hips.ogg"
Samples = npt.NDArray[np.int16]


def pause(seconds: float) -> Samples:
    return np.asarray(np.random.default_rng(3).normal(0, 20, int(seconds * RATE)), dtype=np.int16)


@pytest.fixture(scope="module")
def clip() -> Samples:
    return np.concatenate(list(open_sound(CLIP).blocks()))


@pytest.mark.parametrize("size", [512, 1600, 40_000])
def test_each_utterance_comes_once_and_soon(clip: Samples, size: int) -> None:
    sound = np.concatenate([pause(3), clip, pause(2), clip, pause(2)])
    pieces, late = Pieces(start_ms=10_000), []
    found = []
    for k in range(0, len(sound), size):
        for piece in pieces.take(sound[k : k + size]):
            found.append(piece)
            late.append(10_000 + (k + size) * 1000 // RATE - piece.speech[-1][1])

    assert 2 <= len(found) <= 4
    assert max(late) <= 800 + size * 1000 // RATE
    for before, after in pairwise(found):
        assert before.speech[-1][1] < after.speech[0][0]
    for piece in found:
        low = (piece.start_ms - 10_000) * RATE // 1000
        assert np.array_equal(piece.pcm, sound[low : low + len(piece.pcm)])
    assert list(pieces.end()) == []


def test_what_is_being_said_at_the_end_is_not_lost(clip: Samples) -> None:
    pieces = Pieces()

    taken = list(pieces.take(clip[: RATE * 3 // 2]))

    assert len(taken) + len(list(pieces.end())) == 1


def test_speech_without_a_pause_comes_in_pieces(clip: Samples) -> None:
    running = np.concatenate([clip[RATE // 2 : -RATE // 2]] * 12)

    found = list(Pieces().take(running))

    assert found
    assert max(piece.end_ms - piece.start_ms for piece in found) < 17_000


def test_a_loud_noise_without_a_voice_is_told_while_it_lasts() -> None:
    hiss = np.asarray(np.random.default_rng(2).normal(0, 3000, 6 * RATE), dtype=np.int16)
    pieces = Pieces()

    assert list(pieces.take(hiss)) == []
    assert 4_000 < pieces.loud_ms <= 6_000
    list(pieces.take(pause(2)))
    assert pieces.loud_ms == 0
