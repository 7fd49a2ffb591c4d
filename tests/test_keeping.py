"""Infants, visits and contacts: what is refused, what is said, and what the commands show."""

import json
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from pathlib import Path

import pytest
from invented import PlainStages

from pipeline import contacts, handwritten, infants, moves
from pipeline.config import Config, Settings
from pipeline.errors import HandspokenError, InputError, NotFoundError
from pipeline.infants import Facts, parse_carer
from pipeline.model import Carer, Transcript
from pipeline.records import VisitRecord
from pipeline.siblings import cuts_in, turns_in
from pipeline.store import Store
from pipeline.store.events import Signed
from pipeline.typed import typed_transcript
from pipeline.visits import Told, draft
from pipeline.vocabulary import load_vocabulary

TODAY = date(2026, 11, 25)
Spoken = Callable[[str], Transcript]
BIDI = "a\u202eb"


@pytest.fixture
def config(tmp_path: Path) -> Config:
    return Config(home=tmp_path / "home", settings=Settings())


@pytest.fixture
def stages(spoken: Spoken) -> PlainStages:
    return PlainStages(spoken)


@pytest.fixture
def twins(config: Config, stages: PlainStages, tmp_path: Path) -> VisitRecord:
    """A recording of two infants, filed to the first."""
    for name in ("wren", "robin"):
        infants.add(Facts(code_name=name), config, today=TODAY)
    sound = tmp_path / "visit.opus"
    sound.write_text("Hips, no clunk. Now her brother. A clunk.")
    return draft(sound, Told(infant="wren", age="9 weeks"), config, stages, today=TODAY).record


def _record(config: Config, visit: str) -> VisitRecord:
    with Store(config.home) as store:
        return store.record(visit)


def _results(config: Config, visit: str) -> list[str]:
    items = json.loads((config.notes / visit / "items.json").read_text())["items"]
    return [item["result"] for item in items]


def _sign(config: Config, visit: str) -> None:
    with Store(config.home) as store, store.writing() as unit:
        note = unit.blobs.keep(b"{}")
        unit.append(Signed(note=note, renderings={}, signer="x", program="0", vocab_hash=""), visit=visit)


# ---------------------------------------------------------------- infants


@pytest.mark.parametrize(
    ("facts", "says"),
    [
        (Facts(), "one name at least"),
        (Facts(code_name=" "), "code name"),
        (Facts(code_name="x" * 81), "code name"),
        (Facts(code_name=BIDI), "code name"),
        (Facts(legal_name="a\nb"), "legal name"),
        (Facts(code_name="a", risk_factors=(BIDI,)), "risk factor"),
        (Facts(code_name="a", born=TODAY + timedelta(days=1)), "after the visit"),
        (Facts(code_name="a", gestation_weeks=50), "gestation"),
        (Facts(code_name="a", birth_weight_kg=3400), "kilograms"),
        (Facts(code_name="a", birth_weight_kg=float("nan")), "kilograms"),
        (Facts(code_name="WREN"), "already holds an infant"),
    ],
)
def test_what_cannot_be_entered_is_refused(facts: Facts, says: str, config: Config) -> None:
    infants.add(Facts(code_name="Wren"), config, today=TODAY)

    with pytest.raises(InputError, match=says):
        infants.add(facts, config, today=TODAY)

    assert len(infants.listed(config)) == 1


def test_a_legal_name_alone_is_enough(config: Config) -> None:
    entered = infants.add(Facts(legal_name="Wren Invented"), config, today=TODAY)

    assert entered.code_name.startswith("unnamed-")


@pytest.mark.parametrize(
    ("text", "carer"),
    [
        ("Ann", Carer(name="Ann")),
        ("Ann, mother", Carer(name="Ann", role="mother")),
        ("Ann, mother, may consent", Carer(name="Ann", role="mother", may_consent=True)),
        ("Bea, May Not Consent", Carer(name="Bea", may_consent=False)),
        ("a, b, c", None),
        (", mother", None),
        (f"{BIDI}, mother", None),
        ("Ann, may consent, may not consent", None),
    ],
)
def test_a_carer_is_read(text: str, carer: Carer | None) -> None:
    if carer is None:
        with pytest.raises(InputError, match="carer"):
            parse_carer(text)
    else:
        assert parse_carer(text) == carer


