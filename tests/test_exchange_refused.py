"""Record files that are broken, hostile or do not fit: refused with one sentence, and nothing is changed."""

import hashlib
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from exchanging import Spoken, derived, elsewhere, make_record, out
from invented import PlainStages, infant

from pipeline.config import Config, Settings
from pipeline.errors import HandspokenError, InputError
from pipeline.exchange import import_file
from pipeline.model import Note, Transcript
from pipeline.stages import Copy
from pipeline.store import Store, transfer
from pipeline.store.events import (
    InfantEntered,
)


@pytest.fixture(scope="module")
def stages(spoken: Spoken) -> PlainStages:
    return PlainStages(spoken)


@pytest.fixture(scope="module")
def made(stages: PlainStages, spoken: Spoken, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """The home of a record with something of every kind, and what a test wants to name of it."""
    home = tmp_path_factory.mktemp("made") / "home"
    return home, make_record(home, stages, spoken)


@pytest.fixture
def config(made: tuple[Path, dict[str, Any]], tmp_path: Path) -> Config:
    """A copy of that record."""
    shutil.copytree(made[0], tmp_path / "home")
    return Config(home=tmp_path / "home", settings=Settings())


@pytest.fixture
def kept(made: tuple[Path, dict[str, Any]]) -> dict[str, Any]:
    """What a test wants to name of the record."""
    return made[1]


@pytest.fixture
def told(config: Config, stages: PlainStages, tmp_path: Path) -> dict[str, Any]:
    """The record file as data."""
    out(config, stages, tmp_path / "good")
    return dict(json.loads((tmp_path / "good" / "record.json").read_text()))


def at(told: dict[str, Any], kind: str) -> dict[str, Any]:
    """The first event of a kind."""
    return next(event for event in told["events"] if event["payload"]["type"] == kind)


def inside(told: dict[str, Any], kind: str) -> dict[str, Any]:
    """The file that the first event of a kind names."""
    sha256 = at(told, kind)["payload"]["sha256"]
    return next(file for file in told["files"] if file["sha256"] == sha256)


def put_words(told: dict[str, Any], **changes: Any) -> None:
    """Another transcript, its hash put right everywhere."""
    file = inside(told, "transcript_made")
    text = json.dumps(json.loads(file["text"]) | changes)
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    at(told, "transcript_made")["payload"]["sha256"] = file["sha256"] = sha256
    file["text"] = text


BROKEN: dict[str, tuple[Callable[[dict[str, Any]], object], str]] = {
    "no format": (lambda t: t.pop("format"), "no record file of this program"),
    "a newer version": (lambda t: t.update(version=2), "is of version 2, this program reads version 1; update"),
    "a version that is none": (lambda t: t.update(version=[1]), "is of version"),
    "an unknown field": (lambda t: t.update(more=1), "more: "),
    "an unknown kind": (lambda t: at(t, "consent")["payload"].update(type="spell"), "consent"),
    "an altered file": (lambda t: inside(t, "transcript_made").update(text="{}"), "is damaged (its hash is another)"),
    "no base64": (lambda t: t["files"][0].update(text=None, base64="!"), "base64"),
    "a file that is missing": (lambda t: t["files"].remove(inside(t, "transcript_made")), "is not in it"),
    "a file left out": (lambda t: inside(t, "transcript_made").pop("text"), "is not in it"),
    "a file twice": (lambda t: t["files"].append(t["files"][0]), "stands twice"),
    "an event twice": (lambda t: t["events"].append(t["events"][0]), "stands twice"),
    "an id that is a path": (lambda t: at(t, "visit_opened").update(visit="../../../../../../etc/xyz"), "visit: "),
    "a hash that is a path": (lambda t: t["files"][0].update(sha256="../x"), "sha256: "),
    "an infant id that is a path": (lambda t: at(t, "infant_entered")["payload"]["infant"].update(id="../../x"),
                                    "cannot be one"),
    "a name of control characters": (lambda t: at(t, "infant_entered")["payload"]["infant"].update(code_name="a\x1b"),
                                     "cannot be one"),
    "a name too long": (lambda t: at(t, "infant_entered")["payload"]["infant"].update(code_name="a" * 81),
                        "cannot be one"),
    "an infant that is not there": (lambda t: t["events"].remove(at(t, "infant_entered")), "does not fit the record"),
    "a visit that is not there": (lambda t: t["events"].remove(at(t, "visit_opened")), "its visit was not opened"),
    "another visit opened": (lambda t: at(t, "visit_opened")["payload"].update(visit="0" * 26), "opens another visit"),
    "a visit opened twice": (lambda t: t["events"].append(at(t, "visit_opened") | {"id": "0" * 26}),
                             "does not fit the record"),
    "a signed file whose name is a path": (lambda t: at(t, "signed")["payload"]["renderings"].update(
        {"../../x": t["files"][0]["sha256"]}), "no plain name"),
    "a time without a zone": (lambda t: at(t, "consent").update(at="2026-11-25T10:00:00"), "at: "),
    "a day that is none": (lambda t: at(t, "visit_opened")["payload"].update(day="yesterday"), "day: "),
    "utterances beyond the words": (lambda t: put_words(t, utterances=[[0, 10**9]]), "do not follow each other"),
    "utterances with a gap": (lambda t: put_words(t, utterances=[[1, 3]]), "do not follow each other"),
    "no transcript": (lambda t: put_words(t, words=7), "not of this program's form"),
    "words that are miscounted": (lambda t: put_words(t, words=[{"i": 7, "text": "a", "start_ms": 0, "end_ms": 1}],
                                                      utterances=[[0, 1]]), "not counted from 0"),
    "words that end too early": (lambda t: put_words(t, words=[{"i": 0, "text": "a", "start_ms": 9, "end_ms": 1}],
                                                             utterances=[[0, 1]]), "do not follow each other"),
}  # fmt: skip


@pytest.mark.parametrize("fault", BROKEN)
def test_a_broken_file_is_refused_whole(
    tmp_path: Path, stages: PlainStages, told: dict[str, Any], fault: str, config: Config
) -> None:
    """One sentence that names the file; neither an empty record nor one that holds something is changed."""
    breaking, sentence = BROKEN[fault]
    breaking(told)
    path = tmp_path / "bad.json"
    path.write_text(json.dumps(told))
    empty = elsewhere(tmp_path)

    with pytest.raises(HandspokenError, match=r"othing was imported|cannot share one") as error:
        import_file(path, empty, stages)

    assert sentence in str(error.value)
    assert "\n" not in str(error.value)
    assert not list((empty.home / "blobs").rglob("*")) if (empty.home / "blobs").exists() else True
    if Store.exists(empty.home):
        with Store(empty.home) as store:
            assert store.events() == []
    with Store(config.home) as store:
        assert len(store.events()) > 10


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "cannot be read as JSON"),
        ("{", "cannot be read as JSON"),
        ("[" * 100_000, "cannot be read as JSON"),
        ('{"a":' * 100_000, "cannot be read as JSON"),
        ('{"format": NaN}', "cannot be read as JSON"),
        ("[]", "no record file of this program"),
        ("7", "no record file of this program"),
        ("null", "no record file of this program"),
        ('"\\ud800"', "cannot be read as JSON"),
        ("\x00\x01", "cannot be read as JSON"),
    ],
)
def test_what_is_no_record_is_refused(tmp_path: Path, stages: PlainStages, text: str, sentence: str) -> None:
    empty = elsewhere(tmp_path)
    (tmp_path / "x.json").write_text(text)

    with pytest.raises(InputError, match=sentence):
        import_file(tmp_path / "x.json", empty, stages)

    assert not Store.exists(empty.home)


