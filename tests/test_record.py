"""The recorder: every sample on disk, what is asked for noted, sealing whole or not at all; the sound is invented."""

import queue
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from pipeline.audio import open_sound
from pipeline.errors import InputError, StoreError
from pipeline.record import (
    FLAC,
    LOG,
    PCM,
    RATE,
    Ask,
    Played,
    Recorder,
    Resampler,
    SourceGoneError,
    Writer,
    ask,
    destroy,
    is_live,
    length_ms,
    read_log,
    read_sound,
    record,
    seal,
    summed_up,
)

Samples = npt.NDArray[np.int16]


def wall() -> datetime:
    return datetime(2026, 11, 25, 10, tzinfo=UTC)


def sound(seconds: float, seed: int = 1, level: float = 2000.0) -> Samples:
    return np.asarray(np.random.default_rng(seed).normal(0, level, int(seconds * RATE)), dtype=np.int16)


@pytest.fixture
def recorder(tmp_path: Path) -> Iterator[Recorder]:
    made = Recorder(Writer(tmp_path / "rec", wall))
    yield made
    made.end()


def on_disk(folder: Path) -> Samples:
    return np.fromfile(folder / PCM, dtype="<i2")


def decoded(path: Path) -> Samples:
    return np.concatenate(list(open_sound(path).blocks()))


def test_every_sample_is_on_disk_and_sealed_as_it_came(tmp_path: Path) -> None:
    folder, samples = tmp_path / "rec", sound(12.3)
    recorder = Recorder(Writer(folder, wall))

    record(recorder, Played(samples, speed=0), queue.SimpleQueue())

    assert np.array_equal(on_disk(folder), samples)
    sealed = seal(folder)
    assert np.array_equal(decoded(sealed.path), samples)
    assert not (folder / PCM).exists()
    assert [entry.kind for entry in sealed.log] == ["start", "gap"]


def test_recording_is_said_only_after_the_first_sound(recorder: Recorder) -> None:
    assert recorder.shown().state == "waiting"
    recorder.take(np.zeros(0, dtype=np.int16))
    assert recorder.shown().state == "waiting"
    recorder.take(sound(0.1))
    assert recorder.shown().state == "recording"


def test_nothing_is_kept_while_paused(recorder: Recorder, tmp_path: Path) -> None:
    first, unheard, last = sound(1, 1), sound(1, 2), sound(1, 3)
    recorder.take(first)
    recorder.do(Ask(what="pause"))
    recorder.take(unheard)
    recorder.do(Ask(what="resume"))
    recorder.take(last)
    recorder.end()

    assert np.array_equal(on_disk(tmp_path / "rec"), np.concatenate([first, last]))
    assert [entry.kind for entry in read_log(tmp_path / "rec")] == ["start", "pause", "start"]


def test_off_the_record_is_silence_once_sealed_and_not_before(recorder: Recorder, tmp_path: Path) -> None:
    folder, parts = tmp_path / "rec", [sound(1, k) for k in range(3)]
    recorder.take(parts[0])
    recorder.do(Ask(what="drop"))
    assert recorder.shown().off_record
    recorder.take(parts[1])
    recorder.do(Ask(what="keep"))
    recorder.take(parts[2])
    recorder.end()

    assert np.array_equal(on_disk(folder)[RATE : 2 * RATE], parts[1])
    assert summed_up(read_log(folder)).drops == ((1000, 2000),)
    assert not read_sound(folder, RATE, 2 * RATE, [(1000, 2000)]).any()
    expected = np.concatenate([parts[0], np.zeros(RATE, dtype=np.int16), parts[2]])
    assert np.array_equal(decoded(seal(folder).path), expected)


def test_off_the_record_can_be_taken_back_until_sealing(recorder: Recorder, tmp_path: Path) -> None:
    samples = sound(2)
    recorder.take(samples[:RATE])
    recorder.do(Ask(what="drop"))
    recorder.take(samples[RATE:])
    recorder.do(Ask(what="keep"))
    recorder.do(Ask(what="take_back"))
    recorder.end()

    assert np.array_equal(decoded(seal(tmp_path / "rec").path), samples)


