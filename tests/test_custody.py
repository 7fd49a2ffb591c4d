"""The record looked after: every damage is found and named."""

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import Ended
from kept import STAGES, blob_of, contents_of, fill, tamper, verify

from pipeline import custody
from pipeline.config import Config, Settings
from pipeline.errors import InputError, NotFoundError, StoreError


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Made once; each test works on a copy."""
    return fill(tmp_path_factory.mktemp("filled"))


@pytest.fixture
def config(filled: Path, tmp_path: Path) -> Config:
    shutil.copytree(filled, tmp_path / "home")
    return Config(home=tmp_path / "home", settings=Settings())


def test_a_sound_record_is_said_to_be_sound_and_left_alone(config: Config) -> None:
    before = contents_of(config.home)

    found = verify(config)

    assert (found.faults, found.sound, found.visits) == ((), True, 2)
    assert before == contents_of(config.home)
    assert verify(config, found.head).sound
    with pytest.raises(NotFoundError, match="no record"):
        verify(Config(home=config.home / "none", settings=Settings()))


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
            "INSERT INTO event SELECT seq + 100, 'X', at, author, infant, visit, type, payload, hash, salt, content, "
            "first_hash FROM event WHERE type = 'signed'",
            "its hash does not follow",
        ),
        (
            'UPDATE event SET salt = \'\', payload = \'{"type": "destroyed", "was": "contact"}\' '
            "WHERE type = 'contact'",
            "its hash does not follow",  # destroyed, and no event says why
        ),
    ],
)
def test_every_change_of_the_database_is_found(statement: str, says: str, config: Config) -> None:
    tamper(config, statement)

    try:
        told = [f"{fault.where}: {fault.what}; {fault.do}" for fault in verify(config).faults if fault.damage]
    except StoreError as error:
        told = [str(error)]

    assert [one for one in told if re.search(says, one)], told


def test_events_dropped_from_the_end_are_found_by_the_head(config: Config) -> None:
    head = verify(config).head
    tamper(config, "DELETE FROM event WHERE type = 'signed'")

    assert verify(config).sound, "without the head, an older record looks like this one"
    (fault,) = (fault for fault in verify(config, head).faults if fault.damage)
    assert "later ones were dropped" in fault.what
    (fault,) = (fault for fault in verify(config, "2:" + "0" * 64).faults if fault.damage)
    assert "not the event that was noted" in fault.what
    for wrong in ("", "x", "1:abc", "-1:" + "0" * 64, "9" * 30 + ":" + "0" * 64):
        with pytest.raises(InputError, match="head"):
            verify(config, wrong)


@pytest.mark.parametrize("kind", ["recording_sealed", "transcript_made", "signed", "contact"])
def test_a_stored_file_that_is_altered_or_gone_is_found(kind: str, config: Config) -> None:
    path = blob_of(config, kind)
    path.write_bytes(path.read_bytes() + b" ")

    faults = verify(config).faults
    told = [fault for fault in faults if fault.where != "drafts"]  # they cannot be made again then
    assert not any(fault.do in fault.what for fault in faults), "what to do is said once"
    assert [fault.where for fault in told if "altered or damaged" in fault.what] == [str(path)]

    path.unlink()
    assert [f.where for f in verify(config).faults if "is missing" in f.what] == [str(path)]


def test_a_file_that_nothing_names_is_told_and_no_damage(config: Config) -> None:
    left = config.blobs / "ab" / ("ab" * 32)
    left.parent.mkdir(exist_ok=True)
    left.write_bytes(b"left over")

    found = verify(config)

    assert (found.sound, [fault.where for fault in found.faults]) == (True, [str(left)])


def test_a_draft_of_another_program_is_told_and_no_damage(config: Config) -> None:
    tamper(config, "UPDATE run SET basis = 'other'", "UPDATE line SET text = 'as another program words it'")

    found = verify(config)

    assert found.sound
    assert {"its draft was made by another program, vocabulary or setting"} == {fault.what for fault in found.faults}
    custody.rebuild(config, STAGES)
    assert verify(config).faults == ()


def test_the_commands_say_what_is_damaged(config: Config, handspoken: Callable[..., Ended], tmp_path: Path) -> None:
    """With the real stages; the plain ones above drafted otherwise, so all is drafted again first."""
    assert handspoken("rebuild").code == 0
    assert handspoken("verify").out.splitlines()[-2] == "All is sound."
    assert handspoken("backup", tmp_path / "b.zip").code == 0
    blob_of(config, "contact").unlink()

    ended = handspoken("verify")

    assert (ended.code, ended.out.count("! ")) == (1, 1)
    shutil.rmtree(config.home)
    assert handspoken("restore", tmp_path / "b.zip").code == 0
    assert handspoken("verify", "--json").code == 0
