"""A stretch destroyed: looked for as sound and as words in every file afterwards; what is left proves itself."""

import json
import re
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from conftest import Ended, _spoken
from destroying import found_in
from reviewing import NARRATION, file_narration, stages, tone

from pipeline import custody, redaction
from pipeline.audio import open_sound
from pipeline.config import Config, Settings
from pipeline.errors import InputError
from pipeline.model import Transcript, WordCorrection
from pipeline.redaction import Goes, Where
from pipeline.redaction.words import MARK, Mask, without
from pipeline.review import Addition, Sheets, Signature, add, before_signing, rendering, sign, signed_note
from pipeline.store import Store
from pipeline.visits import Told, draft

NOW = datetime(2026, 11, 25, 18, 40, tzinfo=UTC)
SECRET, TYPED = "Nebuchadnezzar", "Melchizedekson"  # long enough to be looked for in base64 too
GOES = f"The collarbone is tender, says neighbour {SECRET}, he hits his boy."
SAID = NARRATION.replace("The palate", f"{GOES} The palate")


@dataclass
class Redacted:
    """A signed visit from which a stretch was destroyed."""

    config: Config
    visit: str
    words: Transcript
    stretch: tuple[int, int]
    old: str  # hash of the sound as it came
    head: str  # of the record before
    goes: Goes


def _stretch(words: Transcript) -> tuple[int, int]:
    texts = [word.text for word in words.words]
    return words.words[texts.index("collarbone") - 1].start_ms, words.words[texts.index("boy.")].end_ms


def _sheets(config: Config) -> Sheets:
    return Sheets(config, stages(), lambda: NOW)


def _signed(config: Config, words: Transcript) -> str:
    """A visit with edits, answers, a signature and an addendum that hold words of the stretch."""
    visit = file_narration(config.home, words)
    start, _ = _stretch(words)
    sheets = _sheets(config)
    with Store(config.home) as store, store.writing() as unit:
        heard = WordCorrection(start_ms=start + 1000, end_ms=start + 1500, heard="is", meant=TYPED)
        unit.append(heard, visit=visit, infant=unit.visit(visit).infant.id)
    waits = before_signing(sheets, visit)
    reasons = {point.id: f"asked {SECRET}, left open" for point in waits.blocking}
    name = Signature(name="A. Nyone", role="chiropractor", initials="AN", reasons=reasons)
    sign(sheets, visit, waits.sheet.version, name)
    told = Addition(kind="addition", text=f"{SECRET} rang: he hits his boy.", reason="new", name="A. Nyone", role="x")
    add(sheets, visit, sheets.version(visit), told)
    return visit


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Redacted:
    """Made once; looked at by every test."""
    folder = tmp_path_factory.mktemp("redacted")
    config = Config(home=folder / "home", settings=Settings())
    config.home.mkdir()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSPOKEN_CACHE", str(folder / "cache"))
        words = _spoken(SAID)
        visit = _signed(config, words)
        kept = folder / "cache" / "chunks" / "ab" / "x.json"
        kept.parent.mkdir(parents=True)
        kept.write_text(SECRET)
        (config.home / ".verify-killed").mkdir()
        (config.home / ".verify-killed" / "record.db").write_bytes((config.home / "record.db").read_bytes())
        with Store(config.home) as store:
            head, old = store.head(), store.record(visit).recording.sha256
        a, b = _stretch(words)
        where = Where(start=f"0:{a / 1000}", end=f"{b / 1000}")
        before = redaction.preview(visit, where, "third-person", config, stages(), now=NOW)
        assert old in {path.name for path in config.blobs.rglob("*")}, "looking changes nothing"
        goes = redaction.redact(visit, where, "third-person", "A. Nyone", config, stages(), now=NOW)
        assert goes == before
    return Redacted(config, visit, words, (a, b), old, head, goes)


def test_what_goes_is_told_before(done: Redacted) -> None:
    assert done.goes.words == GOES
    assert (done.goes.cut, done.goes.visits, done.goes.sound) == ((), (done.visit,), True)
    assert any("ollarbone" in line for line in done.goes.lines)
    assert (done.goes.signed_lines >= 1, done.goes.events >= 3) == (True, True)


def test_no_word_of_it_is_found_in_any_file(done: Redacted) -> None:
    """It was heard, typed into answers and an addendum, signed, kept by a cache; one word was put in by hand."""
    assert found_in(done.config.home.parent, SECRET, TYPED, "collarbone is tender") == []
    db = sqlite3.connect(done.config.home / "record.db")
    db.execute("CREATE VIRTUAL TABLE temp.terms USING fts5vocab(main, passage_fts, row)")
    terms = {term for (term,) in db.execute("SELECT term FROM terms")}
    db.close()
    assert "fontanel" in terms  # the rest is found
    assert not {SECRET.lower(), TYPED.lower(), "collarbon", "neighbour", "hit"} & terms


def test_its_sound_is_silence_and_the_rest_is_as_it_was(done: Redacted) -> None:
    with Store(done.config.home) as store:
        recording = store.record(done.visit).recording
        path = store.blobs.path(recording.sha256)
    assert not [p for p in done.config.home.rglob("*") if p.name == done.old]
    as_it_was = done.config.home.parent / "as-it-was.wav"
    as_it_was.write_bytes(tone(done.words.duration_ms / 1000))
    before, after = (np.concatenate(list(open_sound(p).blocks())) for p in (as_it_was, path))
    as_it_was.unlink()
    a, b = (ms * 16 for ms in done.stretch)
    assert before.shape == after.shape
    assert np.abs(before[a:b]).max() > 5000
    assert not after[a:b].any()
    assert (after[:a] == before[:a]).all()
    assert (after[b:] == before[b:]).all()
    assert recording.media_type == "audio/flac"