def test_what_is_off_the_record_at_the_end_stays_so(recorder: Recorder, tmp_path: Path) -> None:
    recorder.take(sound(1))
    recorder.do(Ask(what="drop"))
    recorder.take(sound(1))
    recorder.end()

    sealed = seal(tmp_path / "rec")
    assert not decoded(sealed.path)[RATE:].any()
    assert summed_up(sealed.log).drops == ((1000, 2000),)


def test_another_process_may_ask(recorder: Recorder, tmp_path: Path) -> None:
    recorder.take(sound(3))
    ask(tmp_path / "rec", Ask(what="mark"))
    ask(tmp_path / "rec", Ask(what="drop", at_ms=500))
    with (tmp_path / "rec" / "rec.asked").open("ab") as file:
        file.write(b"no json\n")
    recorder.tick()
    recorder.tick()

    log = summed_up(read_log(tmp_path / "rec"))
    assert log.marks == (3000,)
    assert log.drops == ((500, None),)


def test_a_recording_has_one_recorder(recorder: Recorder, tmp_path: Path) -> None:
    assert is_live(tmp_path / "rec")
    with pytest.raises(InputError, match="recorded already"):
        Writer(tmp_path / "rec", wall)
    with pytest.raises(InputError, match="still being recorded"):
        seal(tmp_path / "rec")
    recorder.end()
    assert not is_live(tmp_path / "rec")


@pytest.mark.parametrize(
    ("samples", "fault"),
    [
        (np.zeros(4 * RATE, dtype=np.int16), "dead"),
        (sound(25, level=8), "quiet"),
        (sound(1, level=40_000), "clipping"),
        (sound(4), None),
    ],
)
def test_what_is_wrong_with_the_sound_is_told(recorder: Recorder, samples: Samples, fault: str | None) -> None:
    for k in range(0, len(samples), 1600):
        recorder.take(np.clip(samples[k : k + 1600].astype(np.int32), -32768, 32767).astype(np.int16))

    assert recorder.shown().faults == ((fault,) if fault else ())


def test_no_sound_at_all_is_told(tmp_path: Path) -> None:
    now = [0.0]
    recorder = Recorder(Writer(tmp_path / "rec", wall), clock=lambda: now[0])
    recorder.take(sound(0.1))
    now[0] = 4.0

    assert recorder.shown().faults == ("no_sound",)
    recorder.end()


def test_long_silence_ends_the_recording(tmp_path: Path) -> None:
    recorder = Recorder(Writer(tmp_path / "rec", wall), silent_minutes=0.1)
    for level in (2000, *[20] * 7):
        recorder.take(sound(1, level=level))
        recorder.tick()

    assert recorder.state == "ended"
    assert "nothing was heard for 0.1 minutes" in recorder.ended


class Leaving:
    """A source that gives a second and then is gone."""

    name = "leaving"

    def __init__(self, samples: Samples) -> None:
        self._left = [samples]

    def read(self, timeout_s: float) -> Samples:
        assert timeout_s > 0
        if not self._left:
            raise SourceGoneError("the microphone is gone")
        return self._left.pop()

    def close(self) -> None:
        pass


def test_a_lost_device_is_replaced_and_noted(tmp_path: Path) -> None:
    first, second = sound(1, 1), sound(1, 2)
    others = [Leaving(second)]
    recorder = Recorder(Writer(tmp_path / "rec", wall))

    def again() -> Leaving:
        if not others:
            raise InputError("none")
        return others.pop()

    record(recorder, Leaving(first), queue.SimpleQueue(), again=again, patience_s=0.01)

    assert np.array_equal(on_disk(tmp_path / "rec"), np.concatenate([first, second]))
    assert [gap.at_ms for gap in summed_up(read_log(tmp_path / "rec")).gaps] == [1000, 2000]
    assert "no other was found" in recorder.ended


def test_a_torn_log_and_an_odd_byte_are_mended(recorder: Recorder, tmp_path: Path) -> None:
    folder = tmp_path / "rec"
    recorder.take(sound(1))
    recorder.end()
    with (folder / PCM).open("ab") as file:
        file.write(b"\x01")
    with (folder / LOG).open("ab") as file:
        file.write(b'{"kind": "ma')

    again = Recorder(Writer(folder, wall))
    again.take(sound(1))
    again.end()

    assert length_ms(folder) == 2000
    assert [entry.kind for entry in read_log(folder)] == ["start", "start"]


