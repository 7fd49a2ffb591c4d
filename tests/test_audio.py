"""Any audio file in; torn ones kept and named; what is no audio refused in one sentence."""

import io
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt
import pytest
from av.audio.stream import AudioStream
from av.container import OutputContainer
from av.video.stream import VideoStream

from pipeline.audio import RATE, compact_copy, open_sound
from pipeline.errors import InputError

SECONDS = 6
FORMATS = {  # name: (container, codec, rate, layout, sample format)
    "a.wav": ("wav", "pcm_s16le", 44_100, "stereo"),
    "a.flac": ("flac", "flac", 48_000, "mono"),
    "a.mp3": ("mp3", "libmp3lame", 22_050, "stereo"),
    "a.m4a": ("mp4", "aac", 44_100, "stereo"),
    "a.aac": ("adts", "aac", 16_000, "mono"),
    "a.ogg": ("ogg", "libopus", 48_000, "mono"),
    "a.webm": ("webm", "libopus", 48_000, "stereo"),
    "a8.wav": ("wav", "pcm_s16le", 8_000, "mono"),
}


def tone(rate: int, seconds: float = SECONDS) -> npt.NDArray[np.int16]:
    """A sweep, so that every second sounds unlike every other."""
    t = np.arange(int(rate * seconds)) / rate
    return np.asarray(12_000 * np.sin(2 * np.pi * (200 + 60 * t) * t), dtype=np.int16)


def _black() -> av.VideoFrame:
    return av.VideoFrame.from_ndarray(np.zeros((32, 32, 3), dtype=np.uint8), format="rgb24")


def _picture(out: OutputContainer) -> VideoStream:
    stream = out.add_stream("mpeg4", rate=5)
    assert isinstance(stream, VideoStream)
    stream.width, stream.height, stream.pix_fmt = 32, 32, "yuv420p"
    return stream


def write_sound(path: Path, container: str, codec: str, rate: int, layout: str, *, video: bool = False) -> Path:
    samples = tone(rate)
    channels = 2 if layout == "stereo" else 1
    with av.open(str(path), "w", format=container) as out:
        picture = _picture(out) if video else None
        stream = out.add_stream(codec, rate=rate, layout=layout)
        assert isinstance(stream, AudioStream)
        if picture is not None:
            for _ in range(5 * SECONDS):
                out.mux(picture.encode(_black()))
            out.mux(picture.encode(None))
        resampler = av.AudioResampler(format=stream.format, layout=layout, rate=rate)
        frame = av.AudioFrame.from_ndarray(np.repeat(samples, channels).reshape(1, -1), format="s16", layout=layout)
        frame.sample_rate, frame.pts = rate, 0
        for piece in resampler.resample(frame):
            out.mux(stream.encode(piece))
        out.mux(stream.encode(None))
    return path


def decoded(path: Path) -> npt.NDArray[np.int16]:
    return np.concatenate(list(open_sound(path).blocks()))


@pytest.mark.parametrize("name", FORMATS)
def test_every_format_gives_the_same_sound(tmp_path: Path, name: str) -> None:
    sound = open_sound(write_sound(tmp_path / name, *FORMATS[name]))
    got = np.concatenate(list(sound.blocks())).astype(float)
    assert abs(sound.duration_ms - SECONDS * 1000) < 150
    assert sound.torn == ""
    assert len(sound.sha256) == 64
    wanted = tone(RATE).astype(float)
    spectrum = np.fft.rfft(got, 1 << 18) * np.conj(np.fft.rfft(wanted, 1 << 18))
    likeness = np.max(np.fft.irfft(spectrum)) / (np.linalg.norm(got) * np.linalg.norm(wanted))
    assert likeness > 0.95


def test_the_sound_of_a_video_is_read(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "v.mp4", "mp4", "aac", 44_100, "mono", video=True)
    assert abs(len(decoded(path)) / RATE - SECONDS) < 0.2


def test_blocks_may_be_read_twice_and_stay_small(tmp_path: Path) -> None:
    path = tmp_path / "long.wav"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("pcm_s16le", rate=RATE, layout="mono")
        frame = av.AudioFrame.from_ndarray(tone(RATE, 35).reshape(1, -1), format="s16", layout="mono")
        frame.sample_rate = RATE
        out.mux(stream.encode(frame))
    sound = open_sound(path)
    first = [len(block) for block in sound.blocks()]
    assert first == [len(block) for block in sound.blocks()]
    assert sum(first) == 35 * RATE
    assert max(first) < 12 * RATE


# ---------------------------------------------------------------- torn recordings


@pytest.mark.parametrize("name", ["a.wav", "a.flac", "a.mp3", "a.ogg", "a.webm"])
def test_what_is_there_of_a_cut_file_is_kept_and_the_tear_is_said(tmp_path: Path, name: str) -> None:
    path = write_sound(tmp_path / name, *FORMATS[name])
    os.truncate(path, int(path.stat().st_size * 0.6))
    sound = open_sound(path)
    kept = sum(map(len, sound.blocks())) / RATE
    assert 0.3 * SECONDS < kept < 0.8 * SECONDS
    assert "cut off" in sound.torn
    assert sound.duration_ms == round(kept * 1000)


def test_a_wav_that_its_recorder_never_closed_is_read_whole(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "a.wav", *FORMATS["a8.wav"])
    data = bytearray(path.read_bytes())
    at = data.index(b"data") + 4
    data[4:8] = data[at : at + 4] = b"\0\0\0\0"
    path.write_bytes(data)
    sound = open_sound(path)
    assert abs(sum(map(len, sound.blocks())) / RATE - SECONDS) < 0.05
    assert "never closed" in sound.torn


