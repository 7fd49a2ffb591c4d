"""A copy for a request: all of one infant, others and safeguarding held back unless released; the log of it all."""

import csv
import hashlib
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from reviewing import file_narration, stages

from pipeline import contacts, disclosures, readings
from pipeline.config import Config, Settings
from pipeline.disclosures import Request
from pipeline.errors import InputError, NotFoundError
from pipeline.model import Transcript
from pipeline.review import Addition, Sheets, Signature, add, before_signing, sign
from pipeline.store import Store

ON = date(2026, 11, 25)
SAID = (
    "She is seven weeks old. The anterior fontanelle is soft and flat. Her cousin Ottoline has a tight left "
    "sternocleidomastoid. There is a bruise on the cheek. Left hip abduction is limited. Come back in two weeks."
)
ASKED = Request("Ann Invented, mother", "asked in writing", "Kim Invented")


@pytest.fixture
def config(tmp_path: Path) -> Config:
    (tmp_path / "home").mkdir()
    return Config(home=tmp_path / "home", settings=Settings())


@pytest.fixture
def visit(config: Config, spoken: Callable[[str], Transcript]) -> str:
    """A visit signed and added to, in which a cousin is spoken of; and another infant's."""
    file_narration(config.home, spoken("The palate is high. Moro is present, says Quillfeather."), name="Robin")
    visit = file_narration(config.home, spoken(SAID))
    sheets = Sheets(config, stages(), lambda: datetime(2026, 11, 25, 18, 40, tzinfo=UTC))
    blocking = {point.id: "known to the paediatrician" for point in before_signing(sheets, visit).blocking}
    given = Signature(name="Kim Invented", role="chiropractor", reasons=blocking)
    sign(sheets, visit, sheets.version(visit), given)
    late = Addition(kind="late_entry", text="fed before", reason="forgotten", name="Kim Invented", role="chiropractor")
    add(sheets, visit, sheets.version(visit), late)
    report = config.home.parent / "report.txt"
    report.write_text("hips normal")
    contacts.add("Wren", "report", "=came", config, today=ON, files=[report])
    return visit


def copied(config: Config, request: Request, name: str) -> dict[str, bytes]:
    to = config.home.parent / name
    disclosures.copy("wren", request, to, config, stages(), on=ON)
    return {path.relative_to(to).as_posix(): path.read_bytes() for path in to.rglob("*") if path.is_file()}


def stretch(words: Transcript, first: str, last: str) -> tuple[str, str]:
    start = next(w.start_ms for w in words.words if w.text.startswith(first))
    end = next(w.end_ms for w in words.words if w.text.startswith(last))
    return f"{start // 60000}:{start % 60000 / 1000:06.3f}", f"{end // 60000}:{end % 60000 / 1000:06.3f}"


def test_a_copy_holds_all_of_one_infant_as_it_was_signed(config: Config, visit: str) -> None:
    readings.note_read(config, "note", "page", visit=visit)
    files = copied(config, ASKED, "copy")

    folder = next(name.partition("/")[0] for name in files if name.endswith("words.vtt"))
    with Store(config.home) as store:
        signed = next(e.payload for e in store.events(visit=visit) if e.payload.type == "signed")
        for name, sha256 in signed.renderings.items():
            assert files[f"{folder}/{name}"] == store.stored(sha256)
    assert b"fed before" in files[f"{folder}/added.txt"]
    assert any(data == b"hips normal" for data in files.values())
    rows = list(csv.DictReader(files["who read and changed it.csv"].decode().splitlines()))
    assert [row["what"] for row in rows if row["how"] == "read"] == ["note"]
    listed = {line for line in files["contents.txt"].decode().splitlines() if "  " in line}
    others = {n: hashlib.sha256(data).hexdigest() for n, data in files.items() if n != "contents.txt"}
    assert listed == {f"{sha256}  {name}" for name, sha256 in others.items()}
    assert b"Quillfeather" not in b"".join(files.values())


def test_what_tells_of_others_and_safeguarding_goes_only_when_released(
    config: Config, visit: str, spoken: Callable[[str], Transcript]
) -> None:
    start, end = stretch(spoken(SAID), "Her", "sternocleidomastoid")
    disclosures.hold_back(visit, start, end, "a cousin", config)
    held = copied(config, ASKED, "held")
    whole = b"".join(held.values())
    assert b"Ottoline" not in whole
    assert b"fontanelle" in whole
    assert b"[held back]" in whole
    assert b"safeguarding" in held["contents.txt"]
    assert not any(name.endswith("safeguarding.txt") for name in held)
    with pytest.raises(InputError, match="why safeguarding"):
        copied(config, Request("court", "order", "Kim Invented", {"safeguarding": " "}), "no reason")

    released = Request(
        "court", "order 7", "Kim Invented", {"third-party": "ordered", "safeguarding": "ordered too"}, True
    )
    given = copied(config, released, "given")
    assert b"Ottoline" in b"".join(given.values())
    assert any(name.endswith("safeguarding.txt") for name in given)
    assert any("/sound." in name for name in given)
    log = disclosures.disclosures(config, "wren")
    assert [one.disclosed.released for one in log] == [{}, released.released]
    assert log[1].disclosed.contents_sha256 == hashlib.sha256(given["contents.txt"]).hexdigest()
    assert b"asked in writing" in given["given before.csv"]


@pytest.mark.usefixtures("visit")
def test_the_log_tells_to_whom_what_on_what_ground(config: Config) -> None:
    disclosures.note("wren", "letter, by post", ASKED, config, on=ON)
    (one,) = disclosures.disclosures(config)
    told = one.disclosed
    assert (one.infant, told.to, told.ground, told.day) == ("Wren", ASKED.to, ASKED.ground, ON)
    assert disclosures.disclosures(config, "robin") == []
    for bad in (Request("", "asked", "Kim"), Request("Ann", "", "Kim"), Request("Ann", "asked", "")):
        with pytest.raises(InputError):
            copied(config, bad, "bad")
        assert not (config.home.parent / "bad").exists()
    with pytest.raises(NotFoundError):
        disclosures.copy("nobody", ASKED, config.home.parent / "bad", config, stages(), on=ON)
    assert len(disclosures.disclosures(config)) == 1
