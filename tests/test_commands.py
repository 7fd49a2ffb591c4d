"""Spoken commands count only where they stand alone; everywhere else their words are speech."""

from pathlib import Path

import pytest
from extracting import read

from pipeline.commands import Commands
from pipeline.model import ClauseClass
from pipeline.vocabulary import load_vocabulary


@pytest.mark.parametrize(
    ("said", "command"),
    [
        ("Off the record.", "off"),
        ("Okay, off the record.", "off"),
        ("Back on the record, please note the hip.", None),
        ("We're back on the record.", "on"),
        ("What’s left?", "left"),
        ("What's left is tight.", None),
        ("Mark this.", "mark"),
        ("Mark this hip as tight.", None),
        ("End of visit.", "end"),
        ("That stays off the record.", None),
        ("Okay.", None),
        ("", None),
    ],
)
def test_a_command_stands_alone(said: str, command: str | None) -> None:
    assert Commands(load_vocabulary()).of(said.split()) == command


def test_own_phrases_are_added(tmp_path: Path) -> None:
    (tmp_path / "cues").mkdir()
    (tmp_path / "cues" / "commands.yaml").write_text('- say: ["kiln"]\n  gives: mark\n', encoding="utf-8")
    commands = Commands(load_vocabulary(personal=(tmp_path,)))

    assert commands.of(["Kiln."]) == "mark"
    assert commands.of(["mark", "this"]) == "mark"


def test_a_command_is_kept_as_one_and_gives_no_finding() -> None:
    found = read("The left hip is tight.", "Off the record.", "What's left?")

    assert len(found.items) == 1
    assert [clause.clause_class for clause in found.clauses][-2:] == [ClauseClass.COMMAND] * 2
    assert found.clauses[-1].why == "command: left"


@pytest.mark.parametrize("said", ["What's left hip like?", "Mark this left hip as tight."])
def test_the_same_words_inside_a_sentence_are_no_command(said: str) -> None:
    assert all(clause.clause_class != ClauseClass.COMMAND for clause in read(said).clauses)
