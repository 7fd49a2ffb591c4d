"""Hostile files against the program: each must end with an exit code, one sentence and nothing else.

    python benchmarks/hostile.py [--cases 2000] [--seed 1] [--minutes 4] [--only KIND] [--to benchmarks/hostile.json]

A seeded mutator makes sound, transcripts, record files, backups, settings, key files, own words and templates hostile.
Each goes through the real command in a process of its own, with limits on memory, time and file size. A case fails
where the exit code is not 0, 1 or 3, where a traceback, a signal or a hang ends it, where there is not exactly one
sentence of ours, where memory grows beyond the bound, or where anything is written or removed outside the data folder.
In the place of the speech model stands one that hears one word in every chunk.
"""

import argparse
import contextlib
import io
import json
import os
import platform
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from pathlib import Path

from hostile_mutants import OWN_WORDS, SETTINGS, SOUNDS, TEMPLATE, VTT, mutant, read_corpus, sound

GROWTH_MB = 400  # beyond the process before the case; a whole file of the corpus takes less than half of it
CPU_S = 20
WALL_S = 120  # a machine with other work on it
FILE_MB = 64
PASSPHRASE = "seven plain wooden spoons"


@dataclass(frozen=True)
class Lair:
    """Where the corpus and the records that cases start from lie."""

    folder: Path

    @property
    def cache(self) -> Path:
        return self.folder / "cache"

    def home(self, name: str) -> Path:
        return self.folder / "homes" / name


@dataclass(frozen=True)
class Outcome:
    """How a case ended; ``faults`` is empty where it ended well."""

    kind: str
    seed: int
    done: str
    code: int
    sentence: str
    grown_mb: int
    faults: tuple[str, ...]


def _environment(home: Path, cache: Path) -> None:
    os.environ.update(HANDSPOKEN_HOME=str(home), HANDSPOKEN_CACHE=str(cache), HANDSPOKEN_ENCRYPTION="off")
    os.environ.pop("XDG_RUNTIME_DIR", None)


def _stand_in() -> None:
    """No speech model: every chunk holds one word; and what is compiled from shipped words is compiled once, before.

    All else is the program's own.
    """
    import pipeline.check
    import pipeline.extract
    import pipeline.hear
    from pipeline.hear import Hearer
    from pipeline.hear.chunks import SoundChunk
    from pipeline.hear.engine import Decoded
    from pipeline.hear.listen import Listened
    from pipeline.hear.models import ModelFiles
    from pipeline.model import Word
    from pipeline.vocabulary import load_vocabulary

    def listen(_hearer: Hearer, chunk: SoundChunk) -> Listened:
        return Listened([Word(0, "hips.", chunk.start_ms, chunk.end_ms)], [], Decoded((), 0.0, 1.0, 0.0, 0.0))

    Hearer._listen = listen  # type: ignore[method-assign, assignment]
    pipeline.check.load_norms = cache(pipeline.check.load_norms)
    compiled = pipeline.extract.Extractor(load_vocabulary())
    pipeline.extract.Extractor = lambda _vocab: compiled  # type: ignore[misc, assignment]
    pipeline.hear.chosen_model = lambda *_: ModelFiles(Path("none"), "stand-in", "0" * 64)


def prepare(folder: Path) -> Lair:
    """Make the corpus and the homes, and load everything that a case needs, so that a fork of this process is ready."""
    lair = Lair(folder)
    import onnxruntime  # noqa: F401  (loaded before the fork)

    from pipeline import custody, stages
    from pipeline.config import Config, Settings
    from pipeline.exchange import Wish, export
    from pipeline.vault.keyfile import Cost, create
    from pipeline.visits import Told, draft

    _environment(lair.home("empty"), lair.cache)
    _stand_in()
    plain = Config(home=lair.home("record"), settings=Settings())
    (folder / "whole.vtt").write_text(VTT)
    ready = stages.shipped_stages(plain)
    draft(folder / "whole.vtt", Told(infant="Wren", age="9 weeks"), plain, ready, today=date(2026, 11, 25))
    export(None, Wish(form="json"), folder / "out", plain, ready)
    shutil.copy(folder / "out" / "record.json", folder / "whole.json")
    for name in SOUNDS:
        (folder / f"whole.{name}").write_bytes(sound(name))
    (folder / "whole.toml").write_text(SETTINGS)
    (folder / "whole.yaml").write_text(OWN_WORDS)
    (folder / "whole.template").write_text(TEMPLATE)
    (plain.home / "settings.toml").write_text(SETTINGS)
    custody.backup(folder / "whole.zip", plain, now=datetime(2026, 11, 25))
    lair.home("empty").mkdir()
    unlocked, _ = create(PASSPHRASE, cost=Cost(memory_kib=64, passes=1, lanes=1))
    lair.home("locked").mkdir()
    unlocked.write(lair.home("locked"))
    (folder / "whole.keys").write_bytes((lair.home("locked") / "keys.json").read_bytes())
    os.environ["HANDSPOKEN_PASSPHRASE"] = PASSPHRASE
    locked = Config(home=lair.home("locked"), settings=Settings())
    draft(folder / "whole.vtt", Told(infant="Wren"), locked, stages.shipped_stages(locked), today=date(2026, 11, 25))
    from pipeline.vault import forget

    forget()
    with contextlib.redirect_stdout(io.StringIO()):
        _command("extract", str(folder / "whole.vtt"))
    return lair


