"""A folder of old recordings: what is done is skipped, what fails is told, and nothing else suffers from it."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from conftest import Ended, _spoken
from invented import PlainStages

from pipeline.batch import Outcome, draft_folder, told_beside
from pipeline.config import Config, Settings
from pipeline.errors import InputError
from pipeline.review import visits
from pipeline.store import Store
from pipeline.visits import Told

TODAY = date(2026, 11, 25)


def make(_config: Config) -> PlainStages:
    """Here so that a process of its own finds it."""
    return PlainStages(_spoken)


@pytest.fixture
def config(tmp_path: Path) -> Config:
    return Config(home=tmp_path / "home", settings=Settings())


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Five files that can be used, three that cannot, and others that are nobody's business."""
    folder = tmp_path / "old"
    folder.mkdir()
    for name in ("a.opus", "b.OPUS", "c.wav", "same.opus"):
        (folder / name).write_text("A clunk." if name == "same.opus" else f"{name} no clunk.")
        os.utime(folder / name, (1_790_000_000, 1_790_000_000))
    (folder / "twin.opus").write_text("A clunk.")
    (folder / "d.vtt").write_text("WEBVTT\n\n00:00.000 --> 00:02.000\nno clunk\n")
    (folder / "a.vtt").write_text("WEBVTT\n\n00:00.000 --> 00:02.000\nno clunk\n")
    (folder / "a.json").write_text('{"code_name": "wren", "born": "2026-09-01", "on": "2026-10-01", "items": []}')
    (folder / "c.json").write_text('{"age": 9}')
    (folder / "empty.opus").write_text(" ")
    (folder / "wrong.vtt").write_text("no transcript")
    (folder / ".hidden.opus").write_text("x")
    (folder / "letter.pdf").write_text("x")
    return folder


def _run(folder: Path, config: Config, jobs: int = 1, told: Told | None = None) -> dict[str, Outcome]:
    found = list(draft_folder(folder, told or Told(), config, make, today=TODAY, jobs=jobs))
    assert [n for n, _, _ in found] == list(range(1, len(found) + 1))
    assert {total for _, total, _ in found} == {len(found)}
    return {outcome.file: outcome for _, _, outcome in found}


@pytest.mark.parametrize("jobs", [1, 2])
def test_a_folder_is_drafted_and_the_rest_told(jobs: int, folder: Path, config: Config) -> None:
    ended = _run(folder, config, jobs)

    assert {name: outcome.state for name, outcome in ended.items()} == {
        "a.opus": "drafted", "b.OPUS": "drafted", "c.wav": "failed", "same.opus": "drafted", "twin.opus": "skipped",
        "d.vtt": "drafted", "a.vtt": "skipped", "empty.opus": "failed", "wrong.vtt": "failed",
    }  # fmt: skip
    assert ended["a.opus"].what == "wren, 2026-10-01, 1 line"
    assert "day by the file: 2026-09-21" in ended["b.OPUS"].what
    assert "c.json" in ended["c.wav"].what
    assert "the same as same.opus" == ended["twin.opus"].what
    assert "its recording is a.opus" == ended["a.vtt"].what
    assert len(visits(config)) == 4
    with Store(config.home) as store:
        events = store.events()

    again = _run(folder, config, jobs)

    assert {outcome.state for outcome in again.values()} == {"skipped", "failed"}
    assert again["a.opus"].visit == ended["a.opus"].visit
    with Store(config.home) as store:
        assert events == store.events()


def test_a_visit_whose_page_is_not_there_is_drafted_again(folder: Path, config: Config) -> None:
    visit = _run(folder, config)["a.opus"].visit
    (config.notes / visit / "note.html").unlink()

    assert _run(folder, config)["a.opus"].state == "drafted"
    assert len(visits(config)) == 4
    assert (config.notes / visit / "note.html").exists()


