"""A whole visit under encryption: recorded while locked, drafted, put right, signed, found; nothing lies in clear."""

import base64
import os
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from reviewing import stages
from vaulting import PASSPHRASE, encrypted

from pipeline import custody
from pipeline.audio import open_sound
from pipeline.capture import begin, find, recover
from pipeline.config import Config, Settings
from pipeline.errors import LockedError, StoreError
from pipeline.hear.keep import ChunkResult, Kept
from pipeline.live import BoardView, read_board
from pipeline.live.board import write_board
from pipeline.model import Chunk, ChunkKey, Word
from pipeline.record import PCM, length_ms, read_log, summed_up
from pipeline.review import Addition, Sheets, Signature, add, before_signing, sign, signed_note
from pipeline.review.requests import Add
from pipeline.review.slots import OWN_WORDS
from pipeline.search import ask
from pipeline.store import Store
from pipeline.store.reading import Reader
from pipeline.vault import Keys, forget, keys_of, use
from pipeline.visits import Told, draft

TODAY = date(2026, 11, 25)
NOW = datetime(2026, 11, 25, 18, 40, tzinfo=UTC)
SEEDS = ("Quillfeather", "zebrawood", "Ottoline", "marmalade", "tourmaline")


@pytest.fixture
def config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Config]:
    """An encrypted folder and a cache beside it."""
    monkeypatch.setenv("HANDSPOKEN_CACHE", str(tmp_path / "data" / "cache"))
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
    home = tmp_path / "data" / "home"
    encrypted(home)
    yield Config(home=home, settings=Settings())
    forget()


@pytest.fixture
def keys(config: Config) -> Keys:
    """Those of the folder."""
    keys = keys_of(config.home)
    assert keys is not None
    return keys


