"""Signing: what must be answered, what is locked, what may be added; and the papers. All invented."""

import io
import json
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import docx
import pytest
from reviewing import NARRATION, file_narration, stages
from webbing import Pages, change, state

from pipeline.errors import StoreError
from pipeline.model import Note, Transcript
from pipeline.review import Sheets, signed_note
from pipeline.store import Store
from pipeline.store.events import Signed

SIGNER = {"name": "A. Invented", "role": "osteopath", "initials": "AI"}
SAFEGUARDING = "There's a bruise on the left thigh."
HOSTILE = "<img src=x onerror=window.ran=1> {{7*7}} \u202e"


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory, spoken: Callable[[str], Transcript]) -> tuple[Path, str]:
    """A record with one visit, made once; each test works on a copy."""
    home = tmp_path_factory.mktemp("filed") / "home"
    return home, file_narration(home, spoken(f"{NARRATION} {SAFEGUARDING}"), "Wren")


@pytest.fixture(scope="module")
def visit(filed: tuple[Path, str]) -> str:
    return filed[1]


@pytest.fixture
def opened(filed: tuple[Path, str], tmp_path: Path) -> Iterator[Pages]:
    shutil.copytree(filed[0], tmp_path / "home")
    with Pages(tmp_path / "home", stages()) as client:
        yield client


@pytest.fixture
def signed(opened: Pages, visit: str) -> Pages:
    """The visit signed: the dangers answered, one left open with its reason."""
    for key in _blocking(opened, visit):
        if key.startswith("RF01"):
            assert change(opened, visit, type="choose", point=key, say="done as advised").status_code == 200
    reasons = dict.fromkeys(_blocking(opened, visit), "told to the person in charge")
    assert _sign(opened, visit, reasons=reasons).status_code == 200
    return opened


def _sheets(opened: Pages) -> Sheets:
    def never() -> Any:
        raise AssertionError("looking asks for no time")

    return Sheets(opened.config, stages(), never)


def _blocking(opened: Pages, visit: str) -> list[str]:
    return [p.id for p in _sheets(opened).sheet(visit).points() if p.blocks and not p.answer]


def _sign(opened: Pages, visit: str, version: int | None = None, **more: Any) -> Any:
    version = state(opened, visit)["version"] if version is None else version
    body = {"version": version, "signature": SIGNER | more}
    return opened.post(f"/visits/{visit}/signature", json=body, headers={"accept": "application/json"})


def _add(opened: Pages, visit: str, version: int, **more: Any) -> Any:
    addition = {"kind": "correction", "text": "It was the right side.", "reason": "read again", "name": "A. Invented",
                "role": "osteopath"}  # fmt: skip
    body = {"version": version, "addition": addition | more}
    return opened.post(f"/visits/{visit}/addenda", json=body, headers={"accept": "application/json"})


def _payload(opened: Pages, visit: str) -> Signed:
    with Store(opened.config.home) as store:
        (payload,) = [e.payload for e in store.events(visit=visit) if isinstance(e.payload, Signed)]
    return payload


def test_what_blocks_must_be_answered_or_have_a_reason(opened: Pages, visit: str) -> None:
    blocking = _blocking(opened, visit)
    assert "RF01:whole_body" in blocking
    text = opened.get(f"/visits/{visit}/sign").text
    assert text.index("Must be answered") < text.index("Still open")

    refused = _sign(opened, visit, reasons=dict.fromkeys(blocking[1:], "x"))

    assert refused.status_code == 400
    assert "must be answered" in refused.json()["error"]
    assert _blocking(opened, visit) == blocking


@pytest.mark.parametrize("left_out", ["name", "role"])
def test_a_signature_has_a_name_and_a_role(left_out: str, opened: Pages, visit: str) -> None:
    reasons = dict.fromkeys(_blocking(opened, visit), "x")

    lacking: dict[str, Any] = {"reasons": reasons, left_out: " \u202e"}

    assert _sign(opened, visit, **lacking).status_code == 400


def test_the_signed_note_is_hashed_and_says_what_was_adopted(signed: Pages, visit: str) -> None:
    payload = _payload(signed, visit)
    with Store(signed.config.home) as store:
        note = Note.model_validate_json(store.blobs.read(payload.note))
        page = store.blobs.read(payload.renderings["note.html"]).decode()

    assert payload.signer == "A. Invented"
    assert len(payload.norms_sha256) == len(payload.transcript_sha256) == len(payload.recording_sha256) == 64
    assert note.signed_by == "A. Invented, osteopath (AI)"
    assert not {"check", "not_looked_at", "struck"} & {section.id for section in note.sections}
    assert "s answer: <bdi>done as advised." in page
    assert "Emergency now" not in page, "a prompt that was answered is printed as the answer"
    assert "to check" not in page.lower()