def _command(*args: str) -> None:
    from pipeline.cli import main

    with contextlib.suppress(SystemExit):
        main(args)


def _paper(_path: Path) -> None:
    """The parents' sheet by the person's own template, as the page makes it; errors end as the command line has it."""
    from pipeline.config import load_config
    from pipeline.errors import HandspokenError
    from pipeline.render import printed
    from pipeline.render.papers import Block, Paper

    config = load_config()
    blocks = tuple(Block(title=f"Part {n}", lines=("invented words",) * 3) for n in range(4))
    paper = Paper(kind="parents", title="Invented", practice="", about=(("for", "Wren"),), blocks=blocks, foot="end")
    try:
        printed(paper, "html", config.home / "templates")
    except HandspokenError as error:
        sys.stderr.write(f"handspoken: {error}\n")
        sys.exit(error.exit_code)
    sys.exit(0)


def _main(*before: str) -> Callable[[Path], None]:
    from pipeline.cli import main

    return lambda path: main([*before, str(path)])


def _alone(*args: str) -> Callable[[Path], None]:
    from pipeline.cli import main

    return lambda _path: main(list(args))


def entry(kind: str, seed: int) -> tuple[str, str, Callable[[Path], None]]:
    """The home that a case starts from, where its file lies (under the case's folder), and the command."""
    odd = seed % 2 == 1
    match kind:
        case "vtt":
            return "empty", "in/case.vtt", _main("draft", "--infant", "Wren") if odd else _main("extract")
        case "json":
            return "record" if odd else "empty", "in/case.json", _main("import")
        case "zip":
            return "", "in/case.zip", _main("restore")
        case "toml":
            return "record", "home/settings.toml", _alone("visit", "list")
        case "yaml":
            return "empty", "home/vocab/sites.yaml", _alone("words", "list")
        case "keys":
            return "locked", "home/keys.json", _alone("search", "hips") if odd else _alone("visit", "list")
        case "template":
            return "empty", "home/templates/parents.html.j2", _paper
    return "empty", f"in/case.{kind}", _main("draft") if odd else _main("transcribe")


def run_case(lair: Lair, kind: str, seed: int, data: bytes, done: str) -> Outcome:
    """Run one case in a fork of this process and judge how it ended."""
    base, where, action = entry(kind, seed)
    with tempfile.TemporaryDirectory(dir=lair.folder) as name:
        case = Path(name)
        for folder in ("in", "outside", "tmp"):
            (case / folder).mkdir()
        (case / "outside" / "kept").write_text("kept")
        if base:
            shutil.copytree(lair.home(base), case / "home")
        (case / where).parent.mkdir(parents=True, exist_ok=True)
        (case / where).write_bytes(data)
        pid = os.fork()
        if pid == 0:
            _child(lambda: action(case / where), case, lair)
        status, hung = _waited(pid)
        out, err = ((case / name).read_text(errors="replace") for name in ("out.txt", "err.txt"))
        grown = int((case / "grown.txt").read_text()) if (case / "grown.txt").exists() else 0
        faults = list(_ended(status, hung, err))
        if grown > GROWTH_MB:
            faults.append(f"memory grew by {grown} MB")
        left = {path.relative_to(case).as_posix() for path in case.rglob("*") if not path.is_dir() or path.is_symlink()}
        inside = {path for path in left if not path.startswith(("home/", "home.restoring/"))}
        expected = {"outside/kept", "out.txt", "err.txt", *([where] if where.startswith("in/") else [])}
        if odd := inside - {"grown.txt"} ^ expected:
            faults.append(f"outside its folder: {sorted(odd)[:3]}")
        if "Traceback" in out:
            faults.append("a traceback on stdout")
        code = os.waitstatus_to_exitcode(status)
        lines = [line for line in err.splitlines() if line.strip()]
        said = next((line for line in reversed(lines) if line.startswith("handspoken: ")), lines[-1] if lines else "")
        return Outcome(kind, seed, done, code, said.replace(str(case), "")[:200], grown, tuple(faults))


