"""Data flows one way: ground <- stages <- the jobs <- the faces. The import rules stand here as data.

A stage (one module or package) imports the ground and itself; only ``stages`` sees all of them; ``run`` and ``visits``
compose.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import pipeline

ROOT = Path(pipeline.__file__).parent

GROUND = {  # part -> the parts of the ground that it stands on
    "errors": set(),
    "model": set(),
    "amounts": set(),
    "resources": set(),
    "safe": {"resources", "times"},
    "patterns": set(),
    "phonemes": set(),
    "prompts": set(),
    "sound": {"phonemes", "resources"},
    "times": set(),
    "ages": {"amounts", "errors", "model"},
    "siblings": {"model", "vocabulary"},
    "commands": {"errors", "model", "phonemes", "resources", "vocabulary"},
    "config": {"errors", "vault"},
    "kept": {"config", "errors", "files"},
    "files": {"errors"},
    "records": {"model"},
    "vault": {"errors", "files"},
    "vocabulary": {"errors", "kept", "model", "phonemes", "resources"},
    "vtt": {"errors", "model"},
    "typed": {"errors", "model"},
}
STAGES = {"audio", "hear", "repair", "extract", "amend", "check", "draft", "record", "render", "export", "store"}
JOBS = {  # part -> what it may use beside the ground
    "stages": STAGES,
    "search": {"store"},
    "due": {"search", "store"},
    "timeline": {"check", "due", "search", "store"},
    "run": {"stages"},
    "visits": {"run", "stages", "store"},
    "batch": {"run", "stages", "store", "visits"},
    "infants": {"stages", "store", "visits"},
    "moves": {"infants", "stages", "store", "visits"},
    "handwritten": {"infants", "stages", "store", "visits"},
    "contacts": {"infants", "store"},
    "custody": {"redaction", "run", "stages", "store"},
    "capture": {"hear", "record", "store", "visits"},
    "relay": {"capture", "record"},
    "live": {"capture", "extract", "hear", "record", "stages", "visits"},
    "exchange": {"export", "redaction", "retention", "run", "stages", "store", "visits"},
    "demo": {"run", "stages", "visits"},
    "ownwords": set(),
    "safekeeping": {"store"},
    "converting": {"capture", "hear", "record", "redaction", "stages", "store", "visits"},
    "review": {"infants", "run", "stages", "store", "visits"},
    "readings": {"infants", "store"},
    "disclosures": {"infants", "moves", "practitioners", "readings", "run", "stages", "store", "visits"},
    "practitioners": {"infants", "safekeeping", "store"},
    "redaction": {"capture", "hear", "infants", "moves", "record", "run", "stages", "store", "visits"},
    "retention": {"infants", "redaction", "run", "stages", "store", "visits"},
    "earlier": {"review", "run", "stages", "store"},
    "doctor": {"hear", "store"},  # asks both how they are
    "speechmodels": {"hear"},
}
FACES = {  # no stage among them: a face parses, calls a job and shows what came back
    "cli": {*JOBS, "show", "web"},
    "show": set(JOBS),
    "web": {*JOBS, "show"},
    "__main__": {"cli"},
}
OWNERS = {  # library -> the only parts that may use it
    "alembic": {"store"},
    "av": {"audio", "record"},
    "cryptography": {"vault"},
    "ctranslate2": {"hear"},
    "faster_whisper": {"hear"},
    "fhir": {"export"},
    "pyarrow": {"export"},
    "simple_icd_10_cm": {"export"},
    "fastapi": {"web"},
    "docx": {"render"},
    "icalendar": {"due"},
    "jinja2": {"render", "safe"},
    "keyring": {"vault"},
    "weasyprint": {"render"},
    "uvicorn": {"web"},
    "sounddevice": {"record"},
    "matplotlib": {"timeline"},
    "sqlalchemy": {"store"},
    "sqlcipher3": {"store"},
    "spacy": {"extract"},
    "typer": {"cli"},
    "webvtt": {"vtt"},
    "yaml": {"vocabulary"},
}
NETWORK = ("ftplib", "http.client", "httpx", "huggingface_hub", "requests", "smtplib", "socket", "urllib.request")


FETCHES = "hear/fetch.py"  # behind a command that asks first


def allowed(part: str) -> set[str]:
    """The parts of ours that a part may import, itself included."""
    if part in GROUND:
        return GROUND[part] | {part}
    beside = set() if part in STAGES else JOBS.get(part, FACES.get(part, set()))
    return set(GROUND) | beside | {part}


def part_of(module: str) -> str:
    """``pipeline.hear.engine`` -> ``hear``; "" for the package itself."""
    return module.split(".")[1] if "." in module else ""


def imports(source: str) -> Iterator[str]:
    """Every module named in an import statement; ``from pipeline import x`` counts as ``pipeline.x``."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written in full"
            assert node.module is not None
            named = (name.name for name in node.names if not name.name.startswith("__"))
            yield from (f"pipeline.{name}" for name in named) if node.module == "pipeline" else (node.module,)


