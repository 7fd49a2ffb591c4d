"""A copy without names: nothing that was planted in the record comes through, in any form or coding."""

import base64
import csv
import io
import json
import re
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from exporting import document, filed
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import file_visit, infant, item, record_of

from pipeline.config import Config, Settings
from pipeline.exchange import Wish, export
from pipeline.export import Nameless
from pipeline.export.nameless import SHIFT_DAYS
from pipeline.export.tables import COLUMNS
from pipeline.model import Age, Carer, Dose, Onset, Recording, Span, Transcript
from pipeline.records import FiledVisit
from pipeline.stages import ShippedStages
from pipeline.store import Store
from pipeline.store.events import Addendum, Consent, Contact, Signed
from pipeline.vocabulary import load_vocabulary

VOCAB = load_vocabulary()
BORN, DAYS = date(2026, 9, 30), (date(2026, 10, 28), date(2026, 11, 25))
NAMES = (
    *("Thaddeusson", "Quillfeather", "Marigoldine", "Ferdinanda", "Ottokarine", "Practitia", "Ludmillara"),
    *("Zebedeea", "Brambleburg", "Tidemillious"),
)
NUMBERS = ("0770900123", "447700900", "943476591", "SW1A2BB")
# What was said: a name of everybody, numbers, a date, an address, inside sentences that make lines.
SAID = (
    "Thaddeusson Quillfeather here with mum Marigoldine. The left sternocleidomastoid is tight. "
    "Ferdinanda cried so no Moro because of Zebedeea. Ortolani negative. Weight four point one kilos. "
    "See Doctor Ludmillara in Brambleburg if there is fever call 0770900123. He was born on 2026-09-30. "
    "I held the left sternocleidomastoid for thirty seconds and Ottokarine said it let go. See you in two weeks."
)
PLANTED = (
    *NAMES,
    *NUMBERS,
    *("2026-09-30", "2026-10-28", "2026-11-25", "20260930", "20261028", "20261125", "30.09.2026", "09/30/2026"),
    *("thaddeus-visit.m4a", "letter-brambleburg.pdf"),
)


def visits(spoken: Callable[[str], Transcript], store: Store, stages: ShippedStages) -> tuple[str, ...]:
    """Two visits of an infant with names in every free text that there is; returns their ids."""
    from pipeline.run import derive

    known = infant(
        "Thaddeusson",
        legal_name="Thaddeusson Quillfeather",
        born=BORN,
        sex="male",
        gestation_weeks=38,
        birth_weight_kg=3.456,
        risk_factors=("breech like sister Ferdinanda", "0770900123"),
        carers=(Carer(name="Marigoldine Quillfeather", role="aunt of Zebedeea"),),
    )
    ids = []
    for n, day in enumerate(DAYS):
        words = spoken(f"{SAID} {'Again.' * n}")
        given = record_of(words, known, day, Age(days=(day - BORN).days, as_said="born 2026-09-30, says Marigoldine"))
        recording = Recording(id=words.recording, sha256=words.recording, media_type="audio/mp4", duration_ms=9,
                              source_name="thaddeus-visit.m4a", torn="Ottokarine stopped it")  # fmt: skip
        visit = file_visit(store, given.model_copy(update={"recording": recording})).visit
        drafted = derive(store.record(visit), stages)
        with store.writing() as unit:
            unit.put_draft(store.record(visit), drafted)
            note = unit.blobs.keep(drafted.note.model_dump_json().encode())
            signed = Signed(
                note=note, renderings={}, signer="Practitia, HCPC 943476591", program="x", vocab_hash="0" * 64
            )
            unit.append(signed, visit=visit, infant=known.id)
            unit.append(Addendum(text="Ludmillara rang 0770900123", signer="Practitia"), visit=visit)
            unit.append(Consent(scope="treat", state="given", giver="Marigoldine"), visit=visit)
            unit.append(Contact(day=day, what="report", text="letter-brambleburg.pdf from Tidemillious, SW1A2BB"),
                        infant=known.id)  # fmt: skip
        ids.append(visit)
    return (known.id, *ids)