def shapes(word: str) -> Iterator[bytes]:
    """A word as it may lie in a file: in Unicode's encodings, and inside base64 wherever it begins."""
    for encoding in ("utf-8", "utf-16-le", "utf-16-be"):
        yield word.encode(encoding)
    for before in range(3):
        data = bytes(before) + word.encode()
        yield base64.b64encode(data)[-(-before * 8 // 6) : len(data) * 8 // 6]


def traces(folder: Path) -> list[tuple[str, bytes]]:
    """Where a seeded word can be read."""
    wanted = [shape for word in SEEDS for form in (word, word.lower(), word.upper()) for shape in shapes(form)]
    found = []
    for path in (path for path in folder.rglob("*") if path.is_file()):
        data = path.read_bytes() + str(path).encode()
        found += [(str(path), shape) for shape in wanted if shape in data]
    return found


def test_a_word_is_found_in_every_shape(tmp_path: Path) -> None:
    for n, data in enumerate(("Ottoline", "x" * 4 + "Ottoline", "x" * 5 + "ottoline.")):
        (tmp_path / f"a{n}").write_bytes(b"." + base64.b64encode(data.encode()))
    (tmp_path / "b").write_bytes("an Ottoline".encode("utf-16-be"))

    assert {Path(path).name for path, _ in traces(tmp_path)} == {"a0", "a1", "a2", "b"}


def test_no_word_of_a_visit_lies_in_clear(config: Config, keys: Keys, tmp_path: Path) -> None:
    spoken, to = tmp_path / "words.vtt", tmp_path / "to"
    spoken.write_text(
        "WEBVTT\n\n00:00.000 --> 00:06.000\nThe left sternocleidomastoid is tight. Mum brought a zebrawood rattle.\n"
    )
    done = draft(spoken, Told(infant="Quillfeather", age="9 weeks"), config, stages(), today=TODAY, to=to)
    assert "Quillfeather" in (to / "note.html").read_text()
    visit, sheets = done.record.visit, Sheets(config, stages(), lambda: NOW)
    slots = {"concept": OWN_WORDS, "kind": "finding", "detail": "like marmalade", "part": "found.neck"}
    sheets.put_right(visit, sheets.version(visit), Add(slots=slots, start_ms=0, end_ms=0))
    waiting = before_signing(sheets, visit)
    reasons = {point.id: "marmalade asked to wait" for point in waiting.blocking}
    sign(sheets, visit, waiting.sheet.version, Signature(name="Ottoline", role="physio", reasons=reasons))
    added = Addition(kind="late_entry", text="a tourmaline mark", reason="seen later", name="Ottoline", role="physio")
    add(sheets, visit, sheets.version(visit), added)
    assert signed_note(sheets, visit) is not None
    key = ChunkKey(pcm_sha256="0", model_sha256="0", settings_hash="0", vocab_hash="0")
    chunk = ChunkResult(key=key, chunk=Chunk(start_ms=0, end_ms=9), words=(Word(0, "zebrawood", 0, 9),))
    cache = Kept(tmp_path / "data" / "cache", keys)
    cache.put(chunk)

    assert {hit.infant for hit in ask("tight sternocleidomastoid", config, today=TODAY).hits} == {"Quillfeather"}
    assert ask("zebrawood", config, today=TODAY).hits
    assert cache.get(key, ChunkResult) == chunk
    with Reader(config.home) as reader:  # the journal of the database is there too
        assert reader.rows("SELECT count(*) FROM event")[0][0] > 5
        assert traces(tmp_path / "data") == []
    assert custody.verify(config, stages(), step=lambda _what: None).sound
    custody.backup(tmp_path / "data" / "backup.zip", config, now=NOW)
    assert traces(tmp_path / "data") == []


def test_a_recording_begun_while_locked_is_sealed_when_open(
    config: Config, keys: Keys, monkeypatch: pytest.MonkeyPatch
) -> None:
    Store(config.home).close()
    monkeypatch.setenv("HANDSPOKEN_PASSPHRASE", "not the one")
    samples = np.asarray(np.random.default_rng(3).normal(0, 900, 160_000), dtype=np.int16)
    forget()
    capture = begin(config, Told(infant="Quillfeather"), "Ottoline, mother", today=TODAY, now=lambda: NOW)
    for at in range(0, len(samples), 1600):
        capture.recorder.take(samples[at : at + 1600])
    capture.recorder.end()
    folder = capture.folder
    assert length_ms(folder) == 10_000
    assert traces(config.home) == []
    assert samples[:800].tobytes() not in (folder / PCM).read_bytes()
    assert find(folder).told.infant is None
    with pytest.raises(LockedError):
        capture.finish()

    use(keys)
    assert find(folder).told.infant == "Quillfeather"
    assert summed_up(read_log(folder)).consent[0].text == "given: Ottoline, mother"
    write_board(folder, BoardView(open=("marmalade",)), keys)
    assert read_board(folder).open == ("marmalade",)
    assert recover(find(folder))
    assert np.array_equal(np.concatenate(list(open_sound(folder / "rec.flac").blocks())), samples)
    assert not (folder / PCM).exists()
    assert b"fLaC" not in (folder / "rec.flac").read_bytes()
    assert traces(config.home) == []


def test_a_torn_recording_is_sealed_up_to_its_last_whole_frame(config: Config) -> None:
    capture = begin(config, Told(), "Ottoline, mother", today=TODAY, now=lambda: NOW)
    for _ in range(10):
        capture.recorder.take(np.ones(1600, dtype=np.int16))
    capture.recorder.end()
    sound, log = capture.folder / PCM, capture.folder / "rec.log"
    whole = sound.read_bytes()
    sound.write_bytes(whole[:-7])
    os.truncate(log, log.stat().st_size - 3)
    assert length_ms(capture.folder) == 900

    sound.write_bytes(whole[:4000] + b"?" + whole[4001:])
    with pytest.raises(StoreError, match="altered"):
        capture.finish()
    sound.write_bytes(whole[:-7])
    capture.finish()
    assert len(np.concatenate(list(open_sound(capture.folder / "rec.flac").blocks()))) == 9 * 1600


def test_a_backup_opens_with_the_same_passphrase(
    config: Config, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spoken, bag = tmp_path / "words.vtt", tmp_path / "backup.zip"
    spoken.write_text("WEBVTT\n\n00:00.000 --> 00:02.000\nThe hips are fine.\n")
    draft(spoken, Told(infant="Quillfeather"), config, stages(), today=TODAY)
    custody.backup(bag, config, now=NOW)
    forget()
    other = Config(home=tmp_path / "elsewhere", settings=Settings())
    with pytest.raises(LockedError):
        custody.restore(bag, other, step=lambda _what: None)
    assert not other.home.exists()

    monkeypatch.setenv("HANDSPOKEN_PASSPHRASE", PASSPHRASE)
    custody.restore(bag, other, step=lambda _what: None)
    assert ask("hips", other, today=TODAY).hits