def test_what_is_told_for_all_holds_where_nothing_stands_beside(folder: Path, config: Config) -> None:
    ended = _run(folder, config, told=Told(infant="robin", on=date(2026, 11, 1)))

    assert ended["a.opus"].what.startswith("wren, 2026-10-01")
    assert ended["b.OPUS"].what == "robin, 2026-11-01, 1 line"


@pytest.mark.parametrize(
    "text",
    ["{", '{"infant": 1}', '{"born": "x"}', '{"on": []}', '{"sex": "x"}', '{"gestation_weeks": true}', "[" * 100_000],
)
def test_facts_that_cannot_be_read(text: str, tmp_path: Path) -> None:
    (tmp_path / "a.json").write_text(text)

    with pytest.raises(InputError, match=r"a\.json"):
        told_beside(tmp_path / "a.opus", Told())


def test_where_there_is_nothing_to_do(config: Config, tmp_path: Path) -> None:
    (tmp_path / "letter.pdf").write_text("x")

    with pytest.raises(InputError, match="holds no recording"):
        _run(tmp_path, config)
    with pytest.raises(InputError, match="cannot be read"):
        _run(tmp_path / "none", config)
    with pytest.raises(InputError, match="jobs"):
        _run(tmp_path, config, jobs=0)


KILLED = """
import os, signal, sys
from datetime import date
from pathlib import Path
sys.path[:0] = [".", "tests"]
import test_batch
from pipeline import batch
from pipeline.config import Config, Settings
from pipeline.visits import Told

class Dies(test_batch.PlainStages):
    def hear(self, path, on_progress):
        if path.name == "c.opus":
            os.kill(os.getpid(), signal.SIGKILL)
        return super().hear(path, on_progress)

def make(config):
    return Dies(test_batch._spoken)

if __name__ == "__main__":
    config = Config(home=Path(sys.argv[2]), settings=Settings())
    found = batch.draft_folder(Path(sys.argv[1]), Told(), config, make, today=date(2026, 11, 25), jobs=int(sys.argv[3]))
    states = {outcome.file: (outcome.state, outcome.what) for _, _, outcome in found}
    assert states["c.opus"][0] == "failed" and "ended from outside" in states["c.opus"][1], states
"""


@pytest.mark.parametrize(("jobs", "code"), [(1, -signal.SIGKILL), (2, 0)])
def test_it_resumes_after_a_kill(jobs: int, code: int, config: Config, tmp_path: Path) -> None:
    """The program itself killed; or one of its workers, which the others and the summary survive."""
    folder = tmp_path / "old"
    folder.mkdir()
    for name in "abcd":
        (folder / f"{name}.opus").write_text(f"{name} no clunk.")
    (tmp_path / "killed.py").write_text(KILLED)
    args = [sys.executable, str(tmp_path / "killed.py"), str(folder), str(config.home), str(jobs)]
    assert subprocess.run(args, check=False).returncode == code
    before = len(visits(config))

    ended = _run(folder, config)

    assert before >= (2 if jobs == 1 else 0)
    assert sum(outcome.state == "skipped" for outcome in ended.values()) == before
    assert len(visits(config)) == 4


def test_the_command_ends_with_what_failed_and_why(
    folder: Path, handspoken: Callable[..., Ended], tmp_path: Path
) -> None:
    """The real stages; transcripts alone, so that no speech model is needed."""
    for path in folder.iterdir():
        if path.suffix.lower() in (".opus", ".wav"):
            path.unlink()

    ended = handspoken("draft", folder, "--infant", "Wren")

    assert ended.code == 3
    assert ended.out.splitlines()[0] == "drafted 1, skipped 1, failed 1."
    assert "wrong.vtt: " in ended.out
    assert len([line for line in ended.err.splitlines() if line.startswith("[")]) == 3
    again = handspoken("draft", folder, "--json")
    assert (again.code, {one["state"] for one in json.loads(again.out)}) == (3, {"skipped", "failed"})
    assert handspoken("draft", folder, "--to", tmp_path).code == 2
    (folder / "wrong.vtt").unlink()
    assert handspoken("draft", folder).code == 0
