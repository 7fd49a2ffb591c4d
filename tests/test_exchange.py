"""The record's way out and in: a round trip loses nothing; what does not fit changes nothing."""

import hashlib
import json
import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from invented import DAY, PlainStages, file_visit, infant, item, record_of

from pipeline.config import Config, Settings
from pipeline.errors import HandspokenError, InputError, NotFoundError
from pipeline.exchange import Exported, Wish, export, import_file
from pipeline.model import Anchor, Carer, Item, LineEdit, Note, Recording, Transcript, WordCorrection
from pipeline.records import VisitRecord
from pipeline.run import derive
from pipeline.stages import Copy
from pipeline.store import Store, transfer
from pipeline.store.compare import derived_rows
from pipeline.store.events import (
    Addendum,
    Attached,
    Consent,
    Contact,
    InfantEntered,
    InfantRevised,
    InfantsMerged,
    RecordingSealed,
    Signed,
    StretchesGiven,
    VisitMoved,
)

Spoken = Callable[[str], Transcript]
SOUND = b"invented sound"
LETTER = b"\xff\xfe invented letter"
TEXTS = ("a clunk here.", "the clunk no more.", "no clunk at all.")


@pytest.fixture(scope="module")
def stages(spoken: Spoken) -> PlainStages:
    return PlainStages(spoken)


def clunk(record: VisitRecord) -> Item:
    return item(record.transcript, (1, 2), "joint.clunk", "present", site="hip")


@pytest.fixture(scope="module")
def made(stages: PlainStages, spoken: Spoken, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """The home of a record with something of every kind, and what a test wants to name of it."""
    home = tmp_path_factory.mktemp("made") / "home"
    wren = infant("Wren", legal_name="Wren Invented", born=date(2026, 10, 1), carers=(Carer(name="Ann Invented"),))
    heron = infant("Heron")
    with Store(home) as store:
        first = file_visit(store, record_of(spoken(TEXTS[0]), wren, date(2026, 11, 1)))
        second = file_visit(store, record_of(spoken(TEXTS[1]), wren, DAY))
        other = file_visit(store, record_of(spoken(TEXTS[2]), heron, DAY))
        edit = LineEdit(
            item_id="x", anchor=Anchor(kind="finding", concept="joint.clunk", site="hip", start_ms=500, end_ms=1000),
            action="change", before={"side": "none"}, after={"side": "left"},
        )  # fmt: skip
        with store.writing() as unit:
            for text in TEXTS:
                unit.blobs.keep(text.encode())
            sound = Recording(
                id="f" * 64, sha256=unit.blobs.keep(SOUND), media_type="audio/ogg", duration_ms=9, source_name="ö.ogg"
            )
            unit.append(RecordingSealed(recording=sound), visit=None)
            unit.append(InfantRevised(infant=wren.model_copy(update={"sex": "female"})), infant=wren.id)
            unit.append(edit, visit=first.visit, infant=wren.id)
            unit.append(WordCorrection(start_ms=0, end_ms=500, heard="a", meant="the"), visit=first.visit)
            unit.append(Consent(scope="record", state="given", giver="mother"), visit=second.visit)
            note = unit.blobs.keep(derive(second, stages).note.model_dump_json().encode())
            signed = Signed(
                note=note, renderings={"note.md": unit.blobs.keep(b"# signed")}, signer="Invented Person", role="x",
                second="Second Person", second_role="student", left_open={"TEST:gone": "parent had to go"},
                program="test", vocab_hash="0" * 64, norms_sha256="1" * 64,
            )  # fmt: skip
            unit.append(signed, visit=second.visit, infant=wren.id)
            unit.append(
                Addendum(text="later", signer="Invented Person", kind="late_entry", reason="it came by post"),
                visit=second.visit,
                infant=wren.id,
            )
            letter = Attached(sha256=unit.blobs.keep(LETTER), name="letter.pdf", size=len(LETTER))
            unit.append(Contact(day=DAY, what="report", text="came", files=(letter,)), infant=wren.id)
        store.rebuild(lambda record: derive(record, stages))
    return home, {"wren": wren, "heron": heron, "first": first.visit, "second": second.visit, "other": other.visit}


@pytest.fixture
def config(made: tuple[Path, dict[str, Any]], tmp_path: Path) -> Config:
    """A copy of that record."""
    shutil.copytree(made[0], tmp_path / "home")
    return Config(home=tmp_path / "home", settings=Settings())


@pytest.fixture
def kept(made: tuple[Path, dict[str, Any]]) -> dict[str, Any]:
    """What a test wants to name of the record."""
    return made[1]


def out(config: Config, stages: PlainStages, to: Path, key: str | None = None, **wishes: Any) -> Exported:
    return export(key, Wish(**({"form": "json"} | wishes)), to, config, stages)


def elsewhere(tmp_path: Path) -> Config:
    return Config(home=tmp_path / "empty", settings=Settings())


def derived(config: Config) -> dict[str, dict[str, list[str]]]:
    with Store(config.home) as store, store.reading() as connection:
        return derived_rows(connection)


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
        assert before.events() == after.events()
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
    assert (later.new, later.without_sound) == (0, 0)
    with Store(empty.home) as store:
        assert store.blobs.read(hashlib.sha256(SOUND).hexdigest()) == SOUND


# ---------------------------------------------------------------- what does not fit


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