def faults(part: str, source: str) -> list[str]:
    """What in a module of ``part`` breaks the rules."""
    found = []
    for module in imports(source):
        top = module.split(".")[0]
        if top == "pipeline" and part_of(module) not in allowed(part):
            found.append(f"{part} imports {module}")
        if part not in OWNERS.get(top, {part}):
            found.append(f"{part} uses {top}")
        if f"{module}.".startswith(tuple(f"{name}." for name in NETWORK)):
            found.append(f"{part} could reach the network through {module}")
    return found


FILES = sorted(path for path in ROOT.rglob("*.py") if path != ROOT / "__init__.py")


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_module_imports_only_what_its_layer_may(path: Path) -> None:
    part = path.relative_to(ROOT).parts[0].removesuffix(".py")

    found = faults(part, path.read_text(encoding="utf-8"))
    if path.relative_to(ROOT).as_posix() == FETCHES:
        assert found.pop() == "hear could reach the network through huggingface_hub"
    assert found == []


def test_every_part_of_the_program_has_its_layer() -> None:
    parts = {path.relative_to(ROOT).parts[0].removesuffix(".py") for path in FILES}

    assert parts <= {*GROUND, *STAGES, *JOBS, *FACES}


@pytest.mark.parametrize(
    ("part", "source"),
    [
        ("extract", "from pipeline.check import check"),
        ("extract", "def late():\n    from pipeline.check.engine import check"),
        ("draft", "from pipeline import store"),
        ("vtt", "from pipeline.vocabulary import Vocabulary"),
        ("model", "from pipeline.errors import InputError"),
        ("cli", "from pipeline.hear import Hearer"),
        ("run", "from pipeline.cli import main"),
        ("check", "import yaml"),
        ("hear", "import urllib.request"),
    ],
)
def test_a_forbidden_import_is_seen(part: str, source: str) -> None:
    assert faults(part, source) != []


def test_no_module_is_longer_than_four_hundred_lines() -> None:
    long = {str(path.relative_to(ROOT)): n for path in FILES if (n := path.read_text().count("\n")) > 400}

    assert long == {}


RUNS_DATA = ("pickle", "marshal", "shelve", "dill", "joblib", "code", "codeop", "pty", "commands")
RUNS = {"eval", "exec", "compile", "__import__", "execfile"}
RUNS_BELOW = {
    "os": {"system", "popen", "execl", "execv", "execve", "execvp", "execlp", "spawnl", "spawnv", "spawnlp", "spawnvp"},
    "subprocess": {"getoutput", "getstatusoutput"},
    "yaml": {"unsafe_load", "full_load", "unsafe_load_all", "full_load_all", "load_all"},
}


def dangers(source: str) -> list[str]:
    """What would run data as a program: unpickling, evaluation, a shell, YAML that makes objects."""
    found = [module for module in imports(source) if module.split(".")[0] in RUNS_DATA]
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and node.module in RUNS_BELOW:
            found += [name.name for name in node.names if name.name in RUNS_BELOW[node.module]]
        if not isinstance(node, ast.Call):
            continue
        given = {keyword.arg: keyword.value for keyword in node.keywords}
        match node.func:
            case ast.Name(id=name) if name in RUNS:
                found.append(name)
            case ast.Attribute(value=ast.Name(id=module), attr=name) if name in RUNS_BELOW.get(module, ()):
                found.append(f"{module}.{name}")
            case ast.Attribute(value=ast.Name(id="yaml"), attr="load") if not any(
                k.arg == "Loader" for k in node.keywords
            ):
                found.append("yaml.load")
        given = {keyword.arg: keyword.value for keyword in node.keywords}
        for name in {"shell", "allow_pickle"} & given.keys():
            if ast.dump(given[name]) != "Constant(value=False)":
                found.append(name)
    return found


def test_nothing_runs_data_as_a_program() -> None:
    assert {str(path.relative_to(ROOT)): d for path in FILES if (d := dangers(path.read_text(encoding="utf-8")))} == {}


@pytest.mark.parametrize(
    "source",
    [
        "import pickle",
        "from marshal import loads",
        "eval('1')",
        "import os\nos.system('ls')",
        "from os import popen",
        "import subprocess\nsubprocess.run('ls', shell=True)",
        "import subprocess\nsubprocess.getoutput('ls')",
        "import yaml\nyaml.load(text)",
        "import yaml\nyaml.unsafe_load(text)",
        "import numpy\nnumpy.load(path, allow_pickle=True)",
    ],
)
def test_what_would_run_data_is_seen(source: str) -> None:
    assert dangers(source) != []