def test_the_files_of_a_note_in_clear_become_the_signed_ones(opened: Pages, visit: str) -> None:
    folder = opened.config.note_folder(visit)
    assert folder is not None
    folder.mkdir(parents=True)
    (folder / "note.md").write_text("the draft")
    _sign(opened, visit)  # refused: something blocks
    assert (folder / "note.md").read_text() == "the draft"

    _sign(opened, visit, reasons=dict.fromkeys(_blocking(opened, visit), "told to the person in charge"))

    assert SIGNER["name"] in (folder / "note.md").read_text()


def test_a_signed_note_is_locked(signed: Pages, visit: str) -> None:
    version = _sheets(signed).version(visit)
    line = next(line for line in _sheets(signed).sheet(visit).lines() if line.slots)

    answers = [
        change(signed, visit, version, type="strike", line=line.id),
        change(signed, visit, version, type="undo"),
        _sign(signed, visit, version),
    ]

    assert [answer.status_code for answer in answers] == [409, 409, 409]
    page = signed.get(f"/visits/{visit}").text
    assert "Signed by" in page
    assert 'data-do="undo"' not in page
    assert "signed" in signed.get("/").text


def test_a_damaged_signed_note_is_not_shown(signed: Pages, visit: str) -> None:
    with Store(signed.config.home) as store:
        path = store.blobs.path(_payload(signed, visit).note)
    path.write_bytes(path.read_bytes().replace(b"Wren", b"Robin"))

    with pytest.raises(StoreError, match="altered or damaged"):
        signed_note(_sheets(signed), visit)
    assert signed.get(f"/visits/{visit}").status_code == 503


def test_an_addendum_stands_by_its_line_with_date_author_and_reason(signed: Pages, visit: str) -> None:
    version = _sheets(signed).version(visit)
    line = next(line for line in _sheets(signed).sheet(visit).lines() if "Hip, left, abduction" in line.text)

    assert _add(signed, visit, version, line=line.id).status_code == 200
    assert _add(signed, visit, version).status_code == 409, "two windows"
    assert _add(signed, visit, _sheets(signed).version(visit), kind="late_entry", text=HOSTILE).status_code == 200

    page = signed.get(f"/visits/{visit}").text
    entry = page[page.index(line.text) :]
    assert re.search(r"Correction, \d+ \w+ \d{4}, \d\d:\d\d, <bdi>A. Invented</bdi>", entry)
    assert "Reason: <bdi>read again</bdi>" in entry
    assert entry.index("Correction, ") < entry.index("Late entry, ")
    assert "&lt;img src=x onerror=window.ran=1&gt; {{7*7}}" in page
    assert "\u202e" not in page


@pytest.mark.parametrize("left_out", ["text", "reason", "name", "role"])
def test_an_addendum_needs_all_of_it(left_out: str, signed: Pages, visit: str) -> None:
    assert _add(signed, visit, _sheets(signed).version(visit), **{left_out: " "}).status_code == 400


def test_only_a_signed_note_is_added_to(opened: Pages, visit: str) -> None:
    assert _add(opened, visit, state(opened, visit)["version"]).status_code == 409


def test_a_second_practitioner_signs_too(opened: Pages, spoken: Callable[[str], Transcript]) -> None:
    visit = file_narration(
        opened.config.home,
        spoken("My student is here. My student found the left hip tight."),
        "Two",
    )
    reasons = dict.fromkeys(_blocking(opened, visit), "x")

    alone = _sign(opened, visit, reasons=reasons)
    both = _sign(opened, visit, reasons=reasons, second="B. Invented", second_role="student", second_initials="BI")

    assert alone.status_code == 400
    assert "student or a second practitioner" in alone.json()["error"]
    assert both.status_code == 200
    assert "B. Invented, student (initials BI)" in signed_by(opened, visit)


def signed_by(opened: Pages, visit: str) -> str:
    found = signed_note(_sheets(opened), visit)
    assert found is not None
    return found.note.signed_by or ""


