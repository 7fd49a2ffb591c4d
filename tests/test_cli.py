"""The commands as a person types them."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import Ended

from pipeline.resources import data_path

Handspoken = Callable[..., Ended]
SAID = "The left sternocleidomastoid is tight. No clunk in the hips."


@pytest.fixture
def words(tmp_path: Path) -> Path:
    path = tmp_path / "visit.vtt"
    path.write_text(f"WEBVTT\n\n00:00.000 --> 00:05.000\n{SAID}\n")
    return path


def test_a_transcript_becomes_a_note_and_is_found_again(words: Path, handspoken: Handspoken, tmp_path: Path) -> None:
    drafted = handspoken("draft", words, "--infant", "robin", "--age", "9 weeks", "--to", tmp_path / "out")

    assert (0, "") == (drafted.code, drafted.err)
    assert f"Note: {tmp_path / 'out' / 'note.html'}" in drafted.out
    assert "licensed clinician" in drafted.out
    found = handspoken("search", "tight", "left", "sternocleidomastoid")
    assert 0 == found.code
    assert "Understood: " in found.out
    assert "robin" in found.out
    page, _, fragment = found.out.split()[-1].partition("#")
    assert fragment.startswith("t=0")
    assert "sternocleidomastoid" in Path(page).read_text()
    answer = json.loads(handspoken("search", "no clunk", "--json").out)
    assert [("robin", "absent")] == [(hit["infant"], hit["result"]) for hit in answer["hits"]]
    assert [] == json.loads(handspoken("search", "clunk", "--json").out)["hits"]


def test_drafting_again_says_so(words: Path, handspoken: Handspoken) -> None:
    handspoken("draft", words, "--infant", "robin")

    again = handspoken("draft", words)

    assert 0 == again.code
    assert "on record already" in again.out


def test_json_is_one_object_on_stdout_and_nothing_else(words: Path, handspoken: Handspoken) -> None:
    drafted = handspoken("draft", words, "--json")
    extracted = handspoken("extract", words, "--age", "9 weeks", "--gestation", "38", "--json")

    assert {"items", "remarks", "note", "visit"} <= json.loads(drafted.out).keys()
    assert ["items", "beyond"] == list(json.loads(extracted.out))
    for item in json.loads(extracted.out)["items"]:
        assert {"kind", "concept", "site", "side", "level", "result", "value", "unit", "degree", "reporter", "start",
                "end", "quote", "evidence", "confidence", "flags"} <= item.keys()  # fmt: skip
    assert ("", "") == (drafted.err, extracted.err)


def test_extracting_stores_nothing(words: Path, handspoken: Handspoken, tmp_path: Path) -> None:
    assert 0 == handspoken("extract", words).code

    assert [words] == list(tmp_path.iterdir())


def test_explaining_shows_rules_and_clauses(words: Path, handspoken: Handspoken) -> None:
    explained = handspoken("extract", words, "--explain")

    assert "Clauses:" in explained.out
    assert "  by " in explained.out
    assert {"items", "beyond", "clauses", "trace"} == json.loads(
        handspoken("extract", words, "--explain", "--json").out
    ).keys()


def test_a_folder_gives_one_file_each(words: Path, handspoken: Handspoken, tmp_path: Path) -> None:
    done = handspoken("extract", tmp_path, "--to", tmp_path / "out", "--json")
    (tmp_path / "broken.vtt").write_text("no transcript")
    partly = handspoken("extract", tmp_path, "--to", tmp_path / "out")
    words.unlink()
    none = handspoken("extract", tmp_path, "--to", tmp_path / "out")

    assert (0, 3, 1) == (done.code, partly.code, none.code)
    assert "" == done.out
    assert ["items", "beyond"] == list(json.loads((tmp_path / "out" / "visit.json").read_text()))
    assert "1 of 2 transcripts could not be used" in partly.err


@pytest.mark.parametrize(
    "args",
    [
        ["draft"],
        ["draft", "a.vtt", "--age", "9 weeks", "--born", "2026-09-20"],
        ["draft", "a.vtt", "--gestation", "many"],
        ["extract", "."],
        ["extract", "a.vtt", "--to", "out"],
        ["search"],
        ["search", "--nonsense"],
        ["nonsense"],
    ],
)
def test_wrong_usage_ends_with_two(args: list[str], handspoken: Handspoken) -> None:
    ended = handspoken(*args)

    assert (2, "") == (ended.code, ended.out)
    assert "Error" in ended.err


def test_help_names_every_command(handspoken: Handspoken) -> None:
    shown = handspoken("--help")

    assert 0 == shown.code
    for command in ("draft", "transcribe", "extract", "search", "demo", "doctor"):
        assert command in shown.out
        assert 0 == handspoken(command, "--help").code
    assert "handspoken 0." in handspoken("--version").out


def test_searching_an_empty_record_says_what_to_do(handspoken: Handspoken, tmp_path: Path) -> None:
    ended = handspoken("search", "hip")

    assert (1, "") == (ended.code, ended.out)
    assert "draft one first" in ended.err
    assert not (tmp_path / "home").exists()


HEAVY = {"spacy", "faster_whisper", "ctranslate2", "av", "onnxruntime", "numpy", "alembic"}


@pytest.mark.parametrize(
    ("args", "never"),
    [
        (["--help"], HEAVY | {"sqlalchemy", "yaml"}),
        (["search", "tight left SCM"], HEAVY | {"sqlalchemy", "yaml", "pipeline.model"}),
        (
            ["extract", "visit.vtt"],
            {"faster_whisper", "ctranslate2", "av", "onnxruntime", "alembic", "sqlalchemy.dialects"},
        ),
    ],
)
def test_a_command_loads_only_what_it_needs(
    args: list[str], never: set[str], words: Path, handspoken: Handspoken
) -> None:
    handspoken("draft", words)
    handspoken("search", "hip")  # compiles the words, which are kept from then on

    ended = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "pipeline", *args],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | {"PYTHONPATH": str(data_path("pipeline").parent)},
    )

    loaded = {line.rpartition("|")[2].strip() for line in ended.stderr.splitlines()}
    assert "pipeline.cli" in loaded
    assert set() == loaded & never


@pytest.mark.model
def test_the_demo_drafts_an_invented_visit_apart(handspoken: Handspoken, tmp_path: Path) -> None:
    ended = handspoken("demo", "--to", "shown")

    assert 0 == ended.code
    assert (tmp_path / "shown" / "note.html").stat().st_size > 100_000, "the sound is inside"
    assert not (tmp_path / "home").exists()
    assert 1 == handspoken("demo", "nobody").code


@pytest.mark.model
def test_transcribing_writes_webvtt(handspoken: Handspoken, tmp_path: Path) -> None:
    sound = data_path("samples") / "wren.opus"

    written = handspoken("transcribe", sound, "-o", "words.vtt")
    shown = handspoken("transcribe", sound, "--json")

    assert (0, "") == (written.code, written.out)
    assert (tmp_path / "words.vtt").read_text().startswith("WEBVTT\n")
    transcript = json.loads(shown.out)
    assert len(transcript["words"]) > 100
    assert transcript["words"][0].keys() >= {"text", "start_ms", "end_ms", "p"}


@pytest.mark.model
def test_the_doctor_says_what_there_is(handspoken: Handspoken) -> None:
    ended = handspoken("doctor")

    assert 0 == ended.code
    for what in ("program", "faster-whisper", "speech model", "vocabulary", "your record", "free disk"):
        assert what in ended.out
    assert all(finding["good"] for finding in json.loads(handspoken("doctor", "--json").out))


def _visit(path: Path, said: str) -> Path:
    path.write_text(f"WEBVTT\n\n00:00.000 --> 00:09.000\n{said}\n")
    return path


def test_a_second_visit_is_held_against_the_first(
    handspoken: Handspoken, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Growth between visits, the side against last time, the law once, what is to be looked at again."""
    monkeypatch.delenv("HANDSPOKEN_JURISDICTION", raising=False)
    first = _visit(
        tmp_path / "a.vtt", "Weight is 4.0 kilos. The left SCM is tight. I adjusted C1 on the right. Recheck the hips."
    )
    second = _visit(tmp_path / "b.vtt", "Weight is 4.05 kilos. The right SCM is tight. I adjusted C1 on the right.")
    told = ("--infant", "robin", "--gestation", "40", "--json")

    before = json.loads(
        handspoken("draft", first, *told, "--sex", "female", "--age", "5 weeks", "--on", "2026-10-01").out
    )
    after = json.loads(handspoken("draft", second, *told, "--age", "9 weeks", "--on", "2026-10-29").out)

    rules = [{remark["rule"] for remark in visit["remarks"]} for visit in (before, after)]
    assert ("LAW.unknown" in rules[0], "LAW.unknown" in rules[1]) == (True, False)
    assert "SIDE.tension" in rules[1]
    assert "ASK.sex" not in rules[1]
    assert any("over 28 days" in remark["reason"] for remark in after["remarks"])
    (open_,) = [part for part in after["note"]["sections"] if part["id"] == "again"]
    assert any("hip, both sides. Not looked at" in line["text"] for line in open_["lines"])
    assert "female" == after["note"]["infant"]["sex"]


