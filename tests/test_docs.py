"""What the documents say is there, and what is there is said in them."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from pydantic import BaseModel
from typer.core import TyperCommand, TyperGroup
from typer.main import get_command

import pipeline
from pipeline.cli import app
from pipeline.vocabulary import Concept, Cue, Measure, ResultForm, Site, WordList

ROOT = Path(pipeline.__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
CI = (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def commands(group: object, *before: str) -> Iterator[tuple[str, TyperCommand]]:
    """Every command with the words that call it, those of groups included."""
    assert isinstance(group, TyperGroup)
    for name, command in group.commands.items():
        if isinstance(command, TyperCommand):
            yield " ".join((*before, name)), command
        else:
            yield from commands(command, *before, name)


COMMANDS = dict(commands(get_command(app)))

SET_UP = (
    "python3 -m venv .venv"
    " && .venv/bin/pip install --require-hashes -r requirements.lock"
    " && .venv/bin/pip install --no-deps --no-build-isolation -e ."
)


def code_lines(text: str) -> list[str]:
    """The lines inside fences of a Markdown text, remarks for cog left out."""
    shown = re.sub(r"<!--.*?-->", "", text, flags=re.S)
    return [line for block in re.findall(r"^```\n(.*?)^```", shown, flags=re.M | re.S) for line in block.splitlines()]


def section(text: str, title: str) -> str:
    """What stands under a heading of the second level."""
    return text.partition(f"\n## {title}\n")[2].partition("\n## ")[0]


def test_the_six_commands_are_there() -> None:
    assert set(COMMANDS) >= {"draft", "transcribe", "extract", "search", "demo", "doctor"}


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_has_help_and_stands_in_the_readme(name: str) -> None:
    command = COMMANDS[name]

    assert command.help
    assert f"\n### handspoken {name}\n" in README
    for parameter in command.params:
        assert getattr(parameter, "help", None), f"{name} {parameter.name}"
        assert all(option in README for option in parameter.opts if option.startswith("--"))


def test_every_command_shown_in_the_readme_exists() -> None:
    shown = {match for line in code_lines(README) for match in re.findall(r"(?:^|/)handspoken ([a-z]+)", line)}

    assert shown
    assert shown <= {name.split()[0] for name in COMMANDS}


def test_the_readme_names_two_lines_that_share_their_set_up() -> None:
    lines = [line for line in code_lines(section(README, "Two commands")) if line]

    assert lines == [f"{SET_UP} && .venv/bin/handspoken demo", f"{SET_UP} && .venv/bin/pytest"]


def test_the_gate_runs_the_five_commands() -> None:
    first, *rest = code_lines(section(DEVELOPERS, "The five commands"))[:5]

    assert first in code_lines(README), "the first is the README's test line, which the gate takes from there"
    for command in rest:
        words = command.replace("-w dist .", "").split()
        assert re.search(r"\s+(-q )?".join(re.escape(word) for word in words), CI), command


DOCUMENTS = sorted(p.relative_to(ROOT).as_posix() for p in [*ROOT.glob("*.md"), *ROOT.glob("[a-z]*/README.md")])


@pytest.mark.parametrize("name", DOCUMENTS)
def test_links_lead_to_files(name: str) -> None:
    document = ROOT / name
    for target in re.findall(r"\]\(([^)#:]+)\)", document.read_text(encoding="utf-8")):
        assert (document.parent / target).exists(), target


@pytest.mark.parametrize("row", [Concept, Site, ResultForm, Measure, Cue, WordList], ids=lambda row: row.__name__)
def test_every_field_of_the_vocabulary_is_described(row: type[BaseModel]) -> None:
    described = (ROOT / "vocab" / "README.md").read_text(encoding="utf-8")

    def named(field: str) -> bool:  # YAML reads a bare on or off as true or false: those stand in quotes
        return re.search(rf"`(?:{field}|\"{field}\"(?:: true)?)`", described) is not None

    assert [field for field in row.model_fields if not named(field)] == []


def test_every_module_of_the_ground_and_every_stage_is_introduced() -> None:
    parts = {p.stem for p in (ROOT / "pipeline").iterdir() if p.suffix == ".py" or (p / "__init__.py").is_file()}
    named = {name.removesuffix(".py") for name in re.findall(r"`([a-z]+(?:\.py)?)`", DEVELOPERS)}

    assert {part for part in parts if not part.startswith("_")} <= named
