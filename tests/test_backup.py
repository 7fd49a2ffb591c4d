"""A backup comes back whole or not at all."""

import hashlib
import os
import shutil
import signal
import stat
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from invented import files_limited_to
from kept import NOW, STAGES, blob_of, contents_of, fill, verify

from pipeline import custody
from pipeline.config import Config, Settings
from pipeline.errors import HandspokenError, InputError, StoreError
from pipeline.store.bag import NAME, write_bag


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Made once; each test works on a copy."""
    return fill(tmp_path_factory.mktemp("filled"))


@pytest.fixture
def config(filled: Path, tmp_path: Path) -> Config:
    shutil.copytree(filled, tmp_path / "home")
    return Config(home=tmp_path / "home", settings=Settings())


def _restore(bag: Path, config: Config) -> None:
    custody.restore(bag, config, step=lambda _what: None)


@pytest.fixture
def bag(config: Config, tmp_path: Path) -> Path:
    """A backup, and the place of the record empty."""
    custody.backup(tmp_path / "b.zip", config, now=NOW)
    shutil.rmtree(config.home)
    return tmp_path / "b.zip"


def test_a_backup_comes_back_as_it_was(config: Config, tmp_path: Path) -> None:
    before = contents_of(config.home)
    (config.home / ".hidden").write_text("no part of it")
    (config.home / "link").symlink_to("/etc/passwd")

    made = custody.backup(tmp_path / "b.zip", config, now=NOW)
    shutil.rmtree(config.home)
    _restore(tmp_path / "b.zip", config)

    assert before == contents_of(config.home)
    assert verify(config, made.head).faults == ()
    assert stat.S_IMODE((tmp_path / "b.zip").stat().st_mode) == 0o600
    for path in [config.home, *config.home.rglob("*")]:
        assert stat.S_IMODE(path.stat().st_mode) == (0o700 if path.is_dir() else 0o600), path
    assert not list(tmp_path.glob("*.restoring"))


def test_a_backup_is_an_open_container_that_others_can_check(bag: Path) -> None:
    with zipfile.ZipFile(bag) as archive:
        manifest = archive.read(f"{NAME}/manifest-sha256.txt").decode().splitlines()
        for digest, name in (line.split("  ") for line in manifest):
            assert hashlib.sha256(archive.read(f"{NAME}/{name}")).hexdigest() == digest
        payload = {name for name in archive.namelist() if "/data/" in name}
        assert archive.read(f"{NAME}/bagit.txt").startswith(b"BagIt-Version: 1.0\n")

    assert payload == {f"{NAME}/{line[66:]}" for line in manifest}


WRITER = """
import sys
from datetime import date
from pathlib import Path
from pipeline.config import Config, Settings
from pipeline.contacts import add
config, file = Config(home=Path(sys.argv[1]), settings=Settings()), Path(sys.argv[2])
for n in range(25):
    file.write_text(f"page {n}")
    add("wren", "report", f"report {n}", config, today=date(2026, 11, 25), files=[file])