def test_a_newer_program_only_tells_what_would_differ(
    signed: Pages, visit: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = _payload(signed, visit)
    draft = stages().draft

    def newer(*args: Any, **named: Any) -> Note:
        note: Note = draft(*args, **named)
        return Note.model_validate(json.loads(note.model_dump_json().replace("soft and flat", "soft, flat")))

    monkeypatch.setattr(stages(), "draft", newer)
    found = signed_note(_sheets(signed), visit)

    assert found is not None
    assert found.differs == (("Anterior fontanelle: soft and flat", "Anterior fontanelle: soft, flat"),)
    assert "would word 1 line otherwise" in Pages(signed.config.home, stages()).get(f"/visits/{visit}").text
    assert _payload(signed, visit) == before


# ---------------------------------------------------------------- papers


def _paper(opened: Pages, visit: str, name: str) -> Any:
    return opened.get(f"/visits/{visit}/papers/{name}")


def _docx_text(data: bytes) -> str:
    return "\n".join(paragraph.text for paragraph in docx.Document(io.BytesIO(data)).paragraphs)


def test_the_parents_sheet_holds_what_was_advised_and_no_more(signed: Pages, visit: str) -> None:
    text = _paper(signed, visit, "parents.html").text

    assert "Let your baby play on the tummy when awake: 3 times a day." in text
    assert "Next visit in 2 weeks" in text
    assert "Put your baby to sleep" not in text
    assert "fontanelle" not in text


@pytest.mark.parametrize("kind", ["parents", "letter", "note"])
@pytest.mark.parametrize("form", ["html", "docx"])
def test_no_paper_tells_what_concerns_safeguarding(kind: str, form: str, signed: Pages, visit: str) -> None:
    sheet = _sheets(signed).sheet(visit)
    private = [point for point in sheet.points() if point.private]
    data = _paper(signed, visit, f"{kind}.{form}").content
    text = _docx_text(data) if form == "docx" else data.decode()

    assert private, "the narration raises one"
    assert "told to the person in charge" not in text
    for point in private:
        assert point.text not in text


def test_the_letter_tells_the_danger_and_what_was_done(signed: Pages, visit: str) -> None:
    text = _docx_text(_paper(signed, visit, "letter.docx").content)

    assert "Fever under three months" in text
    assert "Fever under three months: done as advised" in text
    assert "signed by A. Invented" in text


def test_a_pdf_is_made(signed: Pages, visit: str) -> None:
    try:
        import weasyprint  # noqa: F401
    except OSError:
        pytest.skip("the libraries of Pango are not on this machine")

    assert _paper(signed, visit, "parents.pdf").content.startswith(b"%PDF-")


def test_without_its_libraries_a_pdf_is_refused_in_words(
    signed: Pages, visit: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    import builtins

    real = builtins.__import__

    def lacking(name: str, *args: Any, **named: Any) -> Any:
        if name == "weasyprint":
            raise OSError("cannot load library 'pango'")
        return real(name, *args, **named)

    monkeypatch.setattr(builtins, "__import__", lacking)
    answer = _paper(signed, visit, "note.pdf")

    assert answer.status_code == 400
    assert "libpango" in answer.text


def test_a_visit_without_advice_has_no_sheet(opened: Pages, spoken: Callable[[str], Transcript]) -> None:
    visit = file_narration(opened.config.home, spoken("The palate is normal."), "None")

    assert _paper(opened, visit, "parents.html").status_code == 404
    assert _paper(opened, visit, "letter.docx").status_code == 404


def test_a_persons_own_template_wins_and_cannot_reach_out(opened: Pages, visit: str) -> None:
    own = opened.config.home / "templates"
    own.mkdir()
    stages_here = type(stages())(stages().vocab, opened.config)
    with Pages(opened.config.home, stages_here) as client:
        (own / "parents.html.j2").write_text("Own: {{ paper.title }} <b>{{ paper.blocks[0].lines[0] }}</b>")
        assert _paper(client, visit, "parents.html").text.startswith("Own: For you at home <b>Let your baby")
        (own / "letter.html.j2").write_text("{{ paper.__class__.__mro__ }}")
        refused = _paper(client, visit, "letter.html")
        assert refused.status_code == 400
        assert "cannot be used" in refused.text
        (own / "note.html.j2").write_text("no red flags here")
        assert "no red flags here" not in _paper(client, visit, "note.html").text


def test_only_known_papers_are_made(opened: Pages, visit: str) -> None:
    for name in ("note.exe", "secrets.pdf", "..%2fnote.html"):
        assert _paper(opened, visit, name).status_code in (404, 422)
