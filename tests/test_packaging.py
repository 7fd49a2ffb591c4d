"""What is built is what is used: the data folders are packed, once, and found from anywhere."""

import re
import subprocess
import sys
import tomllib
import zipfile
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import pipeline

ROOT = Path(pipeline.__file__).resolve().parent.parent
PACKED = ("vocab", "templates", "samples")


def files_of(folder: Path) -> set[str]:
    """Every file under a folder that git would keep, as a path from the repository's root."""
    return {
        path.relative_to(ROOT).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built with the environment's own hatchling."""
    to = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-build-isolation", "--no-index", "-q", "-w", to, ROOT],
        check=True,
        capture_output=True,
    )
    (built,) = to.glob("*.whl")
    return built


def test_a_checkout_holds_no_packed_copy() -> None:
    assert not (ROOT / "pipeline" / "_data").exists(), "pipeline/_data would win over the live folders: delete it"


def test_the_wheel_holds_every_data_file(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())

    expected = {f"pipeline/_data/{name}" for folder in PACKED for name in files_of(ROOT / folder)}
    assert expected
    assert expected <= names


def test_the_wheel_holds_the_whole_package_and_nothing_at_the_top(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())

    assert files_of(ROOT / "pipeline") <= names
    assert {name.split("/")[0] for name in names} == {"pipeline", f"handspoken-{pipeline.__version__}.dist-info"}


def test_the_wheel_carries_the_licence_and_the_command(wheel: Path) -> None:
    archive = zipfile.ZipFile(wheel)
    base = f"handspoken-{pipeline.__version__}.dist-info"

    assert archive.read(f"{base}/licenses/LICENSE") == (ROOT / "LICENSE").read_bytes()
    assert b"handspoken = pipeline.cli:main" in archive.read(f"{base}/entry_points.txt")


def test_the_versions_agree() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]

    assert project["version"] == pipeline.__version__
    assert f"## {pipeline.__version__}" in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def test_every_locked_package_has_a_version_and_a_hash_and_no_place() -> None:
    lines = (ROOT / "requirements.lock").read_text(encoding="utf-8").splitlines()
    code = [line for line in lines if line.strip() and not line.strip().startswith("#")]
    requirements = [line for line in code if not line.startswith(" ")]

    assert all("==" in line for line in requirements)
    assert all(line.startswith("    --hash=sha256:") for line in code if line not in requirements)
    assert not [line for line in lines if "://" in line or "index-url" in line]
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["dev"]]
    locked = {line.split("==")[0] for line in requirements}
    assert {name.split(">")[0].split("=")[0] for name in wanted} <= locked


COPYLEFT = re.compile(r"(?<![A-Z])A?GPL|(?<!Lesser )General Public License|Affero")
CHOICE = {"pyphen": "LGPL 2.1 or MPL 1.1 may be taken instead of the GPL"}


def at_run_time() -> set[str]:
    """The packages that a user needs, by the requirements of those that are installed; developers' extras left out."""
    seen: set[tuple[str, frozenset[str]]] = set()
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    waiting = [(Requirement(one), {""}) for one in project["dependencies"]]  # each with the extras that ask for it
    while waiting:
        wanted, extras = waiting.pop()
        if wanted.marker is not None and not any(wanted.marker.evaluate({"extra": extra}) for extra in extras):
            continue
        key = (canonicalize_name(wanted.name), frozenset({"", *wanted.extras}))
        if key not in seen:
            seen.add(key)
            waiting += [(Requirement(one), set(key[1])) for one in metadata.requires(key[0]) or ()]
    return {name for name, _ in seen}


def licences(name: str) -> str:
    """What a package's metadata says of its licence."""
    told = metadata.metadata(name)
    classified = [one for one in told.get_all("Classifier") or () if one.startswith("License")]
    named = [*(told.get_all("License-Expression") or ()), *(one[:200] for one in told.get_all("License") or ())]
    return " | ".join([*named, *classified])


def test_nothing_a_user_needs_is_under_the_gpl() -> None:
    needed = at_run_time()

    assert {"jinja2", "weasyprint", "pyphen", "numpy"} <= needed
    assert "rcpchgrowth" not in needed
    assert COPYLEFT.search(licences("rcpchgrowth"))  # for developers alone, and a test that the look finds one
    assert {name for name in needed if COPYLEFT.search(licences(name))} == set(CHOICE)
    assert "LGPL" in licences("pyphen")
