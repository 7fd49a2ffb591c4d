"""Live work: the same items as from the whole recording, a board fit for the room, a hearer that may be killed."""

import fcntl
import hashlib
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from extracting import extractor, narration
from invented import infant, record_of

from pipeline.audio import RATE, open_sound
from pipeline.capture import Awaited, Capture, begin, discard, find, kept, live, recover
from pipeline.config import Config, Settings, cache_folder
from pipeline.errors import InputError
from pipeline.hear import utterances
from pipeline.live import BoardView, LiveFold, Watch, read_board
from pipeline.live.board import shown, write_board
from pipeline.model import Age, Transcript, Word
from pipeline.record import Ask
from pipeline.resources import data_path
from pipeline.stages import ShippedStages
from pipeline.store import Store
from pipeline.store.events import Consent
from pipeline.visits import Told, draft
from pipeline.vocabulary import load_vocabulary
from pipeline.vtt import read_vtt

CLIP = Path(__file__).parent / "sounds" / "hips.ogg"
ROOT = Path(__file__).parent.parent
TODAY = date(2026, 11, 25)


@pytest.fixture(scope="module")
def visit() -> Transcript:
    """The words of an invented visit, cut into utterances as hearing cuts them."""
    transcript = read_vtt(data_path("samples/wren.vtt"))
    ranges = utterances([(w.text, w.start_ms, w.end_ms) for w in transcript.words])
    return transcript.model_copy(update={"utterances": tuple(ranges)})


def empty(transcript: Transcript) -> Transcript:
    return transcript.model_copy(update={"words": (), "utterances": ()})


def misheard(words: tuple[Word, ...]) -> list[Word]:
    """A first hearing that gets every fifth word wrong."""
    return [replace(word, text="hip") if k % 5 == 0 else word for k, word in enumerate(words)]


@pytest.mark.parametrize("seed", range(5))
def test_live_and_whole_give_the_same_items(visit: Transcript, seed: int) -> None:
    chance = random.Random(seed)
    fold = LiveFold(extractor(), empty(visit), None)
    at = 0
    while at < len(visit.words):
        end = min(len(visit.words), at + chance.randint(1, 60))
        for a in range(at, end, 9):
            fold.preview(misheard(visit.words[a : min(end, a + 9)]))
        fold.confirm(visit.words[at:end], visit.words[end - 1].end_ms)
        at = end
    transcript, found, _ = fold.heard()

    assert transcript.words == visit.words
    assert found.items == extractor().extract(visit).items


def test_first_hearings_say_what_they_are_until_the_chunk_is_heard() -> None:
    words = narration("The left hip is tight.", "Right knee is tender.").words
    fold = LiveFold(extractor(), empty(narration("x")), None)
    fold.preview(words[:5])
    _, early, ids = fold.heard()
    assert ids == {item.id for item in early.items}
    assert len(ids) == 1

    fold.confirm(words, words[-1].end_ms)
    _, found, ids = fold.heard()
    assert len(found.items) == 2
    assert ids == {found.items[1].id}  # the last utterance may go on in the next chunk


def test_what_was_taken_back_is_gone_from_the_board() -> None:
    words = narration("The left hip is tight.", "Scratch that.").words
    fold = LiveFold(extractor(), empty(narration("x")), None)
    fold.preview(words[:5])
    fold.preview(words[5:])

    assert fold.heard()[1].items == ()


# ---------------------------------------------------------------- the board


@pytest.fixture(scope="module")
def stages(tmp_path_factory: pytest.TempPathFactory) -> ShippedStages:
    config = Config(home=tmp_path_factory.mktemp("home"), settings=Settings())
    return ShippedStages(load_vocabulary(), config)


def board_of(stages: ShippedStages, *said: str, in_words: bool = False, days: int = 60) -> BoardView:
    transcript = narration(*said)
    record = record_of(transcript, infant(), TODAY, Age(days=days, corrected_days=days))
    found = extractor().extract(transcript, age=record.age)
    return shown(record, transcript, found, frozenset(), (), stages, in_words=in_words)


def test_the_board_holds_structure_side_and_result_and_no_running_words(stages: ShippedStages) -> None:
    view = board_of(stages, "Lovely weather today.", "The left hip is tight, poor thing.", "Mum says she cries a lot.")

    assert [line.text for line in view.lines] == ["Hip, left: tight"]
    assert view.places["hip:left"] == "found"
    assert view.places["hip:right"] == "open"