def test_ages_follow_a_birth_date_that_is_put_right(twins: VisitRecord, config: Config, stages: PlainStages) -> None:
    moves.move(twins.visit, "robin", config, stages)
    infants.edit("robin", Facts(born=TODAY - timedelta(days=60)), config, stages, today=TODAY)
    with pytest.raises(InputError, match=f"{twins.visit}.*does not go with"):
        infants.edit("robin", Facts(born=TODAY - timedelta(days=300)), config, stages, today=TODAY)

    assert (age := _record(config, twins.visit).age) is not None
    assert (age.days, age.as_said) == (63, "9 weeks")
    infants.edit("robin", Facts(unknown=("born",), gestation_weeks=36), config, stages, today=TODAY)
    assert (age := _record(config, twins.visit).age) is not None
    assert age.corrected_days == 35


def test_entries_that_contradict_each_other_are_not_merged(config: Config, stages: PlainStages) -> None:
    infants.add(Facts(code_name="wren", born=date(2026, 9, 20)), config, today=TODAY)
    infants.add(Facts(code_name="robin", born=date(2026, 9, 21), sex="male"), config, today=TODAY)

    with pytest.raises(InputError, match="contradict each other in the born"):
        infants.merge("wren", "robin", config, stages)
    with pytest.raises(InputError, match="one infant on record already"):
        infants.merge("wren", "WREN", config, stages)
    with pytest.raises(InputError, match="not merged"):
        infants.split("wren", config, stages)
    with pytest.raises(NotFoundError, match="nobody"):
        infants.merge("wren", "nobody", config, stages)


def test_a_merge_keeps_both_histories_and_can_be_undone(
    twins: VisitRecord, config: Config, stages: PlainStages
) -> None:
    infants.edit("robin", Facts(sex="male", risk_factors=("breech",)), config, stages, today=TODAY)
    contacts.add("wren", "call", "sleeps better", config, today=TODAY)
    infants.add(Facts(code_name="third"), config, today=TODAY)

    kept, days = infants.merge("robin", "wren", config, stages)
    infants.edit("robin", Facts(gestation_weeks=39), config, stages, today=TODAY)

    assert (kept.code_name, days) == ("robin", (TODAY,))
    assert _record(config, twins.visit).infant.code_name == "robin"
    assert contacts.contacts("wren", config)[1] == contacts.contacts("robin", config)[1] != []
    assert [(one.infant.code_name, one.visits, one.also) for one in infants.listed(config)] == [
        ("robin", 1, ("wren",)),
        ("third", 0, ()),
    ]
    infants.merge("third", "robin", config, stages)
    with pytest.raises(InputError, match="split that one first"):
        infants.split("wren", config, stages)
    infants.split("robin", config, stages)

    apart, kept, days = infants.split("wren", config, stages)

    assert (apart.code_name, kept.code_name, days) == ("wren", "robin", (TODAY,))
    assert (kept.sex, kept.gestation_weeks, apart.sex) == ("male", 39, None)
    assert _record(config, twins.visit).infant == apart
    assert contacts.contacts("robin", config)[1] == []


# ---------------------------------------------------------------- moves and cuts


def test_a_visit_is_moved_with_its_files(twins: VisitRecord, config: Config, stages: PlainStages) -> None:
    infants.edit("robin", Facts(born=TODAY - timedelta(days=300)), config, stages, today=TODAY)
    _sign(config, twins.visit)

    moved = moves.move(twins.visit[-6:].lower(), "Robin", config, stages, reason="the wrong chart was open")

    assert (moved.before.code_name, moved.after.code_name, moved.signed) == ("wren", "robin", True)
    record = _record(config, twins.visit)
    assert (record.infant.code_name, record.age and record.age.days) == ("robin", 300)
    with Store(config.home) as store:
        assert store.events(visit=twins.visit)[0].payload.type == "visit_opened", "where it was before is kept"
    with pytest.raises(InputError, match="filed to robin already"):
        moves.move(twins.visit, "robin", config, stages)


@pytest.mark.usefixtures("twins")
@pytest.mark.parametrize("key", ["", "abc", "../..", "%%%%", "0000000000", "' OR 1=1 --"])
def test_a_visit_that_is_not_there(key: str, config: Config, stages: PlainStages) -> None:
    with pytest.raises(NotFoundError, match="visit"):
        moves.move(key, "robin", config, stages)


