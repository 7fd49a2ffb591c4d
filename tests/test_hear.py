"""Sound to words on a spoken clip, offline; silence, noise and damage refused or told."""

import socket
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from pipeline.audio import RATE, open_sound
from pipeline.errors import InputError, ModelError
from pipeline.hear import Hearer, ModelFiles, embedded_model
from pipeline.model import Transcript
from pipeline.vocabulary import Vocabulary, load_vocabulary
from pipeline.vtt import parse_vtt, write_vtt

CLIP = Path(__file__).parent / "sounds" / "hips.ogg"
FOREIGN = Path(__file__).parent / "sounds" / "foreign.ogg"
SAID = "the left hip is tight the right hip moves freely she turns her head to the left"

pytestmark = pytest.mark.model


class Samples:
    """Sound from an array, as a live recorder would give it."""

    sha256 = "0" * 64

    def __init__(self, sound: npt.NDArray[np.int16]) -> None:
        self._sound = sound
        self.duration_ms = len(sound) * 1000 // RATE

    def blocks(self) -> Iterator[npt.NDArray[np.int16]]:
        yield from (self._sound[k : k + 8000] for k in range(0, len(self._sound), 8000))


@pytest.fixture(scope="module")
def model() -> ModelFiles:
    return embedded_model()


@pytest.fixture(scope="module")
def vocab() -> Vocabulary:
    return load_vocabulary()


@pytest.fixture(scope="module")
def hearer(model: ModelFiles, vocab: Vocabulary) -> Hearer:
    return Hearer(model, vocab)


def refuse(*_: object, **__: object) -> None:
    raise AssertionError("the network was asked for")


@pytest.fixture(scope="module")
def heard(hearer: Hearer) -> Transcript:
    with pytest.MonkeyPatch.context() as patch:
        for name in ("socket", "create_connection", "getaddrinfo"):
            patch.setattr(socket, name, refuse)
        return hearer.hear(open_sound(CLIP))


def plain(transcript: Transcript) -> str:
    return " ".join(word.text.lower().strip(".,") for word in transcript.words)


def test_a_clip_is_heard_right_without_any_network(heard: Transcript) -> None:
    assert plain(heard) == SAID
    assert heard.model.sha256.startswith("d01c3014")
    assert abs(heard.duration_ms - 5235) < 50


def test_words_are_in_order_inside_the_sound_and_covered_by_utterances(heard: Transcript) -> None:
    assert [word.i for word in heard.words] == list(range(len(heard.words)))
    times = [(word.start_ms, word.end_ms) for word in heard.words]
    assert times == sorted(times)
    assert all(0 <= start < end <= heard.duration_ms for start, end in times)
    assert [i for i0, i1 in heard.utterances for i in range(i0, i1)] == list(range(len(heard.words)))
    assert all(0 < word.p <= 1 and word.timing == "word" for word in heard.words)
    assert len(heard.utterances) > 1


def test_it_goes_through_webvtt_and_json_and_back(heard: Transcript) -> None:
    again = parse_vtt(write_vtt(heard))
    assert [word.text for word in again.words] == [word.text for word in heard.words]
    assert [word.start_ms for word in again.words] == [word.start_ms for word in heard.words]
    assert Transcript.model_validate_json(heard.model_dump_json()) == heard


def test_the_same_sound_gives_the_same_transcript(hearer: Hearer, heard: Transcript) -> None:
    seen: list[tuple[int, int]] = []
    again = hearer.hear(open_sound(CLIP), on_progress=lambda done, total: seen.append((done, total)))
    assert again == heard
    assert seen[-1] == (heard.duration_ms, heard.duration_ms)
    assert seen == sorted(seen)


def test_a_second_run_takes_what_is_kept_and_loads_no_model(
    model: ModelFiles, vocab: Vocabulary, heard: Transcript, tmp_path: Path
) -> None:
    assert Hearer(model, vocab, keep=tmp_path).hear(open_sound(CLIP)) == heard
    absent = ModelFiles(tmp_path / "gone", model.name, model.sha256)
    assert Hearer(absent, vocab, keep=tmp_path).hear(open_sound(CLIP)) == heard
    for kept in (tmp_path / "chunks").rglob("*.json"):
        kept.write_bytes(kept.read_bytes()[:-20])  # a half-written file is never taken for whole
    with pytest.raises(ModelError, match="cannot be loaded"):
        Hearer(absent, vocab, keep=tmp_path).hear(open_sound(CLIP))


@pytest.mark.parametrize(
    ("level", "said"),
    [(0, "nothing but silence"), (3, "nothing but silence"), (600, "no speech that could be made out")],
)
def test_silence_and_noise_are_said_in_one_line(hearer: Hearer, level: int, said: str) -> None:
    noise = np.random.default_rng(5).normal(0, level, 30 * RATE).astype(np.int16)
    with pytest.raises(InputError, match=said) as caught:
        hearer.hear(Samples(noise))
    assert "\n" not in str(caught.value)


def test_pauses_hold_no_invented_words(hearer: Hearer) -> None:
    clip = np.concatenate(list(open_sound(CLIP).blocks()))
    quiet = np.random.default_rng(6).normal(0, 8, 20 * RATE).astype(np.int16)
    found = hearer.hear(Samples(np.concatenate([quiet, clip, quiet])))
    assert plain(found) == SAID
    assert all(word.start_ms >= 20_000 and word.end_ms <= 25_400 for word in found.words)


def test_what_is_said_in_another_language_is_not_written_as_english(hearer: Hearer) -> None:
    clip, foreign = (np.concatenate(list(open_sound(path).blocks())) for path in (CLIP, FOREIGN))
    quiet = np.zeros(12 * RATE, dtype=np.int16)
    found = hearer.hear(Samples(np.concatenate([clip, quiet, foreign, quiet, clip])))
    assert plain(found) == f"{SAID} {SAID}"
    start = (len(clip) + len(quiet)) * 1000 // RATE
    gaps = [d for d in found.dropped if d.reason == "other language"]
    assert min(d.start_ms for d in gaps) < start + 1000
    assert max(d.end_ms for d in gaps) > start + 4000


def test_a_model_that_is_none_is_one_clear_line(vocab: Vocabulary, tmp_path: Path) -> None:
    (tmp_path / "model.bin").write_bytes(b"nothing")
    with pytest.raises(ModelError, match="cannot be loaded"):
        Hearer(ModelFiles(tmp_path, "x", "0" * 64), vocab).hear(open_sound(CLIP))