def test_a_missing_side_is_asked_in_words(stages: ShippedStages) -> None:
    view = board_of(stages, "There's a clunk in the hip.")

    assert len(view.asks) == 1
    assert "hip" in view.asks[0].lower()


def test_what_is_looked_at_is_no_longer_open(stages: ShippedStages) -> None:
    before, after = board_of(stages), board_of(stages, "Palate is intact.")

    assert "palate" in before.open
    assert "palate" not in after.open
    assert after.looked_at == 1


def test_a_danger_is_a_sign_without_its_result_unless_the_person_wants_words(stages: ShippedStages) -> None:
    discreet = board_of(stages, "Anterior fontanelle is bulging.")
    assert discreet.dangers >= 1
    assert discreet.danger_words == ()
    assert "bulging" not in discreet.model_dump_json().lower()
    assert [line.veiled for line in discreet.lines] == [True]

    told = board_of(stages, "Anterior fontanelle is bulging.", in_words=True)
    assert told.danger_words
    assert "bulging" in told.lines[0].text


@pytest.mark.parametrize("in_words", [False, True])
@pytest.mark.parametrize("days", [60, 300, 1000])
def test_safeguarding_is_never_on_the_board(stages: ShippedStages, in_words: bool, days: int) -> None:
    view = board_of(stages, "There's a bruise on the left ear.", in_words=in_words, days=days)

    assert view.lines == ()
    assert view.dangers == 0
    assert "bruise" not in view.model_dump_json().lower()


def test_a_board_is_handed_over_whole(tmp_path: Path) -> None:
    assert read_board(tmp_path) == BoardView()
    write_board(tmp_path, BoardView(open=("hips",)), None)
    assert read_board(tmp_path).open == ("hips",)
    (tmp_path / "board.json").write_text("{")
    assert read_board(tmp_path) == BoardView()


# ---------------------------------------------------------------- recordings


@pytest.fixture
def config(tmp_path: Path) -> Config:
    return Config(home=tmp_path / "home", settings=Settings())


@pytest.fixture
def capture(config: Config) -> Iterator[Capture]:
    made = begin(config, Told(infant="Wren", age="6 weeks"), "Ana, mother", today=TODAY)
    yield made
    made.recorder.end()


def speech() -> "np.typing.NDArray[np.int16]":
    return np.concatenate(list(open_sound(CLIP).blocks()))


def test_a_second_recording_is_refused_while_one_runs(config: Config, capture: Capture) -> None:
    assert live(config) is not None
    with pytest.raises(InputError, match="running already"):
        begin(config, Told(), "Ana, mother", today=TODAY)
    capture.recorder.end()
    begin(config, Told(), "Ana, mother", today=TODAY).recorder.end()


@pytest.mark.parametrize("consent", ["", "  ", "x" * 201, "Ana\u202e"])
def test_nobody_is_recorded_without_consent(config: Config, consent: str) -> None:
    with pytest.raises(InputError, match="who agreed"):
        begin(config, Told(), consent, today=TODAY)
    assert list(kept(config)) == []


def test_what_could_not_be_filed_is_said_before_recording(config: Config) -> None:
    with pytest.raises(InputError, match="age"):
        begin(config, Told(age="nine moons"), "Ana, mother", today=TODAY)


def test_what_a_crash_left_is_recovered_and_an_empty_one_removed(config: Config, capture: Capture) -> None:
    capture.recorder.take(speech())
    capture.recorder.end()  # as far as the disk is concerned, this is what a kill leaves

    (left,) = kept(config)
    assert (left.state, left.told.infant) == ("open", "Wren")
    assert recover(left)
    assert find(left.folder).state == "sealed"

    empty_one = begin(config, Told(), "Ana, mother", today=TODAY)
    empty_one.recorder.end()
    assert not recover(find(empty_one.folder))
    assert not empty_one.folder.exists()


