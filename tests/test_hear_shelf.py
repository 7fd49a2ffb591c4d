"""Models of the person's own: kept whole under a name, fetched with every hash checked, or not at all."""

import hashlib
from collections.abc import Mapping
from pathlib import Path

import pytest

from pipeline.errors import InputError, ModelError
from pipeline.hear import Shelf, chosen_model, fetch_model
from pipeline.hear.fetch import Published, fetchable

FILES = {"model.bin": b"weights" * 1000, "config.json": b"{}", "tokenizer.json": b"{}", "vocabulary.json": b"[]"}


@pytest.fixture
def source(tmp_path: Path) -> Path:
    folder = tmp_path / "larger"
    folder.mkdir()
    for name, data in FILES.items():
        (folder / name).write_bytes(data)
    (folder / "README.md").write_text("not of the model")
    return folder


def files_in(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


def test_a_model_is_kept_and_found_by_its_name(source: Path, tmp_path: Path) -> None:
    added = Shelf(tmp_path / "kept").add(source)

    assert (added.name, added.sha256) == ("larger", hashlib.sha256(FILES["model.bin"]).hexdigest())
    assert files_in(tmp_path / "kept") == {*(f"larger/{name}" for name in FILES), "larger/kept.json"}
    assert chosen_model("larger", tmp_path / "kept") == added
    assert chosen_model(str(source), tmp_path / "kept").sha256 == added.sha256


@pytest.mark.parametrize("name", ["../out", ".hidden", "a/b", "whisper-base", "x" * 65, "a\u202eb"])
def test_a_name_that_is_a_path_or_taken_is_refused(name: str, source: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="--name"):
        Shelf(tmp_path / "kept").add(source, name)
    assert not (tmp_path / "kept").exists()


def test_a_second_model_of_a_name_does_not_replace_the_first(source: Path, tmp_path: Path) -> None:
    shelf = Shelf(tmp_path / "kept")
    shelf.add(source)
    with pytest.raises(InputError, match="kept already"):
        shelf.add(source)


@pytest.mark.parametrize("harm", ["altered", "gone"])
def test_a_kept_model_that_was_harmed_is_never_used(harm: str, source: Path, tmp_path: Path) -> None:
    Shelf(tmp_path / "kept").add(source)
    victim = tmp_path / "kept" / "larger" / "tokenizer.json"
    victim.unlink() if harm == "gone" else victim.write_bytes(b"[]")

    with pytest.raises(ModelError, match=r"tokenizer\.json"):
        chosen_model("larger", tmp_path / "kept")


def test_what_a_killed_run_left_is_no_model_and_in_nobodys_way(source: Path, tmp_path: Path) -> None:
    left = tmp_path / "kept" / "larger"
    left.mkdir(parents=True)
    (left / ".model.bin.0000.part").write_bytes(b"half")
    shelf = Shelf(tmp_path / "kept")

    assert shelf.names() == []
    shelf.add(source)
    assert not list(left.glob(".*"))


def test_a_folder_that_is_no_model_is_named(tmp_path: Path) -> None:
    with pytest.raises(ModelError, match=r"holds no model\.bin"):
        Shelf(tmp_path / "kept").add(tmp_path)
    with pytest.raises(ModelError, match="neither a speech model kept here"):
        chosen_model("no-such", tmp_path / "kept")


class FakeHub:
    """Gives FILES; ``wrong`` is a file that arrives otherwise than listed."""

    def __init__(self, wrong: str = "", error: Exception | None = None) -> None:
        self.wrong, self.error = wrong, error
        self.asked: list[str] = []

    def files(self, place: str) -> Mapping[str, Published]:
        self.asked.append(place)
        if self.error:
            raise self.error
        return {
            name: Published(hashlib.sha256(data).hexdigest() if name == "model.bin" else "", git_sha1(data))
            for name, data in {**FILES, "README.md": b"x"}.items()
        }

    def download(self, place: str, file: str, to: Path) -> None:
        self.asked.append(f"{place} {file}")
        (to / file).write_bytes(FILES[file] + (b"!" if file == self.wrong else b""))


def git_sha1(data: bytes) -> str:
    return hashlib.sha1(b"blob %d\0" % len(data) + data, usedforsecurity=False).hexdigest()


def test_a_fetched_model_is_checked_and_kept(tmp_path: Path) -> None:
    hub = FakeHub()
    model = fetch_model("small.en", tmp_path / "kept", hub)

    assert model.name == "small.en"
    assert files_in(tmp_path / "kept") == {*(f"small.en/{name}" for name in FILES), "small.en/kept.json"}
    assert not any("README" in asked for asked in hub.asked)
    hub.asked.clear()
    assert fetch_model("small.en", tmp_path / "kept", hub) == model
    assert hub.asked == []  # it is here already


@pytest.mark.parametrize("wrong", ["model.bin", "tokenizer.json"])
def test_a_file_that_did_not_arrive_whole_leaves_nothing(wrong: str, tmp_path: Path) -> None:
    with pytest.raises(ModelError, match="did not arrive whole"):
        fetch_model("small.en", tmp_path / "kept", FakeHub(wrong))
    assert files_in(tmp_path / "kept") == set()


def test_without_a_network_one_sentence_tells_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(ModelError, match=r"cannot be fetched \(no route to host\).*model add FOLDER") as caught:
        fetch_model("small.en", tmp_path / "kept", FakeHub(error=OSError("no route to host\nmore")))
    assert "\n" not in str(caught.value)
    with pytest.raises(InputError, match="no model of that name"):
        fetch_model("no-such", tmp_path / "kept", FakeHub())


def test_the_names_are_those_of_the_library() -> None:
    assert {"small.en", "medium", "large-v3"} <= fetchable().keys()