def test_the_other_words_keep_their_place_and_the_marks_say_what_went(done: Redacted) -> None:
    with Store(done.config.home) as store:
        now = store.record(done.visit).transcript
    a, b = done.stretch
    assert len(now.words) == len(done.words.words)
    for old, new in zip(done.words.words, now.words, strict=True):
        inside = old.start_ms < b and a < old.end_ms
        assert (new.text, new.i) == (MARK if inside else old.text, old.i)
        assert inside or (new.start_ms, new.end_ms) == (old.start_ms, old.end_ms)
    assert [d.reason for d in now.dropped if (d.start_ms, d.end_ms) == (a, b)] == [
        "destroyed, because a third person was heard"
    ]


def test_the_record_still_proves_itself_and_rebuilds_the_same(done: Redacted) -> None:
    for head in (None, done.head):
        found = custody.verify(done.config, stages(), head=head, step=lambda _what: None)
        assert found.faults == ()
    (entry,) = redaction.redactions(done.config)
    assert (entry.visit, entry.reason, entry.by, entry.words) == (done.visit, "third-person", "A. Nyone", 11)


def test_the_signed_note_says_what_was_removed(done: Redacted) -> None:
    sheets = _sheets(done.config)
    signed = signed_note(sheets, done.visit)
    assert signed is not None
    (told,) = signed.note.sections[0].lines
    assert re.match(r"On 25 November 2026 A\. Nyone destroyed .* s of the recording, because a third person", told.text)
    assert signed.signed.note in told.text
    assert "1 line of this note went with it." in told.text
    assert signed.signed.signer == "A. Nyone"
    assert [entry.addendum.text for entry in signed.addenda] == [f"{MARK} rang: {MARK}."]
    page = rendering(sheets, done.visit, "note.txt").decode()
    assert "DESTROYED SINCE IT WAS SIGNED" in page
    assert "Moro: present" in page


def test_what_is_gone_cannot_go_twice(done: Redacted) -> None:
    a, b = done.stretch
    for where in (Where(f"{a / 1000}", f"{b / 1000}"), Where(f"{a / 1000 + 1}", f"{b / 1000 - 1}")):
        with pytest.raises(InputError, match="nothing is left to destroy"):
            redaction.preview(done.visit, where, "third-person", done.config, stages(), now=NOW)


def test_the_recording_as_it_came_is_not_drafted_again(done: Redacted, tmp_path: Path) -> None:
    again = tmp_path / "again.wav"
    again.write_bytes(tone(done.words.duration_ms / 1000))

    with pytest.raises(InputError, match="was destroyed and stays so"):
        draft(again, Told(), done.config, stages(), today=NOW.date())


@pytest.mark.parametrize(
    ("where", "why", "says"),
    [
        (Where("1:00", "0:50"), "third-person", "no stretch"),
        (Where("50:00", "51:00"), "third-person", "no stretch"),
        (Where("0:01"), "third-person", "from when to when"),
        (Where("x", "0:50"), "third-person", "no time"),
        (Where("0:01", "0:02"), "because", "one of third-person"),
        (Where(line="e"), "third-person", "lines of the note hold"),
        (Where(line="", start="1"), "third-person", "from when to when"),
    ],
)
def test_what_cannot_be_is_told_in_a_sentence(where: Where, why: str, says: str, done: Redacted) -> None:
    with pytest.raises(InputError, match=says):
        redaction.preview(done.visit, where, why, done.config, stages(), now=NOW)


def test_the_command_shows_first_and_destroys_on_yes(
    handspoken: Callable[..., Ended], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HANDSPOKEN_CACHE", str(tmp_path / "cache"))
    (tmp_path / "home").mkdir()
    visit = file_narration(tmp_path / "home", _spoken(f"No clunk. My neighbour {SECRET} came. The hips are normal."))
    wanted = ("redact", visit[-6:], "0:01", "0:03.5", "--reason", "third-person")

    shown = handspoken(*wanted)
    assert (shown.code, "Nothing was changed" in shown.out, SECRET in shown.out) == (0, True, True)
    assert handspoken(*wanted, "--yes").err.startswith("handspoken: --by")
    assert found_in(tmp_path / "home", SECRET)
    gone = handspoken(*wanted, "--by", "A. Nyone", "--yes")
    assert (gone.code, gone.err, SECRET in gone.out) == (0, "", False)
    assert found_in(tmp_path / "home", SECRET) == []
    assert "0:01.0 to 0:03.5, 5 words: a third person was heard (A. Nyone)" in handspoken("redact").out
    assert json.loads(handspoken("redact", "--json").out)[0]["by"] == "A. Nyone"


def test_quotes_and_telling_words_are_marked_and_no_others() -> None:
    mask = Mask([["my", "neighbour", "Zebulon", "hits", "his", "boy"]], ["neighbour hits boy his"])

    assert mask.text("Told by Zebulon's wife: hits his boy; his boy is well.") == (
        f"Told by {MARK} wife: {MARK}; his boy is well."
    )
    name = "Zebulon"
    assert mask.data({"text": name, "id": name, "left_open": {name: name}}) == {
        "text": MARK, "id": name, "left_open": {name: MARK},
    }  # fmt: skip


def test_nothing_is_read_across_what_is_gone() -> None:
    """A denial before the stretch must not reach a finding behind it, nor the other way round."""
    said = _spoken("There is no clunk says Zebulon the left hip is tight.")
    now = without(said, (1500, 3000), "x")

    assert now.utterances == ((0, 3), (3, 6), (6, 11))
    found = {(item.concept, item.side, item.result) for item in stages().extract(now, None).items}
    assert found == {("tissue.tension", "left", "tight")}