def test_a_cut_is_proposed_and_decided(twins: VisitRecord, config: Config, spoken: Spoken) -> None:
    stages = PlainStages(spoken)
    stages.vocab = load_vocabulary()

    proposed = moves.propose_cuts(twins.visit, config, stages)
    parts = moves.give_stretches(twins.visit, ["0:00-0:01.5=wren", "3-end=robin"], config, stages)

    assert [(cut.at_ms, cut.quote) for cut in proposed.cuts] == [(1500, "Now her brother.")]
    assert [stretch for stretch, _ in proposed.stretches] == [(0, 1500), (1500, 4000)]
    assert [(part.infant, part.stretches) for part in parts] == [("wren", ((0, 1500),)), ("robin", ((3000, 4000),))]
    assert [_results(config, part.visit) for part in parts] == [["absent"], ["present"]]
    words = [" ".join(w.text for w in _record(config, part.visit).transcript.words) for part in parts]
    assert words[0] == words[1], "the transcript is kept whole"
    sounds = [(config.notes / part.visit / "note.html").read_bytes() for part in parts]
    assert all(str(part.stretches).encode() in sound for part, sound in zip(parts, sounds, strict=True))

    anew = moves.give_stretches(parts[1].visit, ["0-end=robin"], config, stages)

    assert [part.visit for part in anew] == [parts[1].visit]
    assert _results(config, parts[1].visit) == ["absent", "present"]
    assert not (config.notes / twins.visit).exists()
    with pytest.raises(NotFoundError):
        _record(config, twins.visit)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (["wren"], "no stretch"),
        (["0-1:60:00=wren", "x-y=robin"], "no stretch"),
        (["2-1=wren"], "ends before"),
        (["9:00-end=wren"], "ends before"),
        (["0-2=wren", "1-3=robin"], "overlap"),
        (["0-0.1=wren"], "no word was said"),
        (["1.2.3-4=wren"], "no time"),
    ],
)
def test_a_cut_that_cannot_be(
    given: list[str], says: str, twins: VisitRecord, config: Config, stages: PlainStages
) -> None:
    with pytest.raises(InputError, match=says):
        moves.give_stretches(twins.visit, given, config, stages)

    assert _record(config, twins.visit).stretches is None


def test_what_is_signed_is_not_cut(twins: VisitRecord, config: Config, stages: PlainStages) -> None:
    _sign(config, twins.visit)

    with pytest.raises(InputError, match="signed"):
        moves.give_stretches(twins.visit, ["0-1=wren"], config, stages)


@pytest.mark.parametrize(
    ("said", "cuts"),
    [
        ("The hips are fine. Now her brother. Hips.", ["Now her brother."]),
        ("Okay next is twin two then.", ["next is twin two"]),
        ("So now, Little Fox has a clunk.", ["now, Little Fox"]),
        ("Her brother had a tongue tie.", []),
        ("Now the hips. Her sister sleeps.", []),
        ("", []),
    ],
)
def test_where_a_cut_is_proposed(said: str, cuts: list[str], spoken: Spoken) -> None:
    cues = load_vocabulary().cues["twins"]

    assert [cut.quote for cut in cuts_in(spoken(said), cues, ["Little Fox"])] == cuts


@pytest.mark.parametrize(
    ("said", "plainly"),
    [("Right, now her brother.", True), ("Now the other one, the right hip.", False), ("And now Little Fox.", False)],
)
def test_only_plain_words_raise_the_question_of_a_twin(said: str, plainly: bool, spoken: Spoken) -> None:
    assert bool(turns_in(spoken(said), load_vocabulary().cues["twins"])) is plainly


# ---------------------------------------------------------------- written by hand