"""


def test_a_backup_in_use_is_of_one_moment(config: Config, tmp_path: Path) -> None:
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(config.home), str(tmp_path / "page")], env=os.environ | {"PYTHONPATH": "."}
    )
    bags: list[Path] = []
    while writer.poll() is None or not bags:
        bags.append(custody.backup(tmp_path / f"{len(bags)}.zip", config, now=NOW).to)
    assert writer.wait() == 0
    assert verify(config).faults == ()

    for n, made in enumerate(bags[:4]):
        place = Config(home=tmp_path / f"home{n}", settings=Settings())
        _restore(made, place)
        assert verify(place).faults == ()


def test_a_record_without_its_sound_is_backed_up_and_restored(config: Config, tmp_path: Path) -> None:
    """As after an import without sound: told, but no reason to lose the rest."""
    blob_of(config, "recording_sealed").unlink()

    made = custody.backup(tmp_path / "b.zip", config, now=NOW)
    shutil.rmtree(config.home)
    _restore(made.to, config)

    assert made.without_sound == 1
    assert [fault.no_sound for fault in verify(config).faults] == [True]
    assert not verify(config).sound


def test_nothing_is_overwritten(config: Config, bag: Path, tmp_path: Path) -> None:
    _restore(bag, config)
    before = contents_of(config.home)

    with pytest.raises(InputError, match="overwrites nothing"):
        _restore(bag, config)
    with pytest.raises(InputError, match="there already"):
        custody.backup(bag, config, now=NOW)
    with pytest.raises(InputError, match="inside the record's own folder"):
        custody.backup(config.home / "b.zip", config, now=NOW)
    with pytest.raises(InputError, match="no folder"):
        custody.backup(tmp_path / "none" / "b.zip", config, now=NOW)
    with pytest.raises(InputError, match="no file"):
        _restore(tmp_path, config)

    assert before == contents_of(config.home)


@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.9, 0.999])
def test_a_backup_that_is_cut_off_is_refused(share: float, bag: Path, config: Config) -> None:
    bag.write_bytes(bag.read_bytes()[: int(bag.stat().st_size * share)])

    _refused(bag, config, "another backup|nothing was restored|no backup")


@pytest.mark.parametrize("share", [n / 12 for n in range(12)])
def test_a_flipped_bit_is_found(share: float, bag: Path, config: Config) -> None:
    data = bytearray(bag.read_bytes())
    data[int(len(data) * share) + 200] ^= 4
    bag.write_bytes(data)

    _refused(bag, config, "another backup|nothing was restored|no backup")


def _refused(bag: Path, config: Config, says: str) -> None:
    """One clear line, and nothing left behind."""
    with pytest.raises(HandspokenError, match=says) as refused:
        _restore(bag, config)
    assert "\n" not in str(refused.value)
    assert not config.home.exists()
    assert list(bag.parent.glob("*restoring*")) == []


def _hostile(
    bag: Path,
    change: Callable[[dict[str, bytes]], object] | None = None,
    *,
    name: str = "",
    attr: int = 0,
    packed: int = zipfile.ZIP_STORED,
) -> None:
    """The backup written anew with other contents, or with one more entry."""
    with zipfile.ZipFile(bag) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    if change:
        change(files)
    with zipfile.ZipFile(bag, "w") as archive:
        for there, data in files.items():
            archive.writestr(there, data)
        if name:
            info = zipfile.ZipInfo(name)
            info.external_attr = attr << 16
            archive.writestr(info, b"x" * 200, compress_type=packed)


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        ({"name": "/etc/evil"}, "no backup of this program holds"),
        ({"name": f"{NAME}/../evil"}, "no backup of this program holds"),
        ({"name": f"{NAME}/data/../../evil"}, "no backup of this program holds"),
        ({"name": f"{NAME}/data//evil"}, "no backup of this program holds"),
        ({"name": f"{NAME}/data/a\\b"}, "no backup of this program holds"),
        ({"name": f"{NAME}/data/c:evil"}, "no backup of this program holds"),
        ({"name": f"{NAME}/data/\u202eevil"}, "no backup of this program holds"),
        ({"name": f"{NAME}/data/folder/"}, "no backup of this program holds"),
        ({"name": f"{NAME}/data/link", "attr": 0o120777}, "no backup of this program holds"),
        ({"name": f"{NAME}/data/device", "attr": 0o020666}, "no backup of this program holds"),
        ({"name": "elsewhere/data/x"}, "no backup of this program holds"),
        ({"name": f"{NAME}/data/bomb", "packed": zipfile.ZIP_DEFLATED}, "is packed"),
        ({"name": f"{NAME}/data/bomb", "packed": zipfile.ZIP_LZMA}, "is packed"),
        ({"name": f"{NAME}/data/extra"}, "manifest alone"),
    ],
)
def test_an_entry_that_no_backup_holds_is_refused(entry: dict[str, Any], says: str, bag: Path, config: Config) -> None:
    _hostile(bag, **entry)

    _refused(bag, config, says)


@pytest.mark.filterwarnings("ignore:Duplicate name:UserWarning")
def test_a_doubled_entry_is_refused(bag: Path, config: Config) -> None:
    _hostile(bag, name=f"{NAME}/data/record.db")

    _refused(bag, config, "in it twice")


def _db(files: dict[str, bytes], data: bytes) -> None:
    name = f"{NAME}/data/record.db"
    line = hashlib.sha256(files[name]).hexdigest().encode()
    manifest = f"{NAME}/manifest-sha256.txt"
    files[manifest] = files[manifest].replace(line, hashlib.sha256(data).hexdigest().encode())
    files[name] = data


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda files: files.pop(f"{NAME}/manifest-sha256.txt"), "missing or too large"),
        (lambda files: files.pop(f"{NAME}/bagit.txt"), "missing or too large"),
        (lambda files: files.pop(f"{NAME}/data/record.db"), "manifest alone"),
        (lambda files: files.update({f"{NAME}/bagit.txt": b"x"}), "no backup"),
        (lambda files: files.update({f"{NAME}/manifest-sha256.txt": b"x"}), "manifest is damaged"),
        (lambda files: files.update({f"{NAME}/manifest-sha256.txt": b"\xff"}), "no backup"),
        (lambda files: files.update({f"{NAME}/data/settings.toml": b"evil"}), "not what the manifest says"),
        (lambda files: _db(files, b"no database"), "restore a backup"),
        (lambda files: _db(files, b""), "none|event|stored|ends at|restore"),
    ],
)
def test_contents_that_are_not_what_they_claim_are_refused(
    change: Callable[[dict[str, bytes]], object], says: str, bag: Path, config: Config
) -> None:
    _hostile(bag, change)

    _refused(bag, config, says)


def test_a_backup_that_claims_more_than_its_size_is_refused(bag: Path, config: Config) -> None:
    """Overlapping entries: many names for one stretch of the archive."""
    with zipfile.ZipFile(bag, "a") as archive:
        first = archive.infolist()[0]
        for n in range(40):
            twin = zipfile.ZipInfo(f"{NAME}/data/overlap{n}")
            twin.header_offset, twin.CRC = 0, first.CRC
            twin.file_size = twin.compress_size = first.file_size
            archive.filelist.append(twin)
            archive.NameToInfo[twin.filename] = twin
        vars(archive)["_didModify"] = True

    _refused(bag, config, "more than its own size|overlap|damaged")


@pytest.mark.parametrize("size", [1000, 100_000])
def test_a_full_disk_leaves_no_backup_and_no_record(size: int, config: Config, tmp_path: Path) -> None:
    before = contents_of(config.home)
    with pytest.raises(StoreError), files_limited_to(size):
        custody.backup(tmp_path / "b.zip", config, now=NOW)
    assert before == contents_of(config.home)
    assert {"home"} == {path.name for path in tmp_path.iterdir()}

    custody.backup(tmp_path / "b.zip", config, now=NOW)
    shutil.rmtree(config.home)
    with pytest.raises(StoreError), files_limited_to(size):
        _restore(tmp_path / "b.zip", config)
    assert {"b.zip"} == {path.name for path in tmp_path.iterdir()}


KILLED = """
import os, signal, sys
from datetime import datetime
from pathlib import Path
from pipeline import custody, files
from pipeline.config import Config, Settings
from pipeline.store import bag
config, at = Config(home=Path(sys.argv[2]), settings=Settings()), int(sys.argv[4])
calls = 0
def dies(*args, **more):
    global calls
    calls += 1
    if calls == at:
        os.kill(os.getpid(), signal.SIGKILL)
    return kept(*args, **more)