def test_sealing_twice_or_after_a_kill_in_between_is_the_same(recorder: Recorder, tmp_path: Path) -> None:
    folder, samples = tmp_path / "rec", sound(2)
    recorder.take(samples)
    recorder.end()
    (folder / "rec.part").write_bytes(b"half of a file")
    first = seal(folder)
    (folder / PCM).write_bytes(samples.tobytes())  # killed before the open recording was removed

    assert seal(folder) == first
    assert np.array_equal(decoded(first.path), samples)
    assert not (folder / PCM).exists()


def test_an_empty_recording_is_not_sealed(recorder: Recorder, tmp_path: Path) -> None:
    recorder.end()
    with pytest.raises(InputError, match="no sound"):
        seal(tmp_path / "rec")


def test_destroyed_is_gone(recorder: Recorder, tmp_path: Path) -> None:
    recorder.take(sound(1))
    recorder.do(Ask(what="withdraw"))

    assert recorder.withdrawn
    assert recorder.state == "ended"
    destroy(tmp_path / "rec")
    assert not (tmp_path / "rec").exists()


def test_a_full_disk_stops_cleanly_and_keeps_all(small_disk: Path) -> None:
    samples = sound(60)
    full = Recorder(Writer(small_disk / "rec", wall))
    record(full, Played(samples, speed=0), queue.SimpleQueue())

    assert "No space left" in full.ended
    assert "handspoken recover" in full.ended
    kept = on_disk(small_disk / "rec")
    assert len(kept) > 20 * RATE
    assert np.array_equal(kept, samples[: len(kept)])
    with pytest.raises(StoreError, match="handspoken recover"):
        seal(small_disk / "rec")
    assert np.array_equal(on_disk(small_disk / "rec"), kept)
    assert not (small_disk / "rec" / FLAC).exists()


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of one megabyte in memory; only root may make one."""
    place = tmp_path / "disk"
    place.mkdir()
    made = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", place], capture_output=True, check=False)
    if made.returncode:
        pytest.skip("a small disk can be mounted by root only")
    yield place
    subprocess.run(["umount", place], check=True)


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_other_rates_become_ours(rate: int) -> None:
    tone = np.asarray(8000 * np.sin(2 * np.pi * 440 * np.arange(2 * rate) / rate), dtype=np.int16)
    resample = Resampler(rate)
    parts = [resample(tone[k : k + 4096]) for k in range(0, len(tone), 4096)]
    made = np.concatenate([*parts, resample.end()])

    assert abs(len(made) - 2 * RATE) <= 32
    wanted = 8000 * np.sin(2 * np.pi * 440 * np.arange(len(made)) / RATE)
    middle = slice(RATE // 2, 3 * RATE // 2)
    lag = max(range(-20, 21), key=lambda k: float(np.dot(np.roll(wanted, k)[middle], made[middle].astype(float))))
    left = made[middle] - np.roll(wanted, lag)[middle]
    assert float(np.mean(left**2)) < float(np.mean(wanted**2)) / 1000


KILLED = """
import queue, sys
from datetime import UTC, datetime
from pathlib import Path
import numpy as np
from pipeline.record import Played, Recorder, Writer, record
samples = np.fromfile(sys.argv[2], dtype="<i2")
class Loud(Played):
    def read(self, timeout_s):
        part = super().read(timeout_s)
        print(self._at, flush=True)
        return part
record(Recorder(Writer(Path(sys.argv[1]), lambda: datetime.now(UTC))), Loud(samples), queue.SimpleQueue())
"""


def test_killed_at_any_moment_all_but_the_last_second_is_there(tmp_path: Path) -> None:
    samples = sound(60)
    samples.tofile(tmp_path / "sound")
    moments = random.Random(20261125)
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", KILLED, str(tmp_path / f"rec{k}"), str(tmp_path / "sound")],
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parent.parent,
        )
        for k in range(5)
    ]
    for k, run in enumerate(runs):
        assert run.stdout is not None
        taken = 0
        until = time.monotonic() + moments.uniform(0.7, 2.5)
        while taken < RATE or time.monotonic() < until:
            taken = int(run.stdout.readline())
        run.send_signal(signal.SIGKILL)
        taken = max([taken, *map(int, run.stdout.read().split())])
        run.wait()
        run.stdout.close()
        kept = decoded(seal(tmp_path / f"rec{k}").path)

        assert np.array_equal(kept, samples[: len(kept)])
        assert taken - len(kept) <= RATE
