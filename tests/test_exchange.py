"""The record's way out and in: a round trip loses nothing; what is asked for is found."""

import hashlib
import json
import shutil
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from exchanging import LETTER, SOUND, Spoken, derived, elsewhere, make_record, out
from invented import PlainStages, infant

from pipeline.config import Config, Settings
from pipeline.errors import InputError, NotFoundError
from pipeline.exchange import import_file
from pipeline.store import Store
from pipeline.store.events import (
    Contact,
    InfantEntered,
    InfantsMerged,
    StretchesGiven,
    VisitMoved,
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


# ---------------------------------------------------------------- round trip


def test_out_in_and_out_again_gives_the_same_bytes(config: Config, stages: PlainStages, tmp_path: Path) -> None:
    out(config, stages, tmp_path / "a", sound=True)
    empty = elsewhere(tmp_path)

    done = import_file(tmp_path / "a" / "record.json", empty, stages)
    out(empty, stages, tmp_path / "b", sound=True)

    files = sorted(path.relative_to(tmp_path / "a") for path in (tmp_path / "a").rglob("*") if path.is_file())
    assert len(files) == 2
    assert [(tmp_path / "a" / f).read_bytes() for f in files] == [(tmp_path / "b" / f).read_bytes() for f in files]
    assert (done.known, done.visits, done.without_sound) == (0, 3, 0)
    assert derived(config) == derived(empty)


def test_what_came_in_is_whole(config: Config, stages: PlainStages, tmp_path: Path, kept: dict[str, Any]) -> None:
    out(config, stages, tmp_path)
    empty = elsewhere(tmp_path)
    import_file(tmp_path / "record.json", empty, stages)

    with Store(config.home) as before, Store(empty.home) as after:
        *events, exported = before.events()
        assert (events, exported.payload.type) == (after.events(), "read")
        assert before.record(kept["first"]) == after.record(kept["first"])
        assert after.blobs.read(hashlib.sha256(LETTER).hexdigest()) == LETTER
    assert (empty.notes / kept["first"] / "note.html").is_file()
    assert (empty.notes / kept["second"] / "note.md").read_bytes() == b"# signed", "as signed, not drafted again"


@pytest.mark.parametrize("key", ["Wren", "first", "second"])
def test_a_part_goes_out_and_in_alike(
    config: Config, stages: PlainStages, tmp_path: Path, kept: dict[str, Any], key: str
) -> None:
    out(config, stages, tmp_path / "a", kept.get(key, key))
    empty = elsewhere(tmp_path)
    import_file(tmp_path / "a" / "record.json", empty, stages)
    out(empty, stages, tmp_path / "b")

    text = (tmp_path / "a" / "record.json").read_text()
    assert text == (tmp_path / "b" / "record.json").read_text()
    assert "Heron" not in text
    assert kept["other"] not in text
    assert (kept["second"] in text) == (key != "first")
    assert ("letter.pdf" in text) == (key == "Wren"), "a contact is of the infant, not of a visit"


def test_a_second_import_adds_what_is_new(
    config: Config, stages: PlainStages, tmp_path: Path, kept: dict[str, Any]
) -> None:
    empty = elsewhere(tmp_path)
    out(config, stages, tmp_path / "part", kept["first"])
    out(config, stages, tmp_path / "all")

    first = import_file(tmp_path / "part" / "record.json", empty, stages)
    rest = import_file(tmp_path / "all" / "record.json", empty, stages)
    again = import_file(tmp_path / "all" / "record.json", empty, stages)

    assert rest.known == first.new > 0
    assert rest.new > 0
    assert again.new == again.visits == 0
    assert derived(config)["item"] == derived(empty)["item"]


def test_a_visit_that_was_moved_and_a_merged_entry_go_along(
    config: Config, stages: PlainStages, tmp_path: Path, kept: dict[str, Any]
) -> None:
    wren, heron = kept["wren"], kept["heron"]
    with Store(config.home) as store, store.writing() as unit:
        owl = infant("Owl")
        unit.append(InfantEntered(infant=owl), infant=owl.id)
        unit.append(VisitMoved(infant=owl.id), visit=kept["first"], infant=owl.id)
        unit.append(InfantsMerged(kept=heron.id, merged=owl.id, before=heron, after=heron), infant=heron.id)
    out(config, stages, tmp_path / "a", "Heron")
    empty = elsewhere(tmp_path)
    import_file(tmp_path / "a" / "record.json", empty, stages)
    out(empty, stages, tmp_path / "b", "Heron")

    with Store(empty.home) as store:
        assert {visit.id for visit in store.visits()} == {kept["first"], kept["other"]}
        assert {visit.code_name for visit in store.visits()} == {"Heron"}
        assert store.infant(wren.id), "the visit was filed to this infant first"
    assert (tmp_path / "a" / "record.json").read_bytes() == (tmp_path / "b" / "record.json").read_bytes()


def test_sound_is_left_out_and_comes_later(config: Config, stages: PlainStages, tmp_path: Path) -> None:
    out(config, stages, tmp_path / "a")
    empty = elsewhere(tmp_path)
    done = import_file(tmp_path / "a" / "record.json", empty, stages)

    again = out(empty, stages, tmp_path / "b", sound=True)
    assert done.without_sound == 1
    assert [what.split(":")[0] for what in again.left_out] == [f"sound {hashlib.sha256(SOUND).hexdigest()}"]

    out(config, stages, tmp_path / "c", sound=True)
    later = import_file(tmp_path / "c" / "record.json", empty, stages)
    assert (later.new, later.without_sound) == (1, 0), "that it was exported before"
    with Store(empty.home) as store:
        assert store.blobs.read(hashlib.sha256(SOUND).hexdigest()) == SOUND


# ---------------------------------------------------------------- what is asked for


def test_what_is_asked_for_is_found(config: Config, stages: PlainStages, tmp_path: Path, kept: dict[str, Any]) -> None:
    wanted = [("wren", 2), (kept["wren"].id.lower(), 2), (kept["first"].lower(), 1), (None, 3)]

    for n, (key, visits) in enumerate(wanted):
        assert out(config, stages, tmp_path / str(n), key).visits == visits
    with pytest.raises(NotFoundError, match="no infant of this name and no visit of this id"):
        out(config, stages, tmp_path / "x", "Nobody")
    assert not (tmp_path / "x").exists()


def test_without_a_record_there_is_nothing(stages: PlainStages, tmp_path: Path) -> None:
    empty = elsewhere(tmp_path)
    with pytest.raises(NotFoundError, match="there is no record yet"):
        out(empty, stages, tmp_path / "x")

    assert not empty.home.exists()


@pytest.mark.parametrize(
    ("wishes", "sentence"),
    [
        ({"form": "json", "nameless": True}, "they can name people"),
        ({"form": "vtt", "nameless": True}, "they can name people"),
        ({"form": "fhir", "nameless": True, "sound": True}, "a voice tells who it is"),
        ({"form": "csv", "sound": True}, "carries no sound"),
        ({"form": "csv", "suggest": True}, "in fhir alone"),
    ],
)
def test_wishes_that_do_not_go_together(
    config: Config, stages: PlainStages, tmp_path: Path, wishes: dict[str, Any], sentence: str
) -> None:
    with pytest.raises(InputError, match=sentence):
        out(config, stages, tmp_path / "x", **wishes)


def test_a_signed_note_goes_out_as_signed(
    config: Config, stages: PlainStages, tmp_path: Path, kept: dict[str, Any]
) -> None:
    out(config, stages, tmp_path, kept["second"], form="fhir")
    made = json.loads((tmp_path / f"{kept['second']}.fhir.json").read_text())
    composition = made["entry"][0]["resource"]
    people = {e["fullUrl"]: e["resource"] for e in made["entry"] if e["resource"]["resourceType"] == "Practitioner"}
    signers = [people[attester["party"]["reference"]]["name"][0]["text"] for attester in composition["attester"]]
    sections = {section["title"]: section for section in composition["section"]}
    added = sections["Added after signing (late entry)"]["text"]["div"]

    assert composition["status"] == "amended"
    assert [attester["mode"] for attester in composition["attester"]] == ["legal", "professional"]
    assert signers == ["Invented Person", "Second Person"]
    assert [one["valueString"] for one in composition["extension"] if one["url"].endswith(":left-open")] == [
        "TEST:gone: parent had to go"
    ]
    assert "Consents on record" in sections
    assert all(text in added for text in ("later", "Why it was not in the note: it came by post"))


def kinds(path: Path) -> list[str]:
    return [entry["resource"]["resourceType"] for entry in json.loads(path.read_text())["entry"]]


def test_contacts_go_with_the_visit_after_them(
    config: Config, stages: PlainStages, tmp_path: Path, kept: dict[str, Any]
) -> None:
    first, second = kept["first"], kept["second"]
    with Store(config.home) as store, store.writing() as unit:
        for day in (date(2026, 10, 30), date(2026, 11, 1), date(2026, 11, 2)):
            unit.append(Contact(day=day, what="call", text=f"invented {day}"), infant=kept["wren"].id)
    out(config, stages, tmp_path, "Wren", form="fhir")

    assert kinds(tmp_path / f"{first}.fhir.json").count("Communication") == 2
    assert kinds(tmp_path / f"{second}.fhir.json").count("Communication") == 0, "entered after it was signed"


def test_sound_that_holds_another_infant_too_stays(
    config: Config, stages: PlainStages, tmp_path: Path, kept: dict[str, Any]
) -> None:
    with Store(config.home) as store, store.writing() as unit:
        recording = store.record(kept["first"]).recording.id
        unit.append(StretchesGiven(recording=recording, stretches=((0, 1000),)), visit=kept["first"])

    done = out(config, stages, tmp_path, kept["first"], form="fhir", sound=True)

    assert [what.partition(": ")[2] for what in done.left_out] == ["another infant is heard in it too"]
