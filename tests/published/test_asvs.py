"""The table of security requirements and the threat table name tests: every one of them exists."""

import ast
import re
from functools import cache
from pathlib import Path

import pytest
import yaml

TESTS = Path(__file__).parent.parent
ROWS = yaml.safe_load((Path(__file__).parent / "asvs.yaml").read_text(encoding="utf-8"))
THREATS = (
    (TESTS.parent / "DEVELOPERS.md").read_text(encoding="utf-8").partition("\n## Threats\n")[2].partition("\n## ")[0]
)


@cache
def names_in(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_a_requirement_has_a_test_that_exists_or_a_reason(row: dict[str, str]) -> None:
    assert set(row) in ({"id", "asks", "test"}, {"id", "asks", "why"})
    assert re.fullmatch(r"\d+\.\d+\.\d+", row["id"])
    for file, name in re.findall(r"(test_\w+\.py)::(test_\w+)", row.get("test", row.get("why", ""))):
        assert name in names_in(TESTS / file)
    assert "test" not in row or "::" in row["test"]


def test_no_requirement_stands_twice() -> None:
    assert len({row["id"] for row in ROWS}) == len(ROWS) > 40


def test_every_threat_names_tests_that_are_there() -> None:
    rows = [
        line
        for line in THREATS.splitlines()
        if line.startswith("| ") and not line.startswith(("| who | what", "| ---"))
    ]

    assert len(rows) >= 12
    for row in rows:
        named = re.findall(r"`((?:published/)?test_\w+)`", row.rsplit("|", 2)[1])
        assert named, row
        assert all((TESTS / f"{name}.py").is_file() for name in named), row