def test_a_visit_written_by_hand(twins: VisitRecord, config: Config, stages: PlainStages) -> None:
    opened = handwritten.open_visit("wren", config, today=TODAY, on=TODAY - timedelta(days=1), at=time(10))
    assert opened.recording is None

    late = datetime(2026, 11, 25, 18, 40)
    written = handwritten.write_visit(opened.id, "No clunk. <b>Hips</b> {{ 7*7 }}", config, stages, now=late)
    again = handwritten.write_visit(opened.id, "A clunk.", config, stages, now=late + timedelta(hours=1))
    late += timedelta(hours=2)
    back = handwritten.write_visit(opened.id, "No clunk. <b>Hips</b> {{ 7*7 }}", config, stages, now=late)

    stamps = [one.stamp for one in (written, again, back)]
    assert stamps == [f"written 2026-11-25 {at}:40 for 2026-11-24 10:00" for at in (18, 19, 20)]
    assert written.redrafted == (TODAY - timedelta(days=1), TODAY)
    assert _results(config, opened.id) == ["absent"]
    record = _record(config, opened.id)
    assert {word.source for word in record.transcript.words} == {"typed"}
    assert record.written == back.stamp
    (past,) = _record(config, twins.visit).previous
    assert past.id == opened.id
    with pytest.raises(InputError, match="it has a recording"):
        handwritten.write_visit(twins.visit, "No clunk.", config, stages, now=late)
    _sign(config, opened.id)
    with pytest.raises(InputError, match="signed"):
        handwritten.write_visit(opened.id, "No clunk.", config, stages, now=late)


@pytest.mark.usefixtures("twins")
def test_an_opened_visit_is_dictated_afterwards(config: Config, stages: PlainStages, tmp_path: Path) -> None:
    opened = handwritten.open_visit("robin", config, today=TODAY, on=date(2026, 11, 20))
    sound = tmp_path / "late.opus"
    sound.write_text("No clunk.")

    done = draft(sound, Told(visit=opened.id), config, stages, today=TODAY)

    assert (done.record.visit, done.record.day, done.record.infant.code_name) == (
        opened.id, date(2026, 11, 20), "robin")  # fmt: skip
    sound.write_text("Another one.")
    with pytest.raises(InputError, match="its recording or its text already"):
        draft(sound, Told(visit=opened.id), config, stages, today=TODAY)


@pytest.mark.usefixtures("twins")
@pytest.mark.parametrize("text", ["", " \n", "...", "a\0b", f"hips {BIDI}", "x " * 200_000])
def test_a_text_that_cannot_be_used(text: str, config: Config, stages: PlainStages) -> None:
    opened = handwritten.open_visit("wren", config, today=TODAY)

    with pytest.raises(InputError, match="text"):
        handwritten.write_visit(opened.id, text, config, stages, now=datetime(2026, 11, 25, 18, 40))


def test_sentences_and_lines_are_utterances() -> None:
    typed = typed_transcript("\ufeffHips fine. Neck\r\nWeight 4.2 kg", "now")

    assert [typed.quote(span) for span in typed.utterances] == ["Hips fine.", "Neck", "Weight 4.2 kg"]
    assert all(a.end_ms <= b.start_ms for a, b in zip(typed.words, typed.words[1:], strict=False))


# ---------------------------------------------------------------- contacts


def test_contacts_keep_their_files(twins: VisitRecord, config: Config, tmp_path: Path) -> None:
    file = tmp_path / "re\u202eport.pdf"
    file.write_bytes(b"%PDF invented")

    _, entered = contacts.add("wren", "report", "came by post\nsecond page", config, today=TODAY,
                              on=date(2026, 11, 20), at=time(9, 5), visit=twins.visit, files=[file])  # fmt: skip

    ((sha256, name, size),) = entered.files
    assert (name, size, entered.visit) == ("re_port.pdf", 13, twins.visit)
    with Store(config.home) as store:
        assert store.blobs.read(sha256) == b"%PDF invented"


@pytest.mark.parametrize(
    ("text", "more", "says"),
    [
        ("", {}, "words of a contact"),
        (BIDI, {}, "words of a contact"),
        ("x" * 20_001, {}, "words of a contact"),
        ("x", {"on": TODAY + timedelta(days=1)}, "future"),
        ("x", {"visit": "0000"}, "no such visit"),
        ("x", {"files": [Path("/")]}, "no file"),
        ("x", {"files": [Path("/dev/null")]}, "no file"),
        ("x", {"files": [Path("gone.pdf")]}, "no file"),
    ],
)
@pytest.mark.usefixtures("twins")
def test_a_contact_that_cannot_be_entered(text: str, more: dict[str, object], says: str, config: Config) -> None:
    with pytest.raises(HandspokenError, match=says):
        contacts.add("wren", "call", text, config, today=TODAY, **more)  # type: ignore[arg-type]

    assert contacts.contacts("wren", config)[1] == []
