"""The jobs: what goes where, what is refused, and that nothing changes when one fails."""

import json
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest
from invented import PlainStages, files_limited_to

from pipeline.config import Config, Settings
from pipeline.custody import rebuild
from pipeline.errors import HandspokenError, InputError, StoreError
from pipeline.model import Age, Transcript
from pipeline.run import extract_file, extract_folder, sibling_facts, transcribe
from pipeline.stages import ShippedStages
from pipeline.store import Store
from pipeline.visits import Told, draft
from pipeline.vocabulary import load_vocabulary
from pipeline.vtt import write_vtt

TODAY = date(2026, 11, 25)
Spoken = Callable[[str], Transcript]


@pytest.fixture
def stages(spoken: Spoken) -> PlainStages:
    return PlainStages(spoken)


@pytest.fixture
def config(tmp_path: Path) -> Config:
    return Config(home=tmp_path / "home", settings=Settings())


@pytest.fixture
def sound(tmp_path: Path) -> Path:
    path = tmp_path / "visit.opus"
    path.write_text("Hips, no clunk. A clonk in the shoulder.")
    return path


def _snapshot(folder: Path) -> dict[str, bytes]:
    """Files by path; of the database the rows of the record, for its file may differ without meaning."""
    files = {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    if any(name.endswith("record.db") for name in files):
        with Store(next(folder.rglob("record.db")).parent) as store:
            files["events"] = repr(store.events()).encode()
    return {name: data for name, data in files.items() if "record.db" not in name}


def test_a_recording_becomes_a_visit_and_its_files(
    sound: Path, config: Config, stages: PlainStages, tmp_path: Path
) -> None:
    told = Told(infant="robin", age="9 weeks", gestation_weeks=36)
    progress: list[tuple[int, int]] = []

    done = draft(sound, told, config, stages, today=TODAY, to=tmp_path / "out",
                 on_progress=lambda *at: progress.append(at))  # fmt: skip

    assert ["absent", "present"] == [i.result for i in done.drafted.extraction.items]
    assert Age(days=63, corrected_days=35, as_said="9 weeks") == done.record.age
    assert [(500, 500)] == progress
    kept = config.notes / done.record.visit
    assert {"note.html", "note.md", "words.vtt", "items.json"} == {p.name for p in kept.iterdir()}
    assert _snapshot(kept) == _snapshot(tmp_path / "out")
    assert done.drafted.transcript.words == done.record.transcript.words
    items = json.loads((kept / "items.json").read_text())["items"]
    assert [1.0, 2.0] == [i["start"] for i in items]
    with Store(config.home) as store:
        assert done.record == store.record(done.record.visit)
        assert sound.read_bytes() == store.blobs.read(done.record.recording.sha256)
    assert {"items", "remarks", "note", "visit"} <= json.loads(json.dumps(done.as_json())).keys()


def test_the_same_recording_is_not_kept_twice(sound: Path, config: Config, stages: PlainStages) -> None:
    first = draft(sound, Told(infant="robin", age="9 weeks"), config, stages, today=TODAY)
    before = _snapshot(config.home)

    again = draft(sound, Told(), config, stages, today=TODAY + timedelta(days=3))

    assert before == _snapshot(config.home)
    assert (False, True) == (first.filed_before, again.filed_before)
    assert (first.record, ()) == (again.record, again.changed)


def test_drafting_again_puts_right_what_is_told_anew(
    sound: Path, config: Config, stages: PlainStages, spoken: Spoken
) -> None:
    draft(sound, Told(infant="robin", age="9 weeks"), config, stages, today=TODAY)

    again = draft(
        sound, Told(infant="Robin", born=date(2026, 9, 20), on=date(2026, 11, 20)), config, stages, today=TODAY
    )
    better = draft(sound, Told(), config, PlainStages(spoken, word="shoulder"), today=TODAY)

    assert 2 == len(again.changed)
    assert (date(2026, 11, 20), 61, date(2026, 9, 20)) == (
        again.record.day, again.record.age and again.record.age.days, again.record.infant.born)  # fmt: skip
    assert ("the words, which were heard anew",) == better.changed
    assert again.record.age == better.record.age
    with Store(config.home) as store:
        assert better.record == store.record(better.record.visit)
        kinds = [event.payload.type for event in store.events()]
    assert ["infant_entered", "visit_opened", "recording_sealed", "transcript_made", "infant_revised", "visit_revised",
            "transcript_made"] == kinds  # fmt: skip


def test_rebuilding_drafts_the_same(sound: Path, config: Config, stages: PlainStages, tmp_path: Path) -> None:
    other = tmp_path / "other.vtt"
    other.write_bytes("\ufeffWEBVTT\r\n\r\n00:00.000 --> 00:02.000\r\nA clunk in the left hip.\r\n".encode())
    draft(sound, Told(infant="robin"), config, stages, today=TODAY)
    draft(other, Told(infant="wren"), config, stages, today=TODAY)
    with Store(config.home) as store, store.reading() as connection:
        before = [connection.exec_driver_sql(f"SELECT * FROM {t}").all() for t in ("item", "line", "evidence", "run")]

    assert 2 == rebuild(config, stages).visits

    with Store(config.home) as store, store.reading() as connection:
        after = [connection.exec_driver_sql(f"SELECT * FROM {t}").all() for t in ("item", "line", "evidence", "run")]
    assert [sorted(map(repr, rows)) for rows in before] == [sorted(map(repr, rows)) for rows in after]


def test_a_visit_is_held_against_the_earlier_ones_and_later_ones_against_it(
    sound: Path, config: Config, stages: PlainStages
) -> None:
    later = draft(sound, Told(infant="robin", sex="male"), config, stages, today=TODAY)
    sound.write_text("An earlier visit, a clunk.")

    earlier = draft(sound, Told(infant="robin", on=date(2026, 11, 1)), config, stages, today=TODAY)
    sound.write_text("Someone else.")
    other = draft(sound, Told(infant="wren"), config, stages, today=TODAY)

    assert ((), (), (TODAY,), ()) == (
        later.record.previous, earlier.record.previous, earlier.redrafted, later.redrafted)  # fmt: skip
    with Store(config.home) as store:
        (past,) = store.record(later.record.visit).previous
        assert (earlier.record.visit, date(2026, 11, 1)) == (past.id, past.day)
        assert earlier.drafted.extraction.items == past.items
        assert ("TEST:joint.clunk",) == past.told
        assert "male" == store.record(later.record.visit).infant.sex
    assert (("robin", later.record.infant.id),) == other.record.known_names
    assert () == other.record.previous


def test_what_is_learnt_of_an_infant_goes_into_its_other_visits(
    sound: Path, config: Config, stages: PlainStages
) -> None:
    first = draft(sound, Told(infant="robin", on=date(2026, 11, 1)), config, stages, today=TODAY)
    sound.write_text("A second visit, no clunk.")

    second = draft(sound, Told(infant="robin", sex="female"), config, stages, today=TODAY)

    assert (first.record.day,) == second.redrafted
    assert ("what is known of the infant",) == second.changed


def test_a_torn_recording_is_kept_and_told(sound: Path, config: Config, spoken: Spoken) -> None:
    done = draft(sound, Told(), config, PlainStages(spoken, torn="cut off at 0:03"), today=TODAY)

    assert "cut off at 0:03" == done.torn == done.as_json()["torn"]
    with Store(config.home) as store:
        assert "cut off at 0:03" == store.record(done.record.visit).recording.torn


@pytest.mark.parametrize(
    ("told", "says"),
    [
        (Told(age="nine parsecs"), "age"),
        (Told(born=TODAY + timedelta(days=1)), "after the visit"),
        (Told(on=TODAY + timedelta(days=1)), "future"),
        (Told(gestation_weeks=50), "gestation"),
        (Told(infant=" "), "code name"),
        (Told(infant="a\nb"), "code name"),
        (Told(infant="robin", born=date(2026, 9, 1)), "cannot share one name"),
        (Told(infant="ROBIN", gestation_weeks=30), "cannot share one name"),
        (Told(infant="robin", age="20 weeks"), "does not go with"),
        (Told(infant="robin", sex="female"), "cannot share one name"),
    ],
)
def test_what_cannot_be_filed_changes_nothing(
    told: Told, says: str, sound: Path, config: Config, stages: PlainStages, tmp_path: Path
) -> None:
    first = Told(infant="robin", born=date(2026, 9, 20), sex="male", gestation_weeks=39)
    draft(sound, first, config, stages, today=TODAY)
    sound.write_text("Another visit, no clunk.")
    before = _snapshot(tmp_path)

    with pytest.raises(InputError, match=says):
        draft(sound, told, config, stages, today=TODAY, to=tmp_path / "out")

    assert before == _snapshot(tmp_path)
    assert not (tmp_path / "out").exists()


def test_a_recording_filed_to_another_infant_is_refused(sound: Path, config: Config, stages: PlainStages) -> None:
    draft(sound, Told(infant="robin"), config, stages, today=TODAY)

    with pytest.raises(InputError, match="already filed to the infant robin"):
        draft(sound, Told(infant="wren"), config, stages, today=TODAY)


@pytest.mark.parametrize("size", [1000, 60_000, 200_000])
def test_a_disk_that_is_full_changes_nothing(
    size: int, sound: Path, config: Config, stages: PlainStages, tmp_path: Path
) -> None:
    """Refused while the files are written, and while the database is."""
    draft(sound, Told(infant="robin"), config, stages, today=TODAY)
    sound.write_text("Another visit, no clunk. " * (10_000 if size == 200_000 else 10))
    before = _snapshot(tmp_path)

    with pytest.raises((StoreError, InputError)), files_limited_to(size):
        draft(sound, Told(infant="wren"), config, stages, today=TODAY, to=tmp_path / "out")

    assert before == _snapshot(tmp_path)
    assert not (tmp_path / "out").exists()


def test_transcribing_writes_the_words(sound: Path, stages: PlainStages, tmp_path: Path) -> None:
    source = transcribe(sound, tmp_path / "words.vtt", stages, None)

    assert write_vtt(source.transcript) == (tmp_path / "words.vtt").read_text()
    assert "A clunk in the shoulder." in " ".join(w.text for w in source.transcript.words)
    with pytest.raises(InputError, match="no folder"):
        transcribe(sound, tmp_path / "none" / "words.vtt", stages, None)


def _vtt(path: Path, text: str) -> Path:
    path.write_text(f"WEBVTT\n\n00:00.000 --> 00:02.000\n{text}\n")
    return path


def test_a_transcript_gives_items_by_the_contract(tmp_path: Path, stages: PlainStages) -> None:
    words, extraction = extract_file(_vtt(tmp_path / "a.vtt", "no clonk"), "9 weeks", 36, stages)

    assert ["no", "clunk"] == [word.text for word in words.words]
    assert ["absent"] == [i.result for i in extraction.items]
    assert [Age(days=63, corrected_days=35, as_said="9 weeks")] == stages.ages
    with pytest.raises(InputError, match="no words"):
        extract_file(_vtt(tmp_path / "b.vtt", ""), None, None, stages)


def test_a_folder_is_done_file_by_file(tmp_path: Path, stages: PlainStages) -> None:
    folder, to = tmp_path / "in", tmp_path / "out"
    folder.mkdir()
    for name in ("a", "b", "c", "d"):
        _vtt(folder / f"{name}.vtt", "no clunk")
    (folder / "a.json").write_text('{"age": "7 weeks", "gestation_weeks": 36}')
    (folder / "b.json").write_text('{"age": 7}')
    (folder / "c.vtt").write_text("no transcript")

    results = dict(extract_folder(folder, to, "2 weeks", None, stages))

    good: dict[str, HandspokenError | None] = {p.name: e for p, e in results.items()}
    assert [True, False, False, True] == [good[f"{n}.vtt"] is None for n in "abcd"]
    assert {"a.json", "d.json"} == {p.name for p in to.iterdir()}
    assert ["absent"] == [i["result"] for i in json.loads((to / "a.json").read_text())["items"]]
    assert [49, 14] == [age and age.days for age in stages.ages]
    with pytest.raises(InputError, match="holds no transcript"):
        list(extract_folder(to, folder, None, None, stages))
    with pytest.raises(InputError, match="where the transcripts lie"):
        list(extract_folder(folder, folder, None, None, stages))


@pytest.mark.parametrize(
    "text", ["{", '{"age": 7}', '{"gestation_weeks": "7"}', '{"gestation_weeks": true}', "[" * 100_000]
)
def test_facts_beside_a_file_are_checked(text: str, tmp_path: Path) -> None:
    (tmp_path / "a.json").write_text(text)

    with pytest.raises(InputError, match=r"a\.json"):
        sibling_facts(tmp_path / "a.vtt")


def test_nothing_beside_a_file_is_nothing_told(tmp_path: Path) -> None:
    (tmp_path / "b.json").write_text("[]")

    assert (None, None) == sibling_facts(tmp_path / "a.vtt") == sibling_facts(tmp_path / "b.vtt")


def test_a_weight_with_two_readings_is_asked_about_through_the_whole_chain(config: Config, tmp_path: Path) -> None:
    words = tmp_path / "weighed.vtt"
    words.write_text("WEBVTT\n\n00:01.000 --> 00:05.000\nHe weighs 8.6 on my scale today.\n")

    shipped = ShippedStages(load_vocabulary(), config)
    done = draft(words, Told(infant="robin", age="6 weeks"), config, shipped, today=TODAY)

    points = [point for part in done.drafted.note.parts() for line in part.lines for point in line.checks]
    assert "The number was heard unsurely: “8.6”; it may be “8 lb 6 oz” or “8.6 kg”. Is it right?" in points