def test_an_m4a_without_its_index_is_refused_with_the_reason(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "a.m4a", *FORMATS["a.m4a"])
    os.truncate(path, int(path.stat().st_size * 0.6))
    with pytest.raises(InputError, match="before its index was written"):
        open_sound(path)


def test_a_damaged_middle_does_not_lose_the_rest(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "a.flac", *FORMATS["a.flac"])
    data = bytearray(path.read_bytes())
    third = len(data) // 3
    data[third : third + 4000] = b"\xff" * 4000
    path.write_bytes(data)
    assert len(decoded(path)) / RATE > SECONDS / 2


def test_a_second_stream_chained_behind_the_first_is_not_lost_in_silence(tmp_path: Path) -> None:
    first = write_sound(tmp_path / "1.ogg", *FORMATS["a.ogg"])
    second = write_sound(tmp_path / "2.ogg", "ogg", "libopus", 48_000, "stereo")
    both = tmp_path / "both.ogg"
    both.write_bytes(first.read_bytes() + second.read_bytes())
    sound = open_sound(both)
    assert abs(sum(map(len, sound.blocks())) / RATE - SECONDS) < 0.2
    assert "could not be decoded" in sound.torn


# ---------------------------------------------------------------- what is no audio


def zero_bytes(folder: Path) -> Path:
    path = folder / "empty.wav"
    path.touch()
    return path


def text_named_wav(folder: Path) -> Path:
    path = folder / "letter.wav"
    path.write_text("Dear parents, this is a letter and not a recording.\n" * 50)
    return path


def a_folder(folder: Path) -> Path:
    return folder


def missing(folder: Path) -> Path:
    return folder / "nowhere.wav"


def silent_video(folder: Path) -> Path:
    path = folder / "v.mp4"
    with av.open(str(path), "w") as out:
        stream = _picture(out)
        out.mux(stream.encode(_black()))
        out.mux(stream.encode(None))
    return path


def play_list(folder: Path) -> Path:
    """A list that names an address must not make the program fetch it."""
    path = folder / "list.wav"
    path.write_text("#EXTM3U\n#EXT-X-TARGETDURATION:5\n#EXTINF:5,\nhttp://192.0.2.1/a.ts\n#EXT-X-ENDLIST\n")
    return path


def header_only(folder: Path) -> Path:
    path = write_sound(folder / "h.wav", *FORMATS["a.wav"])
    os.truncate(path, 44)
    return path


@pytest.mark.parametrize("make", [zero_bytes, text_named_wav, a_folder, missing, silent_video, play_list])
def test_bad_input_is_one_clear_line(tmp_path: Path, make: object) -> None:
    path = make(tmp_path)  # type: ignore[operator]
    with pytest.raises(InputError) as caught:
        open_sound(path)
    message = str(caught.value)
    assert message.startswith(str(path))
    assert "\n" not in message
    assert "Errno" not in message


def test_a_header_without_sound_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no sound could be decoded|not an audio file"):
        list(open_sound(header_only(tmp_path)).blocks())


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read every file")
def test_a_file_that_may_not_be_read(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "a.wav", *FORMATS["a.wav"])
    path.chmod(0)
    with pytest.raises(InputError, match="Permission denied"):
        open_sound(path)


def test_no_permission_is_one_clear_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_sound(tmp_path / "a.wav", *FORMATS["a.wav"])

    def refuse(*_: object, **__: object) -> Iterator[bytes]:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(InputError, match=r"cannot be read \(Permission denied\)"):
        open_sound(path)


def test_a_file_that_changes_while_it_is_read_is_refused(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "a.wav", *FORMATS["a.wav"])
    sound = open_sound(path)
    with path.open("ab") as file:
        file.write(b"more")
    with pytest.raises(InputError, match="changed while it was read"):
        list(sound.blocks())


# ---------------------------------------------------------------- the copy in the note


def test_the_small_copy_keeps_its_times_and_can_be_entered_anywhere(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "a.wav", *FORMATS["a.wav"])
    sound = open_sound(path)
    copy = compact_copy(sound.blocks())
    assert copy.media_type.startswith("audio/ogg")
    assert abs(copy.duration_ms - SECONDS * 1000) < 20
    assert len(copy.data) < path.stat().st_size / 20
    with av.open(io.BytesIO(copy.data), mode="r") as container:
        stream = container.streams.audio[0]
        assert stream.time_base is not None
        for second in (4.0, 1.5, 3.0):  # forwards and backwards, as a person who checks lines
            container.seek(int(second / stream.time_base), stream=stream)
            frame = next(container.decode(stream))
            assert frame.time is not None
            assert second - 1.1 < frame.time <= second + 0.05
    kept = tmp_path / "copy.ogg"
    kept.write_bytes(copy.data)
    got, wanted = decoded(kept).astype(float), decoded(path).astype(float)
    spectrum = np.fft.rfft(got, 1 << 18) * np.conj(np.fft.rfft(wanted, 1 << 18))
    lag = int(np.argmax(np.fft.irfft(spectrum)))
    assert min(lag, (1 << 18) - lag) < RATE // 100  # under 10 ms


def test_a_real_recording_is_whole_after_copying(tmp_path: Path) -> None:
    source = Path(__file__).parent / "sounds" / "hips.ogg"
    shutil.copy(source, tmp_path / "x.dat")  # the name does not matter
    sound = open_sound(tmp_path / "x.dat")
    assert sum(map(len, sound.blocks())) == RATE * sound.duration_ms // 1000
    assert sound.torn == ""
    assert sound.media_type == "audio/ogg"