def test_the_law_where_one_works_is_a_setting(
    handspoken: Handspoken, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HANDSPOKEN_JURISDICTION", "prohibited")
    said = _visit(tmp_path / "a.vtt", "I gave T4 a thrust. It moved.")

    made = json.loads(handspoken("draft", said, "--age", "5 weeks", "--json").out)

    assert [True] == [r["blocks_signing"] for r in made["remarks"] if r["rule"] == "LAW.prohibited"]
    assert "practise: prohibited" in handspoken("doctor").out


def test_a_search_takes_exact_filters(words: Path, handspoken: Handspoken) -> None:
    handspoken("draft", words, "--infant", "robin", "--on", "2026-11-20")

    def lines(*args: str) -> list[str]:
        return [hit["result"] for hit in json.loads(handspoken("search", *args, "--by", "line", "--json").out)["hits"]]

    assert ["tight"] == lines("--site", "SCM", "--side", "left", "--since", "2026-11-20")
    assert [] == lines("--site", "SCM", "--until", "2026-11-19")
    assert (2, "") == (handspoken("search", "--by", "line").code, handspoken("search", "--side", "up").out)
    for args in (["--since", "soon"], ["--infant", "nobody"], ["--site", "moon"]):
        ended = handspoken("search", *args)
        assert (1, 1) == (ended.code, ended.err.count("\n")), ended
