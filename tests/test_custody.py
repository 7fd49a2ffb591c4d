"""The record looked after: every damage is found and named; a backup comes back whole or not at all."""

import hashlib
import os
import re
import shutil
import signal
import sqlite3
import stat
import subprocess
import sys
import zipfile
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from conftest import Ended, _spoken
from invented import PlainStages, files_limited_to

from pipeline import contacts, custody, infants, moves
from pipeline.config import Config, Settings
from pipeline.errors import HandspokenError, InputError, NotFoundError, StoreError
from pipeline.infants import Facts
from pipeline.store import Store
from pipeline.store.bag import NAME, write_bag
from pipeline.store.events import Signed
from pipeline.store.verify import Verified
from pipeline.visits import Told, draft

NOW = datetime(2026, 11, 25, 18, 40)
TODAY = date(2026, 11, 25)
STAGES = PlainStages(_spoken)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record with a bit of everything, made once; each test works on a copy."""
    folder = tmp_path_factory.mktemp("filled")
    config, sound = Config(home=folder / "home", settings=Settings()), folder / "visit.opus"
    for name in ("wren", "robin"):
        infants.add(Facts(code_name=name), config, today=TODAY)
    sound.write_text("Hips, no clunk. Now her brother. A clunk.")
    visit = draft(sound, Told(infant="wren"), config, STAGES, today=TODAY)
    moves.give_stretches(visit.record.visit, ["0-1.5=wren", "3-end=robin"], config, STAGES)
    sound.write_text("A report that came.")
    contacts.add("robin", "report", "hips normal", config, today=TODAY, files=[sound])
    with Store(config.home) as store, store.writing() as unit:
        note = unit.blobs.keep(visit.drafted.note.model_dump_json().encode())
        page = unit.blobs.keep(b"a signed page")
        signed = Signed(note=note, renderings={"note.html": page}, signer="x", program="0", vocab_hash="")
        unit.append(signed, visit=visit.record.visit)
    (config.home / "settings.toml").write_text('jurisdiction = "allowed"\n')
    return folder / "home"


@pytest.fixture
def config(filled: Path, tmp_path: Path) -> Config:
    shutil.copytree(filled, tmp_path / "home")
    return Config(home=tmp_path / "home", settings=Settings())


def _verify(config: Config, head: str | None = None) -> Verified:
    return custody.verify(config, STAGES, head=head, step=lambda _what: None)


def _contents(folder: Path) -> dict[str, bytes]:
    """Every file by path; the database as its rows, for its file may differ without meaning."""
    files = {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in folder.rglob("*")
        if p.is_file() and not p.name.startswith("record.db")
    }
    if (folder / "record.db").exists():
        db = sqlite3.connect(folder / "record.db")
        files["rows"] = "\n".join(line for line in db.iterdump() if "fts" not in line).encode()
        db.close()
    return files


def _tamper(config: Config, *statements: str) -> None:
    """Change the database as another tool would, guards taken away."""
    db = sqlite3.connect(config.home / "record.db")
    for statement in ("DROP TRIGGER event_kept", "DROP TRIGGER event_unchanged", *statements):
        db.execute(statement)
    db.commit()
    db.close()


def _blob(config: Config, kind: str) -> Path:
    """The blob of the first event of this kind."""
    keys = {"recording_sealed": "$.recording.sha256", "signed": "$.note", "contact": "$.files[0].sha256"}
    db = sqlite3.connect(config.home / "record.db")
    query = "SELECT json_extract(payload, ?) FROM event WHERE type = ?"
    sha256 = str(db.execute(query, (keys.get(kind, "$.sha256"), kind)).fetchone()[0])
    db.close()
    return config.blobs / sha256[:2] / sha256


# ---------------------------------------------------------------- verify


def test_a_sound_record_is_said_to_be_sound_and_left_alone(config: Config) -> None:
    before = _contents(config.home)

    found = _verify(config)

    assert (found.faults, found.sound, found.visits) == ((), True, 2)
    assert before == _contents(config.home)
    assert _verify(config, found.head).sound
    with pytest.raises(NotFoundError, match="no record"):
        _verify(Config(home=config.home / "none", settings=Settings()))


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        ("UPDATE item SET result = 'normal'", "item is not what the events"),
        ("UPDATE infant SET born = '2026-01-01'", "infant is not what the events"),
        ("UPDATE visit SET infant = (SELECT max(id) FROM infant)", "visit is not what the events"),
        ("UPDATE visit SET stretches = NULL", "is not what the events"),
        ("DELETE FROM contact", "contact is not what the events"),
        ("DELETE FROM line", "is not what the events|points to nothing"),
        ("UPDATE passage_fts_data SET block = x'00'", "search index|malformed|database"),
        ("INSERT INTO passage_fts(passage_fts, rowid, text) VALUES ('delete', 1, 'Hips, no clunk.')", "search index"),
        ("UPDATE event SET payload = json_set(payload, '$.infant.sex', 'male') WHERE seq = 1", "altered"),
        ("UPDATE event SET at = '2020-01-01T00:00:00Z' WHERE seq = 3", "event 3: its hash"),
        ("UPDATE event SET payload = '{' WHERE seq = 3", "event 3: "),
        ("UPDATE event SET payload = json_set(payload, '$.type', 'x') WHERE seq = 2", "event 2: "),
        ("UPDATE event SET type = 'addendum' WHERE seq = 2", "event 2 says that it is addendum"),
        ("DELETE FROM event WHERE seq = 2", "event 3: its hash"),
        (
            "INSERT INTO event SELECT seq + 100, 'X', at, author, infant, visit, type, payload, hash FROM event "
            "WHERE type = 'signed'",
            "its hash does not follow",
        ),
    ],
)
def test_every_change_of_the_database_is_found(statement: str, says: str, config: Config) -> None:
    _tamper(config, statement)

    try:
        told = [f"{fault.where}: {fault.what}; {fault.do}" for fault in _verify(config).faults if fault.damage]
    except StoreError as error:
        told = [str(error)]

    assert [one for one in told if re.search(says, one)], told


def test_events_dropped_from_the_end_are_found_by_the_head(config: Config) -> None:
    head = _verify(config).head
    _tamper(config, "DELETE FROM event WHERE type = 'signed'")

    assert _verify(config).sound, "without the head, an older record looks like this one"
    (fault,) = (fault for fault in _verify(config, head).faults if fault.damage)
    assert "later ones were dropped" in fault.what
    (fault,) = (fault for fault in _verify(config, "2:" + "0" * 64).faults if fault.damage)
    assert "not the event that was noted" in fault.what
    for wrong in ("", "x", "1:abc", "-1:" + "0" * 64, "9" * 30 + ":" + "0" * 64):
        with pytest.raises(InputError, match="head"):
            _verify(config, wrong)


@pytest.mark.parametrize("kind", ["recording_sealed", "transcript_made", "signed", "contact"])
def test_a_stored_file_that_is_altered_or_gone_is_found(kind: str, config: Config) -> None:
    path = _blob(config, kind)
    path.write_bytes(path.read_bytes() + b" ")

    told = [fault for fault in _verify(config).faults if fault.where != "drafts"]  # they cannot be made again then
    assert [fault.where for fault in told if "altered or damaged" in fault.what] == [str(path)]

    path.unlink()
    assert [f.where for f in _verify(config).faults if "is missing" in f.what] == [str(path)]


def test_a_file_that_nothing_names_is_told_and_no_damage(config: Config) -> None:
    left = config.blobs / "ab" / ("ab" * 32)
    left.parent.mkdir(exist_ok=True)
    left.write_bytes(b"left over")

    found = _verify(config)

    assert (found.sound, [fault.where for fault in found.faults]) == (True, [str(left)])


def test_a_draft_of_another_program_is_told_and_no_damage(config: Config) -> None:
    _tamper(config, "UPDATE run SET basis = 'other'", "UPDATE line SET text = 'as another program words it'")

    found = _verify(config)

    assert found.sound
    assert {"its draft was made by another program, vocabulary or setting"} == {fault.what for fault in found.faults}
    custody.rebuild(config, STAGES)
    assert _verify(config).faults == ()


def test_the_commands_say_what_is_damaged(config: Config, handspoken: Callable[..., Ended], tmp_path: Path) -> None:
    """With the real stages; the plain ones above drafted otherwise, so all is drafted again first."""
    assert handspoken("rebuild").code == 0
    assert handspoken("verify").out.splitlines()[-2] == "All is sound."
    assert handspoken("backup", tmp_path / "b.zip").code == 0
    _blob(config, "contact").unlink()

    ended = handspoken("verify")

    assert (ended.code, ended.out.count("! ")) == (1, 1)
    shutil.rmtree(config.home)
    assert handspoken("restore", tmp_path / "b.zip").code == 0
    assert handspoken("verify", "--json").code == 0


# ---------------------------------------------------------------- backup and restore


def _restore(bag: Path, config: Config) -> None:
    custody.restore(bag, config, step=lambda _what: None)


@pytest.fixture
def bag(config: Config, tmp_path: Path) -> Path:
    """A backup, and the place of the record empty."""
    custody.backup(tmp_path / "b.zip", config, now=NOW)
    shutil.rmtree(config.home)
    return tmp_path / "b.zip"


def test_a_backup_comes_back_as_it_was(config: Config, tmp_path: Path) -> None:
    before = _contents(config.home)
    (config.home / ".hidden").write_text("no part of it")
    (config.home / "link").symlink_to("/etc/passwd")

    made = custody.backup(tmp_path / "b.zip", config, now=NOW)
    shutil.rmtree(config.home)
    _restore(tmp_path / "b.zip", config)

    assert before == _contents(config.home)
    assert _verify(config, made.head).faults == ()
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
    assert _verify(config).faults == ()

    for n, made in enumerate(bags[:4]):
        place = Config(home=tmp_path / f"home{n}", settings=Settings())
        _restore(made, place)
        assert _verify(place).faults == ()


def test_a_record_without_its_sound_is_backed_up_and_restored(config: Config, tmp_path: Path) -> None:
    """As after an import without sound: told, but no reason to lose the rest."""
    _blob(config, "recording_sealed").unlink()

    made = custody.backup(tmp_path / "b.zip", config, now=NOW)
    shutil.rmtree(config.home)
    _restore(made.to, config)

    assert made.without_sound == 1
    assert [fault.no_sound for fault in _verify(config).faults] == [True]
    assert not _verify(config).sound


def test_nothing_is_overwritten(config: Config, bag: Path, tmp_path: Path) -> None:
    _restore(bag, config)
    before = _contents(config.home)

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

    assert before == _contents(config.home)


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
    before = _contents(config.home)
    with pytest.raises(StoreError), files_limited_to(size):
        custody.backup(tmp_path / "b.zip", config, now=NOW)
    assert before == _contents(config.home)
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
    assert _verify(config).sound
    shutil.rmtree(config.home)

    _killed("restore", config, bag, 3)

    assert not config.home.exists()
    with pytest.raises(InputError, match="broken off"):
        _restore(bag, config)
    shutil.rmtree(tmp_path / "home.restoring")
    _restore(bag, config)
    assert _verify(config).faults == ()


def test_an_older_record_is_brought_up_to_date(tmp_path: Path) -> None:
    """A backup of an earlier revision (packed here by hand) is migrated when it comes back."""
    with zipfile.ZipFile(Path(__file__).parent / "records" / "0001.zip") as old:
        old.extractall(tmp_path / "old")
    files = [(p.relative_to(tmp_path / "old").as_posix(), p) for p in (tmp_path / "old").rglob("*") if p.is_file()]
    write_bag(tmp_path / "b.zip", files, {})
    config = Config(home=tmp_path / "home", settings=Settings())

    _restore(tmp_path / "b.zip", config)

    custody.rebuild(config, STAGES)
    assert _verify(config).faults == ()