@pytest.fixture(scope="module")
def copies(spoken: Callable[[str], Transcript], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The same record in every form without names; and as it goes out with them."""
    home = tmp_path_factory.mktemp("record") / "home"
    config = Config(home=home, settings=Settings())
    stages = ShippedStages(VOCAB, config)
    with Store(home) as store:
        ids = visits(spoken, store, stages)
    made: dict[str, Any] = {"ids": ids, "config": config, "stages": stages}
    for form in ("fhir", "csv", "parquet"):
        for nameless in (True, False):
            to = home.parent / f"{form}-{nameless}"
            export(None, Wish(form, nameless=nameless), to, config, stages)
            made[f"{form} {'nameless' if nameless else 'named'}"] = to
    return made


def everything(folder: Path) -> Iterator[str]:
    """File names and contents; Parquet by its cells and metadata; what may be base64 or hexadecimal, decoded too."""
    for path in folder.rglob("*"):
        yield path.name
        if path.suffix == ".parquet":
            table = pq.read_table(path)
            yield repr(table.schema.metadata)
            yield json.dumps(table.to_pylist(), default=str)
        yield from readings(path.read_bytes())


def readings(data: bytes) -> Iterator[str]:
    yield data.decode("utf-8", "replace")
    yield from (data[start:].decode("utf-16-le", "replace") for start in (0, 1))
    for found in re.findall(rb"[A-Za-z0-9+/_-]{8,}={0,2}", data):
        for start in range(4):  # a name may begin anywhere in a longer coded text
            part = found[start:].translate(bytes.maketrans(b"-_", b"+/")).rstrip(b"=")
            yield base64.b64decode(part + b"=" * (-len(part) % 4) if len(part) % 4 != 1 else part[:-1]).decode(
                "utf-8", "replace"
            )
    for found in re.findall(rb"(?:[0-9a-fA-F]{2}){4,}", data):
        yield bytes.fromhex(found.decode()).decode("utf-8", "replace")


def survivors(folder: Path, planted: tuple[str, ...]) -> set[str]:
    texts = [text.casefold() for text in everything(folder)]
    return {word for word in planted if any(word.casefold() in text for text in texts)}


@pytest.mark.parametrize("form", ["fhir", "csv", "parquet"])
def test_nothing_planted_comes_through(copies: dict[str, Any], form: str) -> None:
    assert survivors(copies[f"{form} nameless"], (*PLANTED, *copies["ids"])) == set()


@pytest.mark.parametrize("form", ["fhir", "csv", "parquet"])
def test_the_search_for_them_finds_what_is_there(copies: dict[str, Any], form: str) -> None:
    """With names they are found: the test above can fail."""
    found = survivors(copies[f"{form} named"], (*PLANTED, *copies["ids"]))

    assert {"Thaddeusson", "Zebedeea", "2026-11-25", "0770900123", *copies["ids"]} <= found
    if form == "fhir":
        assert {*NAMES} - {"Tidemillious"} <= found


def test_a_coded_name_would_be_found(tmp_path: Path) -> None:
    for n, coded in enumerate((base64.b64encode(b"xxThaddeusson"), b"Thaddeusson".hex().encode(),
                               base64.urlsafe_b64encode("…Thaddeusson".encode()),
                               "Thaddeusson".encode("utf-16-le"))):  # fmt: skip
        (tmp_path / str(n)).mkdir()
        (tmp_path / str(n) / "x").write_bytes(b'{"data":"' + coded + b'"}')

        assert survivors(tmp_path / str(n), ("Thaddeusson",)) == {"Thaddeusson"}, n


def rows(copies: dict[str, Any], kind: str) -> list[dict[str, str]]:
    text = (copies[f"csv {kind}"] / "items.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_what_teaches_stays(copies: dict[str, Any]) -> None:
    """What was found, ages, and the time between the visits are the same."""
    kept = (
        "age_days",
        "kind",
        "concept",
        "site",
        "side",
        "result",
        "value",
        "unit",
        "sex",
        "gestation_weeks",
        "signed",
    )
    told, bare = ([tuple(row[k] for k in kept) for row in rows(copies, kind)] for kind in ("named", "nameless"))
    days = sorted({date.fromisoformat(row["day"]) for row in rows(copies, "nameless")})

    assert sorted(told) == sorted(bare)
    assert len(told) > 10
    assert days[1] - days[0] == DAYS[1] - DAYS[0]
    assert timedelta(SHIFT_DAYS[0]) <= DAYS[0] - days[0] <= timedelta(SHIFT_DAYS[1])
    for row in rows(copies, "nameless"):
        assert [row[c] for c in ("detail", "reason", "quote", "recording_sha256", "flags")] == [""] * 5


def test_every_text_of_the_table_is_of_the_vocabulary(copies: dict[str, Any]) -> None:
    shipped = {*VOCAB.concepts, *VOCAB.sites}
    shipped |= {one.label for one in (*VOCAB.concepts.values(), *VOCAB.sites.values())}
    shipped |= {result for concept in VOCAB.concepts.values() for result in concept.results}
    plain = re.compile(
        r"|-?\d+(\.\d+)?|\d{4}-\d\d-\d\d|[0-9a-f]{26}|[0-9a-f-]{36}|infant-[0-9a-f]{8}|true|false|none|left|right|both"
        r"|not_assessed|value|finding|history|treatment|advice|plan|impression|clinician|caregiver|mother|father|kg|wk|male|marked"
    )
    for row in rows(copies, "nameless"):
        for name, cell in row.items():
            assert cell in shipped or plain.fullmatch(cell), (name, cell)


def test_copies_made_with_one_key_fit_together_and_others_do_not(copies: dict[str, Any], tmp_path: Path) -> None:
    config, stages = copies["config"], copies["stages"]
    export(None, Wish("csv", nameless=True), tmp_path / "a", config, stages)
    (config.home / "nameless.key").unlink()
    export(None, Wish("csv", nameless=True), tmp_path / "b", config, stages)

    first = (copies["csv nameless"] / "items.csv").read_bytes()
    assert (tmp_path / "a" / "items.csv").read_bytes() == first
    other = (tmp_path / "b" / "items.csv").read_bytes()
    assert other != first
    assert (config.home / "nameless.key").stat().st_mode & 0o077 == 0


def one(spoken: Callable[[str], Transcript], **slots: Any) -> FiledVisit:
    t = spoken("x")
    return filed(document(t, item(t, (0, 1), "motion.rotation", "limited", site="neck").model_copy(update=slots)))


@pytest.mark.parametrize(
    "slots",
    [
        {"value": 7709001234.0, "unit": "deg"},
        {"value": 20260930.0, "unit": "Thaddeusson"},
        {"level": "Thaddeusson"},
        {"site": "thaddeusson"},
        {"result": "thaddeusson"},
        {"flags": ("Thaddeusson",)},
        {"dose": Dose(seconds=7709001234.0, times=20260930.0, days=20260930.0)},
        {"onset": Onset(value=20260930.0, unit="d")},
        {"id": "Thaddeusson"},
        {"concept": "own.thaddeusson"},
    ],
)
def test_a_name_or_a_number_in_any_slot_is_dropped(spoken: Callable[[str], Transcript], slots: dict[str, Any]) -> None:
    bare = Nameless(b"k" * 32, VOCAB).visit(one(spoken, **slots))

    text = bare.model_dump_json().casefold()
    assert not [word for word in ("thaddeusson", "7709001234", "20260930") if word in text]


@settings(max_examples=30)
@given(st.text(min_size=4, max_size=20))
def test_no_word_that_was_said_comes_through(word: str) -> None:
    from conftest import _spoken

    span = Span(start_ms=0, end_ms=1, words=(0, 1), quote=f"~{word}~")
    bare = Nameless(b"k" * 32, VOCAB).visit(one(_spoken, detail=f"~{word}~", reason=f"~{word}~", evidence=(span,)))

    assert "~" not in bare.model_dump_json()


def test_shifts_differ_between_infants_and_stay_in_their_limits() -> None:
    nameless, day = Nameless(b"k" * 32, VOCAB), date(2026, 11, 25)
    shifts = {(day - nameless.day(day, f"infant {n}")).days for n in range(300)}

    assert len(shifts) > 250
    assert SHIFT_DAYS[0] <= min(shifts) < max(shifts) <= SHIFT_DAYS[1]
    assert nameless.day(date(1, 1, 1), "x") == date(1, 1, 1), "no day before the first"


def test_the_table_has_no_column_that_this_file_does_not_know() -> None:
    """A new column may hold a name: look at it in ``nameless.py`` and in the tests above, then add it here."""
    assert len(COLUMNS) == 39
