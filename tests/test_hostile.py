"""Hostile files end with an exit code and one sentence: a few seeded cases of ``benchmarks/hostile.py``."""

import json
import subprocess
import sys
import wave
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pytest
from hostile_mutants import RATE, mutant

from pipeline.audio import open_sound, source
from pipeline.config import load_config
from pipeline.errors import InputError
from pipeline.render.own import own_paper
from pipeline.render.papers import Block, Paper
from pipeline.vocabulary import Site, read_rows
from pipeline.vtt import parse_vtt

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


@pytest.mark.parametrize(
    "text",
    [
        "&a [*a]",
        "- &a [x, x]\n" + "".join(f"- &{b} [{', '.join([f'*{a}'] * 50)}]\n" for a, b in pairwise("abcdefg")),
        "? [a]\n: b",
        "- 2026-99-99",
        "[" * 3000,
        "- !!python/object/apply:os.system [ls]",
    ],
)
def test_own_words_that_multiply_or_mean_something_else_are_refused(text: str, tmp_path: Path) -> None:
    (tmp_path / "sites.yaml").write_text(text)
    faults: list[str] = []

    assert read_rows(tmp_path / "sites.yaml", Site, faults) == []
    assert len(faults) == 1


@pytest.mark.parametrize("text", ["open_minutes = " + "[" * 3000, "open_minutes = " + "9" * 5000, "\xff"])
def test_settings_that_nest_or_grow_too_far_are_refused(
    text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HANDSPOKEN_HOME", str(tmp_path))
    (tmp_path / "settings.toml").write_text(text, encoding="latin-1")

    with pytest.raises(InputError, match=r"settings\.toml: not readable as TOML"):
        load_config()


def test_tags_of_a_sound_may_hold_anything(tmp_path: Path) -> None:
    path = tmp_path / "odd.flac"
    with av.open(str(path), mode="w") as made:
        made.metadata["title"] = "titletitle"
        stream = made.add_stream("flac", rate=RATE, layout="mono")
        frame = av.AudioFrame.from_ndarray(np.ones((1, RATE), dtype=np.int16), format="s16", layout="mono")
        frame.sample_rate = RATE
        made.mux(stream.encode(frame))
        made.mux(stream.encode(None))
    data = path.read_bytes()
    assert b"titletitle" in data
    path.write_bytes(data.replace(b"titletitle", b"\xf6\xffle\xf6\xf6\x80\xf6le"))

    assert sum(map(len, open_sound(path).blocks())) == RATE


def test_sound_without_end_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A header may claim one sample a second: a small file is then a year of sound."""
    path = tmp_path / "slow.wav"
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(100)
        out.writeframes(bytes(2 * 100 * 60))
    monkeypatch.setattr(source, "LONGEST_H", 1 / 120)

    with pytest.raises(InputError, match="hours of sound"):
        list(open_sound(path).blocks())


def test_times_that_no_visit_has_are_refused() -> None:
    with pytest.raises(InputError, match="later than any visit"):
        parse_vtt("WEBVTT\n\n00:00.000 --> 99999999:00:00.000\nhips\n")


def test_a_mutant_follows_from_its_seed() -> None:
    data = json.dumps({"a": [1, {"b": "c"}]}).encode()

    assert len({mutant("json", data, seed) for seed in range(40)}) > 20
    assert mutant("json", data, 7) == mutant("json", data, 7)


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
