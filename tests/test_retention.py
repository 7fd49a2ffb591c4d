"""What is kept for how long: rules with their source, proposals, sound destroyed by an explicit act, legal holds."""

import shutil
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from conftest import Ended
from destroying import found_in
from invented import infant
from kept import STAGES, contents_of, verify

from pipeline import custody, infants, moves, redaction, retention
from pipeline.config import Config, Settings
from pipeline.errors import InputError, NotFoundError
from pipeline.exchange import Wish, export, import_file
from pipeline.infants import Facts
from pipeline.redaction import Where
from pipeline.review import Sheets, sound_of
from pipeline.store import Store, new_id
from pipeline.store.events import Event, InfantEntered, Signed
from pipeline.store.find import Wanted, find_words, passages_of
from pipeline.store.reading import Reader
from pipeline.visits import Told, draft

SIGNED, BEFORE, DUE = date(2026, 11, 25), date(2026, 12, 24), date(2026, 12, 25)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A visit signed on a day. Made once; each test works on a copy."""
    folder = tmp_path_factory.mktemp("signed")
    config, sound = Config(home=folder / "home", settings=Settings()), folder / "visit.opus"
    infants.add(Facts(code_name="wren", born=date(2026, 10, 1)), config, today=SIGNED)
    sound.write_text("Hips, no clunk.")
    done = draft(sound, Told(infant="wren"), config, STAGES, today=SIGNED)
    with Store(config.home) as store, store.writing() as unit:
        note = unit.blobs.keep(done.drafted.note.model_dump_json().encode())
        signed = Signed(note=note, renderings={}, signer="x", program="0", vocab_hash="")
        at, visit = datetime(2026, 11, 25, 12, tzinfo=UTC), done.record.visit
        unit.take_over(Event(seq=0, id=new_id(), at=at, author="", infant=None, visit=visit, payload=signed))
    return config.home


@pytest.fixture
def config(filled: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Config:
    monkeypatch.setenv("HANDSPOKEN_CACHE", str(tmp_path / "cache"))
    shutil.copytree(filled, tmp_path / "home")
    return Config(home=tmp_path / "home", settings=Settings(keep_sound_days=30))


def _visit(config: Config) -> str:
    with Store(config.home) as store:
        return store.visits()[0].id


def test_the_rules_in_force_say_where_they_come_from(tmp_path: Path) -> None:
    shipped = retention.retention(Config(home=tmp_path, settings=Settings()), today=DUE).rules
    own = Settings(keep_records_until_age=26, keep_records_years=10, keep_sound_days=0)
    chosen = retention.retention(Config(home=tmp_path, settings=own), today=DUE).rules

    # UK General Chiropractic Council: 8 years from the last visit, a child until the 25th birthday (secondary source)
    assert shipped[0][0] == "records: until the 25th birthday, or 8 years after the last entry where that is later"
    assert "General Chiropractic Council" in shipped[0][1]
    assert "our recommendation" in shipped[0][1]
    assert chosen[0][0].endswith("until birthday 26, or 10 years after the last entry where that is later")
    assert [source for _, source in chosen] == ["settings.toml", "settings.toml"]


def test_sound_is_proposed_when_its_time_has_come_and_nothing_goes_by_itself(config: Config) -> None:
    before = contents_of(config.home)

    assert retention.retention(config, today=BEFORE).proposals == ()
    (proposal,) = retention.retention(config, today=DUE).proposals

    assert (proposal.what, proposal.key, proposal.since) == ("sound", _visit(config), DUE)
    assert proposal.why == "kept 30 days after signing on 25 November 2026"
    assert retention.retention(Config(home=config.home, settings=Settings()), today=DUE).proposals == ()
    assert before == contents_of(config.home)
    with pytest.raises(InputError, match="not proposed"):
        retention.destroy_sound(_visit(config), "A. Nyone", config, STAGES, today=BEFORE)


def test_the_sound_goes_and_the_lines_keep_words_and_times(config: Config, tmp_path: Path) -> None:
    visit = _visit(config)
    export(None, Wish("json", sound=True), tmp_path / "old", config, STAGES)
    with Store(config.home) as store:
        before = store.record(visit)

    retention.destroy_sound(visit, "A. Nyone", config, STAGES, today=DUE)

    with Store(config.home) as store:
        after = store.record(visit)
        assert not store.blobs.path(before.recording.sha256).exists()
    assert after.transcript == before.transcript
    assert after.recording.gone.endswith(" by A. Nyone: kept 30 days after signing on 25 November 2026")
    with pytest.raises(NotFoundError, match=r"its sound was destroyed on .* its lines keep their words and times"):
        sound_of(config, visit)
    assert not Sheets(config, STAGES, lambda: datetime.now(UTC)).sounds(visit)
    with Reader(config.home) as reader:
        (hit,) = passages_of(reader, list(find_words(reader, Wanted(words="clunk"))))
    assert hit.gone == after.recording.gone
    assert verify(config).faults == ()
    custody.rebuild(config, STAGES)
    assert verify(config).faults == ()
    assert retention.retention(config, today=DUE).proposals == ()

    import_file(tmp_path / "old" / "record.json", config, STAGES)
    sound = tmp_path / "visit.opus"
    sound.write_text("Hips, no clunk.")
    with pytest.raises(InputError, match="the sound of this recording was destroyed"):
        draft(sound, Told(), config, STAGES, today=DUE)
    assert not [p for p in config.blobs.rglob("*") if p.name == before.recording.sha256]


def test_a_hold_stops_every_destruction_until_it_is_lifted(config: Config) -> None:
    visit, where = _visit(config), Where("0:01", "0:01.4")
    retention.hold("wren", "a complaint of today", "A. Nyone", config)

    kept = retention.retention(config, today=DUE)
    assert (kept.proposals, kept.held[0].reason) == ((), "a complaint of today")
    with pytest.raises(InputError, match=r"legal hold since .* \(a complaint of today; A. Nyone\)"):
        retention.destroy_sound(visit, "A. Nyone", config, STAGES, today=DUE)
    with pytest.raises(InputError, match="legal hold"):
        redaction.redact(visit, where, "third-person", "A. Nyone", config, STAGES, now=datetime.now(UTC))
    with pytest.raises(InputError, match="stands already"):
        retention.hold("wren", "again", "A. Nyone", config)

    assert retention.hold("wren", "settled", "A. Nyone", config, lift=True) is None
    with pytest.raises(InputError, match="no hold stands"):
        retention.hold("wren", "again", "A. Nyone", config, lift=True)
    assert retention.destroy_sound(visit, "A. Nyone", config, STAGES, today=DUE).key == visit


def test_a_record_is_proposed_from_the_later_of_the_two_ends_on(config: Config) -> None:
    """By the birthday where the last entry was long ago, by that entry where it was not; never without a birth day."""
    birthday = date(2051, 10, 1)
    shipped = Config(home=config.home, settings=Settings())
    infants.add(Facts(code_name="robin"), config, today=SIGNED)

    assert retention.retention(shipped, today=birthday - timedelta(days=1)).proposals == ()
    (proposal,) = retention.retention(shipped, today=birthday).proposals
    assert (proposal.what, proposal.infant, proposal.since) == ("record", "wren", birthday)
    longer = Config(home=config.home, settings=Settings(keep_records_years=60))
    assert retention.retention(longer, today=birthday).proposals == ()


GROWN = date(2060, 1, 1)
SECRET = "Nebuchadnezzar"


def test_a_record_goes_as_a_whole_and_the_others_stay(config: Config, tmp_path: Path) -> None:
    sound = tmp_path / "second.opus"
    sound.write_text(f"{SECRET} came. No clunk.")
    draft(sound, Told(infant="wren"), config, STAGES, today=SIGNED)
    sound.write_text("A clunk.")
    other = draft(sound, Told(infant="robin"), config, STAGES, today=SIGNED).record.visit
    infants.edit("wren", Facts(legal_name=f"W. {SECRET}"), config, STAGES, today=SIGNED)
    export(None, Wish("json", sound=True), tmp_path / "old", config, STAGES)
    with Store(config.home) as store:
        head = store.head()
    with pytest.raises(InputError, match="not proposed"):
        retention.destroy_record("wren", "A. Nyone", config, STAGES, today=DUE)
    assert found_in(config.home, SECRET)

    retention.destroy_record("wren", "A. Nyone", config, STAGES, today=GROWN)

    assert found_in(config.home, SECRET) == []
    assert verify(config, head).faults == ()
    custody.rebuild(config, STAGES)
    assert verify(config).faults == ()
    assert [known.infant.code_name for known in infants.listed(config)] == ["robin"]
    with Store(config.home) as store:
        assert [visit.id for visit in store.visits()] == [other]
    with pytest.raises(NotFoundError):
        retention.destroy_record("wren", "A. Nyone", config, STAGES, today=GROWN)
    assert import_file(tmp_path / "old" / "record.json", config, STAGES).new == 0
    assert found_in(config.home, SECRET) == []


def test_another_computer_destroys_a_record_too_but_nothing_more(config: Config, tmp_path: Path) -> None:
    export(None, Wish("json", sound=True), tmp_path / "old", config, STAGES)
    other = Config(home=tmp_path / "other", settings=Settings())
    import_file(tmp_path / "old" / "record.json", other, STAGES)
    retention.destroy_record("wren", "A. Nyone", config, STAGES, today=GROWN)
    export(None, Wish("json", sound=True), tmp_path / "new", config, STAGES)
    file = tmp_path / "new" / "record.json"
    fuller = Config(home=tmp_path / "fuller", settings=Settings())
    shutil.copytree(other.home, fuller.home)
    infants.edit("wren", Facts(sex="female"), fuller, STAGES, today=SIGNED)

    with pytest.raises(InputError, match="--destroy"):
        import_file(file, other, STAGES)
    retention.hold("wren", "a complaint", "A. Nyone", other)
    with pytest.raises(InputError, match="legal hold"):
        import_file(file, other, STAGES, destroy=True)
    retention.hold("wren", "settled", "A. Nyone", other, lift=True)
    with pytest.raises(InputError, match="more was entered here"):
        import_file(file, fuller, STAGES, destroy=True)
    assert import_file(file, other, STAGES, destroy=True).destroyed == 1

    assert infants.listed(other) == []
    assert verify(other).faults == ()
    assert [p for folder in (other.blobs, other.notes) for p in folder.rglob("*") if p.is_file()] == []
    assert len(infants.listed(fuller)) == 1


def test_a_record_that_another_rests_on_stays(config: Config, tmp_path: Path) -> None:
    sound = tmp_path / "twins.opus"
    sound.write_text("No clunk. Now her brother. A clunk.")
    visit = draft(sound, Told(infant="wren"), config, STAGES, today=SIGNED).record.visit
    infants.add(Facts(code_name="robin"), config, today=SIGNED)
    moves.give_stretches(visit, ["0-1=wren", "2.5-end=robin"], config, STAGES)

    with pytest.raises(InputError, match="cannot be destroyed by itself"):
        retention.destroy_record("wren", "A. Nyone", config, STAGES, today=GROWN)


def test_the_command_shows_rules_and_holds(handspoken: Callable[..., Ended], tmp_path: Path) -> None:
    wren = infant("wren")
    with Store(tmp_path / "home") as store, store.writing() as unit:
        unit.append(InfantEntered(infant=wren), infant=wren.id)

    held = handspoken("retention", "--hold", "wren", "--reason", "a complaint", "--by", "A. Nyone")

    assert (held.code, held.err) == (0, "")
    assert "Legal hold on wren" in held.out
    assert "16 CCR 318" in held.out
    assert handspoken("retention", "--hold", "wren", "--lift", "wren").code == 2
    assert handspoken("retention", "--hold", "wren", "--by", "A. Nyone").err.startswith("handspoken: the reason")