def test_a_file_too_large_is_not_read(
    tmp_path: Path, config: Config, stages: PlainStages, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(transfer, "MAX_BYTES", 10)
    (tmp_path / "x.json").write_text("[" * 11)

    with pytest.raises(InputError, match="larger than"):
        import_file(tmp_path / "x.json", config, stages)


def test_damaged_sound_is_refused(tmp_path: Path, config: Config, stages: PlainStages) -> None:
    out(config, stages, tmp_path / "a", sound=True)
    (sound,) = (tmp_path / "a" / "sound").iterdir()
    sound.chmod(0o600)
    sound.write_bytes(b"other sound")

    with pytest.raises(InputError, match="the sound is damaged"):
        import_file(tmp_path / "a" / "record.json", elsewhere(tmp_path), stages)


def test_an_event_that_was_altered_elsewhere_is_refused(
    tmp_path: Path, config: Config, stages: PlainStages, told: dict[str, Any]
) -> None:
    at(told, "addendum")["payload"]["text"] = "something else"
    (tmp_path / "x.json").write_text(json.dumps(told))
    before = derived(config)

    with pytest.raises(InputError, match="is on record already and says something else"):
        import_file(tmp_path / "x.json", config, stages)

    assert derived(config) == before


def test_another_infant_of_the_same_name_is_refused(tmp_path: Path, config: Config, stages: PlainStages) -> None:
    out(config, stages, tmp_path / "a")
    there = elsewhere(tmp_path)
    with Store(there.home) as store, store.writing() as unit:
        unit.append(InfantEntered(infant=infant("wren")))

    with pytest.raises(InputError, match="two infants cannot share one"):
        import_file(tmp_path / "a" / "record.json", there, stages)

    with Store(there.home) as store:
        assert store.counts() == (1, 0)


def test_a_ring_of_merges_is_refused(
    tmp_path: Path, stages: PlainStages, told: dict[str, Any], kept: dict[str, Any]
) -> None:
    wren, heron = kept["wren"].model_dump(mode="json"), kept["heron"].model_dump(mode="json")
    for n, (one, other) in enumerate(((wren, heron), (heron, wren))):
        payload = {"type": "infants_merged", "kept": one["id"], "merged": other["id"], "before": one, "after": one}
        told["events"].append(at(told, "consent") | {"id": f"{n}" * 26, "visit": None, "payload": payload})
    (tmp_path / "x.json").write_text(json.dumps(told))

    with pytest.raises(InputError, match="it merges what is merged"):
        import_file(tmp_path / "x.json", elsewhere(tmp_path), stages)


def test_an_import_that_fails_at_the_last_changes_nothing(
    config: Config, stages: PlainStages, spoken: Spoken, tmp_path: Path, kept: dict[str, Any]
) -> None:
    """The last of three visits cannot be drafted: neither events nor files nor notes of the others stay."""

    class Failing(PlainStages):
        def render(self, note: Note, words: Transcript, copy: Copy | None) -> dict[str, bytes]:
            if note.visit == kept["other"]:
                raise InputError("invented fault")
            return super().render(note, words, copy)

    out(config, stages, tmp_path / "a", sound=True)
    empty = elsewhere(tmp_path)

    with pytest.raises(InputError, match="invented fault"):
        import_file(tmp_path / "a" / "record.json", empty, Failing(spoken))

    with Store(empty.home) as store:
        assert store.events() == []
    assert [path.name for path in empty.home.rglob("*") if path.is_file() and "record.db" not in path.name] == []
