"""``handspoken export`` and ``handspoken import`` as a person types them."""

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import Ended

from pipeline.resources import data_path

Command = Callable[..., Ended]


@pytest.fixture
def visit(handspoken: Command) -> str:
    """A visit on record; its id."""
    done = handspoken("draft", data_path("samples/wren.vtt"), "--infant", "Wren", "--age", "6 weeks", "--json")
    return str(json.loads(done.out)["visit"])


def test_every_form_goes_out(handspoken: Command, visit: str, tmp_path: Path) -> None:
    names = {
        "fhir": [f"{visit}.fhir.json"],
        "json": ["record.json"],
        "csv": ["items.csv"],
        "parquet": ["items.parquet"],
        "vtt": [f"{visit}.words.vtt", f"{visit}.lines.vtt"],
    }
    for form, files in names.items():
        done = handspoken("export", "Wren", "--as", form, "--to", tmp_path / form)

        assert done.code == 0, done.err
        assert done.out.splitlines()[: len(files)] == [str(tmp_path / form / name) for name in files]
        assert "Not signed, so drafts: 1 of 1 visits." in done.out
        assert "These files hold names and what was said." in done.out
        for name in files:
            assert (tmp_path / form / name).stat().st_mode & 0o077 == 0, "for the owner alone"


def test_the_whole_record_out_and_in(
    handspoken: Command, visit: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    handspoken("export", "--as", "json", "--to", tmp_path / "a")
    before = handspoken("search", "tight").out
    monkeypatch.setenv("HANDSPOKEN_HOME", str(tmp_path / "home2"))

    done = handspoken("import", tmp_path / "a" / "record.json")
    again = json.loads(handspoken("import", tmp_path / "a" / "record.json", "--json").out)
    handspoken("export", "--as", "json", "--to", tmp_path / "b")

    assert done.out.startswith("4 entries taken over, 0 were on record already; 1 visits drafted.")
    assert again == {"new": 0, "known": 4, "visits": 0, "without_sound": 0, "destroyed": 0}
    assert (tmp_path / "a" / "record.json").read_bytes() == (tmp_path / "b" / "record.json").read_bytes()
    assert (tmp_path / "home2" / "notes" / visit / "note.html").is_file()
    assert handspoken("search", "tight").out == before.replace(str(tmp_path / "home"), str(tmp_path / "home2"))


def test_a_copy_without_names(handspoken: Command, visit: str, tmp_path: Path) -> None:
    done = handspoken("export", visit, "--as", "fhir", "--to", tmp_path / "x", "--nameless", "--json")
    told = json.loads(done.out)

    assert (told["visits"], told["nameless"], told["left_out"]) == (1, True, [])
    assert visit not in Path(told["files"][0]).name
    assert "Wren" not in Path(told["files"][0]).read_text()


def test_what_cannot_be_is_one_sentence(handspoken: Command, visit: str, tmp_path: Path) -> None:
    unknown = handspoken("export", "Nobody", "--as", "csv", "--to", tmp_path / "x")
    mixed = handspoken("export", visit, "--as", "vtt", "--to", tmp_path / "x", "--nameless")
    missing = handspoken("import", tmp_path / "none.json")
    form = handspoken("export", "--as", "paper", "--to", tmp_path / "x")

    for ended in (unknown, mixed, missing):
        assert ended.code == 1
        assert ended.out == ""
        assert ended.err.startswith("handspoken: ")
        assert ended.err.count("\n") == 1
    assert form.code == 2


def test_libraries_are_loaded_for_their_own_form_alone() -> None:
    """A table needs no FHIR, a document no Parquet, and no other command any of them."""
    code = (
        "import sys; import pipeline.cli, pipeline.exchange, pipeline.show; "
        "print([m for m in ('fhir', 'pyarrow', 'simple_icd_10_cm', 'spacy', 'faster_whisper') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "[]"