def test_destroying_takes_what_was_heard_along(
    config: Config, capture: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HANDSPOKEN_CACHE", str(config.home / "cache"))
    (cache_folder() / "chunks" / "ab").mkdir(parents=True)
    capture.recorder.take(speech())
    capture.recorder.do(Ask(what="withdraw"))

    discard(find(capture.folder))
    assert not capture.folder.exists()
    assert not (cache_folder() / "chunks").exists()


def test_the_watch_tells_what_is_on_disk(config: Config, capture: Capture) -> None:
    now = [0.0]
    watch = Watch(config, lambda: now[0])
    assert watch.now().state == "waiting"
    capture.recorder.take(speech())
    assert watch.now().state == "recording"
    now[0] = 4.0
    assert watch.now().state == "stalled"
    capture.recorder.do(Ask(what="drop"))
    capture.recorder.take(speech())
    assert watch.now().state == "off_record"
    capture.recorder.do(Ask(what="pause"))
    assert watch.now().state == "paused"
    capture.recorder.end()
    assert watch.now().state == "none"


# ---------------------------------------------------------------- the hearer


def test_a_hearer_that_ended_too_early_is_started_again_and_then_given_up(
    config: Config, capture: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    started: list[Config] = []
    monkeypatch.setattr("pipeline.capture.start_hearer", started.append)
    capture.recorder.take(speech())
    capture.recorder.end()
    capture.finish()
    now = [0.0]
    awaited = Awaited(config, capture.folder, lambda: now[0])
    with (config.home / "hearer.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        now[0] = 3600.0
        assert awaited.look() is None
    assert started == []  # one is at work

    for _ in range(3):
        now[0] += 30.0
        assert awaited.look() is None
        assert awaited.look() is None  # it has just been started
    assert len(started) == 3
    now[0] += 30.0
    given_up = awaited.look()
    assert given_up is not None
    assert "kept whole" in given_up.fault
    assert len(started) == 3
    assert find(capture.folder).state == "sealed"


def results(cache: Path) -> set[str]:
    """The results of full hearings that are kept, by name."""
    kept_files = (path for path in (cache / "chunks").rglob("*.json") if not path.name.startswith("."))
    return {path.name for path in kept_files if b'"words"' in path.read_bytes()}


def listen(home: Path, cache: Path) -> "subprocess.Popen[bytes]":
    env = {**os.environ, "HANDSPOKEN_HOME": str(home), "HANDSPOKEN_CACHE": str(cache)}
    return subprocess.Popen([sys.executable, "-m", "pipeline", "listen", "--once"], env=env, cwd=ROOT)


@pytest.mark.model
def test_a_killed_hearer_goes_on_and_one_chunk_is_left(config: Config, capture: Capture, tmp_path: Path) -> None:
    cache, clip = tmp_path / "cache", speech()
    quiet = np.zeros(5 * RATE, dtype=np.int16)
    parts = [part for k in range(2) for part in (np.roll(clip, 7 * k), quiet)]
    secret = np.roll(clip, 99)
    capture.recorder.take(np.concatenate([*parts, *([quiet] * 2)]))
    capture.recorder.do(Ask(what="drop"))
    capture.recorder.take(np.concatenate([secret, quiet, quiet]))
    capture.recorder.do(Ask(what="keep"))
    moments = random.Random(20261125)
    for wanted in (1, 2):  # killed again and again while it hears
        run = listen(config.home, cache)
        while len(results(cache)) < wanted and run.poll() is None:
            time.sleep(0.05)
        time.sleep(moments.uniform(0.0, 0.5))
        run.send_signal(signal.SIGKILL)
        run.wait()
    heard = results(cache)
    assert len(heard) == 2
    capture.recorder.take(clip)
    capture.recorder.end()
    sealed = capture.finish()
    sound = hashlib.sha256(sealed.path.read_bytes()).hexdigest()
    copy = tmp_path / "sealed.flac"
    copy.write_bytes(sealed.path.read_bytes())

    assert listen(config.home, cache).wait() == 0

    drafted = find(capture.folder).drafted()
    assert drafted is not None
    assert drafted.fault == ""
    assert len(results(cache)) == 3  # the last chunk, and nothing of what was off the record
    assert not sealed.path.exists()
    with Store(config.home) as store:
        record = store.record(drafted.visit)
        consents = [e.payload for e in store.events(visit=drafted.visit) if isinstance(e.payload, Consent)]
    assert record.recording.sha256 == sound
    assert [(c.scope, c.state, c.giver) for c in consents] == [("record", "given", "Ana, mother")]
    assert "off the record" in {d.reason for d in record.transcript.dropped}
    fresh = Config(home=tmp_path / "other", settings=Settings())
    whole = draft(copy, Told(age="6 weeks"), fresh, ShippedStages(load_vocabulary(), fresh), today=TODAY)
    assert record.transcript.words == whole.record.transcript.words
