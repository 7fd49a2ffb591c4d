"""The speech model is joined once, checked at every start, and made anew where it is not whole."""

import os
from pathlib import Path

import pytest

from pipeline.errors import ModelError
from pipeline.hear import models
from pipeline.hear.models import ModelFiles, embedded_model, model_at


@pytest.fixture(scope="module")
def joined(tmp_path_factory: pytest.TempPathFactory) -> ModelFiles:
    return embedded_model(tmp_path_factory.mktemp("cache"))


def test_the_joined_model_is_the_one_named(joined: ModelFiles) -> None:
    assert joined.sha256.startswith("d01c3014")
    assert joined.name == "whisper-base"
    assert sorted(p.name for p in joined.folder.iterdir()) == [
        "config.json",
        "model.bin",
        "tokenizer.json",
        "vocabulary.txt",
    ]


def test_a_whole_cache_is_not_written_again(joined: ModelFiles) -> None:
    before = (joined.folder / "model.bin").stat()
    embedded_model(joined.folder.parent.parent)
    after = (joined.folder / "model.bin").stat()
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)


@pytest.mark.parametrize("harm", ["cut short", "one bit", "gone", "tokenizer"])
def test_a_damaged_cache_is_noticed_and_made_anew(joined: ModelFiles, harm: str) -> None:
    path = joined.folder / ("tokenizer.json" if harm == "tokenizer" else "model.bin")
    stamp = path.stat()
    if harm == "cut short":
        os.truncate(path, 1_000_000)
    elif harm == "gone":
        path.unlink()
    else:
        with path.open("r+b") as file:
            file.seek(777)
            byte = file.read(1)
            file.seek(777)
            file.write(bytes([byte[0] ^ 1]))
        os.utime(path, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))  # neither size nor time betrays it
    again = embedded_model(joined.folder.parent.parent)
    assert models.file_sha256(again.folder / path.name) == models._SHA256[path.name]
    assert not list(again.folder.glob(".*"))


def test_a_damaged_package_is_never_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(models, "_packaged", lambda _name: iter([b"not the model"]))
    with pytest.raises(ModelError, match="is damaged"):
        embedded_model(tmp_path)
    assert [p for p in tmp_path.rglob("*") if p.is_file()] == []


def test_a_missing_package_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(models, "_PARTS", (("no_such_package", "a"), ("no_such_package", "b")))
    with pytest.raises(ModelError, match="no_such_package"):
        embedded_model(tmp_path)


def test_a_full_disk_leaves_nothing_half_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(ModelError, match="No space left on device"):
        embedded_model(tmp_path)
    assert [p for p in tmp_path.rglob("*") if p.is_file()] == []


def test_a_cache_that_is_a_file_is_one_clear_line(tmp_path: Path) -> None:
    (tmp_path / "models").write_text("in the way")
    with pytest.raises(ModelError) as caught:
        embedded_model(tmp_path)
    assert "\n" not in str(caught.value)


def test_a_folder_of_the_persons_own(joined: ModelFiles, tmp_path: Path) -> None:
    own = model_at(joined.folder)
    assert (own.sha256, own.name) == (joined.sha256, joined.folder.name)
    with pytest.raises(ModelError, match=r"holds no model\.bin"):
        model_at(tmp_path)