if sys.argv[1] == "backup":
    kept, bag.blocks_of = bag.blocks_of, dies
    custody.backup(Path(sys.argv[3]), config, now=datetime(2026, 11, 25))
else:
    kept, bag.write_atomic = bag.write_atomic, dies
    custody.restore(Path(sys.argv[3]), config, step=lambda what: None)
"""


def _killed(what: str, config: Config, bag: Path, at: int) -> None:
    args = [sys.executable, "-c", KILLED, what, str(config.home), str(bag), str(at)]
    assert subprocess.run(args, env=os.environ | {"PYTHONPATH": "."}, check=False).returncode == -signal.SIGKILL


def test_what_was_killed_half_way_is_not_taken_for_whole(config: Config, tmp_path: Path) -> None:
    bag = tmp_path / "b.zip"
    _killed("backup", config, bag, 3)
    assert not bag.exists()
    custody.backup(bag, config, now=NOW)
    assert verify(config).sound
    shutil.rmtree(config.home)

    _killed("restore", config, bag, 3)

    assert not config.home.exists()
    with pytest.raises(InputError, match="broken off"):
        _restore(bag, config)
    shutil.rmtree(tmp_path / "home.restoring")
    _restore(bag, config)
    assert verify(config).faults == ()


def test_an_older_record_is_brought_up_to_date(tmp_path: Path) -> None:
    """A backup of an earlier revision (packed here by hand) is migrated when it comes back."""
    with zipfile.ZipFile(Path(__file__).parent / "records" / "0001.zip") as old:
        old.extractall(tmp_path / "old")
    files = [(p.relative_to(tmp_path / "old").as_posix(), p) for p in (tmp_path / "old").rglob("*") if p.is_file()]
    write_bag(tmp_path / "b.zip", files, {})
    config = Config(home=tmp_path / "home", settings=Settings())

    _restore(tmp_path / "b.zip", config)

    custody.rebuild(config, STAGES)
    assert verify(config).faults == ()