def _child(action: Callable[[], None], case: Path, lair: Lair) -> None:
    """Never returns."""
    code, before = 70, memory_mb("VmRSS")
    try:
        for name, number in (("out.txt", 1), ("err.txt", 2)):
            handle = os.open(case / name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            os.dup2(handle, number)
        _environment(case / "home", lair.cache)
        os.environ["TMPDIR"] = tempfile.tempdir = str(case / "tmp")
        os.chdir(case)
        resource.setrlimit(resource.RLIMIT_CPU, (CPU_S, CPU_S + 2))
        resource.setrlimit(resource.RLIMIT_FSIZE, (FILE_MB << 20, FILE_MB << 20))
        resource.setrlimit(resource.RLIMIT_AS, (_virtual() + (2 << 30),) * 2)
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        action()
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else 0
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        (case / "grown.txt").write_text(str(memory_mb("VmHWM") - before))
        os._exit(code)


def _virtual() -> int:
    return int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()


def memory_mb(what: str) -> int:
    """What this process holds in memory: VmRSS now, VmHWM at most so far (in a fork, since the fork)."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return int(next(line for line in lines if line.startswith(what)).split()[1]) >> 10


def _waited(pid: int) -> tuple[int, bool]:
    """How a child ended, and whether it had to be ended."""
    until, hung = time.monotonic() + WALL_S, False
    while True:
        found, status = os.waitpid(pid, os.WNOHANG)
        if found:
            return status, hung
        if not hung and time.monotonic() > until:
            os.kill(pid, signal.SIGKILL)
            hung = True
        time.sleep(0.005)


def _ended(status: int, hung: bool, err: str) -> list[str]:
    code = os.waitstatus_to_exitcode(status)
    if hung or code == -signal.SIGXCPU:
        return ["hang"]
    if code < 0:
        return [f"signal {-code}"]
    faults = []
    if "Traceback" in err:
        faults.append("traceback: " + (err.strip().splitlines() or [""])[-1][:160])
    if code not in (0, 1, 3):
        faults.append(f"exit code {code}")
    said = sum(line.startswith("handspoken: ") for line in err.splitlines())
    if code in (1, 3) and said != 1 and not faults:
        faults.append(f"{said} sentences")
    return faults


def run(lair: Lair, seeds: range, only: str | None = None, minutes: float = 1e9) -> list[Outcome]:
    """Every kind in turn; stops when the time is up."""
    corpus = read_corpus(lair.folder)
    kinds = [only] if only else sorted(corpus)
    until, outcomes = time.monotonic() + minutes * 60, []
    for seed in seeds:
        if time.monotonic() > until:
            break
        kind = kinds[seed % len(kinds)]
        done, data = mutant(kind, corpus[kind], seed)
        outcomes.append(run_case(lair, kind, seed, data, done))
    return outcomes


def controls(lair: Lair) -> list[Outcome]:
    """The whole files of the corpus, which must all be taken."""
    corpus = read_corpus(lair.folder)
    return [run_case(lair, kind, seed, data, "whole") for kind, data in corpus.items() for seed in (kind != "json",)]


def report(outcomes: list[Outcome], seconds: float) -> dict[str, object]:
    """Counts by kind, and every case that ended badly."""
    kinds: dict[str, dict[str, object]] = {}
    for kind in sorted({one.kind for one in outcomes}):
        of = [one for one in outcomes if one.kind == kind]
        codes = Counter(str(one.code) for one in of)
        bad = sum(bool(one.faults) for one in of)
        most = max(one.grown_mb for one in of)
        kinds[kind] = {"cases": len(of), "codes": dict(sorted(codes.items())), "bad": bad, "most_grown_mb": most}
    findings = [
        {"kind": one.kind, "seed": one.seed, "done": one.done, "faults": one.faults} for one in outcomes if one.faults
    ]
    return {
        "python": platform.python_version(), "cases": len(outcomes), "seconds": round(seconds),
        "limits": {"growth_mb": GROWTH_MB, "cpu_s": CPU_S, "file_mb": FILE_MB}, "kinds": kinds, "findings": findings,
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=1e9)
    parser.add_argument("--only")
    parser.add_argument("--to", type=Path)
    told = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        lair = prepare(Path(name))
        if bad := [one for one in controls(lair) if one.faults or one.code]:
            sys.exit("\n".join(map(str, bad)))
        start = time.monotonic()
        outcomes = run(lair, range(told.seed, told.seed + told.cases), told.only, told.minutes)
        found = report(outcomes, time.monotonic() - start)
    text = json.dumps(found, indent=1, ensure_ascii=False) + "\n"
    if told.to:
        told.to.write_text(text)
    sys.stdout.write(text)


if __name__ == "__main__":
    main()
