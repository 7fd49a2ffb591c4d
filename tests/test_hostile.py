"""Hostile files end with an exit code and one sentence: a few seeded cases of ``benchmarks/hostile.py``."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from hostile_mutants import BYTES, as_json, mutant

from pipeline.errors import InputError
from pipeline.render.own import own_paper
from pipeline.render.papers import Block, Paper

ROOT = Path(__file__).parent.parent
CASES = 33


def test_seeded_hostile_files_end_with_one_sentence(tmp_path: Path) -> None:
    to = tmp_path / "found.json"
    done = subprocess.run(
        [sys.executable, "benchmarks/hostile.py", "--cases", str(CASES), "--seed", "5001", "--to", to],
        cwd=ROOT,
        env={"PYTHONPATH": f"{ROOT}:{ROOT / 'benchmarks'}", "HOME": str(tmp_path), "PATH": ""},
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 0, done.stdout + done.stderr
    found = json.loads(to.read_text())
    assert found["findings"] == []
    assert {kind: 3 for kind in found["kinds"]} == {kind: row["cases"] for kind, row in found["kinds"].items()}
    assert found["cases"] == CASES


def test_a_mutant_follows_from_its_seed() -> None:
    data = json.dumps({"a": [1, {"b": "c"}]}).encode()

    assert len({mutant("json", data, seed) for seed in range(40)}) > 20
    assert mutant("json", data, 7) == mutant("json", data, 7)
    assert as_json in {*BYTES, as_json}


PAPER = Paper(
    kind="parents",
    title="A <b>title</b>",
    practice="",
    about=(("for", "Wren"),),
    blocks=(Block(title="Part", lines=("one", "two")),),
    foot="end",
)


def test_a_template_of_ones_own_says_what_a_paper_holds(tmp_path: Path) -> None:
    own = tmp_path / "parents.html.j2"
    own.write_text(
        "{{ paper.title }}{% for b in paper.blocks %}{% if b.title != 'x' and b.lines %}"
        "{{ b.lines|join(', ')|upper }}{{ '; ' if not loop.last }}{% endif %}{% endfor %}"
    )

    assert own_paper(own, PAPER) == "A &lt;b&gt;title&lt;/b&gt;ONE, TWO"


@pytest.mark.parametrize(
    "text",
    [
        "{{ paper.__class__ }}",
        "{{ paper|attr('__init__') }}",
        "{{ cycler.__init__.__globals__ }}",
        "{{ paper.blocks[0].__reduce__ }}",
        "{{ ''['__class__'] }}",
        "{{ paper.model_copy() }}",
        "{% include 'paper.html.j2' %}",
        "{% import 'paper.html.j2' as p %}",
        "{% macro m() %}{{ m() }}{% endmacro %}{{ m() }}",
        "{% set x = 'a' %}",
        "{{ 'a' * 10**10 }}",
        "{{ 1 / 0 }}",
        "{{ 'x'|center(10000000000) }}",
        "{% for a in 'abc' %}{% for b in 'abc' %}{% for c in 'abc' %}{% for d in 'abc' %}{% endfor %}{% endfor %}"
        "{% endfor %}{% endfor %}",
        "{{ " + "(" * 3000,
        "{{ paper" + ".title" * 3000 + " }}",
        "{{ paper.blocks[999].title }}",
        "{{ paper.title|join('x', attribute='__class__') }}",
        "{{ not_there }}",
        "{% if %}",
    ],
)
def test_a_template_of_ones_own_can_do_nothing_else(text: str, tmp_path: Path) -> None:
    own = tmp_path / "parents.html.j2"
    own.write_text(text)

    with pytest.raises(InputError, match=r"parents\.html\.j2") as refused:
        own_paper(own, PAPER)
    assert "\n" not in str(refused.value)
