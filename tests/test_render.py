"""The rendered note: times, own words, marks, hostile words, and what the page may load. The visit is invented."""

import base64
import hashlib
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jinja2.exceptions import SecurityError
from markdown_it import MarkdownIt

from pipeline.draft import draft_note
from pipeline.errors import InputError
from pipeline.model import (
    Age,
    Dropped,
    Extraction,
    Heard,
    Infant,
    Item,
    Mark,
    Note,
    Remark,
    Transcript,
    Urgency,
    item_id,
    span_of,
)
from pipeline.render import AudioBeside, EmbeddedAudio, render_html, render_markdown, render_text
from pipeline.safe import clean, html_templates, markdown_text
from pipeline.times import clock
from pipeline.vocabulary import load_vocabulary

GOLDEN = Path(__file__).parent / "golden"
SOUND = EmbeddedAudio(data=b"not really sound", media_type="audio/ogg")
HOSTILE = (
    "<script>window.ran=1</script>",
    "<img src=x onerror=window.ran=1>",
    '"><svg onload=window.ran=1>',
    "{{ 7*7 }}{% raw %}",
    "](javascript:window.ran=1)",
    "`code` **bold** # head <b>",
    "left\u202e tfel \u2066hidden\u2069",
    "bell\x07 escape\x1b[31m null\x00 nel\x85",
    "lone\ud800surrogate",
)


class Page(HTMLParser):
    """Elements with their attributes, and the text a reader gets."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self._words: list[str] = []
        self._stack: list[str] = []
        self.feed(html)
        self.text = " ".join("".join(self._words).split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self._stack.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag in self._stack:
            while self._stack.pop() != tag:
                pass

    def handle_data(self, data: str) -> None:
        if not {"script", "style", "title"} & set(self._stack):
            self._words.append(data)

    def all(self, tag: str, css_class: str = "") -> list[dict[str, str | None]]:
        """The attributes of every such element."""
        wanted = {*css_class.split()}
        return [a for t, a in self.elements if t == tag and wanted <= {*(a.get("class") or "").split()}]


def _item(transcript: Transcript, i0: int, i1: int, concept: str, result: str, **slots: object) -> Item:
    known = load_vocabulary().concepts[concept]
    span = span_of(transcript.words, i0, i1)
    base: dict[str, object] = {"site": known.site, "kind": known.kind, "evidence": (span,), **slots}
    ident = item_id(transcript.recording, concept, str(base["site"]), span.start_ms)
    return Item.model_validate({"id": ident, "concept": concept, "result": result, **base})


def _visit(transcript: Transcript, *items: Item, remarks: tuple[Remark, ...] = (), code_name: str = "Wren") -> Note:
    return draft_note(
        Extraction(items=items, clauses=()),
        remarks,
        transcript,
        infant=Infant(id="i1", code_name=code_name, born=date(2026, 9, 23), gestation_weeks=38),
        age=Age(days=63, corrected_days=49, as_said="9 weeks"),
        on=date(2026, 11, 25),
        visit="v1",
        vocab=load_vocabulary(),
        cautions=("A draft, to be signed by a licensed clinician.", "Some rules restrict or prohibit this (a source)."),
        program="handspoken, test",
    )


@pytest.fixture
def transcript(spoken: Callable[[str], Transcript]) -> Transcript:
    plain = spoken(
        "Mum says no fever. On the right, sorry, the left hip I feel a clunk. Neck turns fully. Holding the psoas."
    )
    words = list(plain.words)
    words[8] = replace(words[8], p=0.3, heard=(Heard("free", "cleft", 0.3),))
    return plain.model_copy(
        update={"words": tuple(words), "dropped": (Dropped(start_ms=7600, end_ms=8000, reason="noise"),)}
    )


@pytest.fixture
def note(transcript: Transcript) -> Note:
    hip = (span_of(transcript.words, 4, 7, "retracted"), span_of(transcript.words, 8, 15))
    clunk = _item(
        transcript, 8, 15, "joint.clunk", "present", site="hip", side="left", evidence=hip, flags=("corrected",)
    )
    remark = Remark(
        id="R1:hip:left",
        rule="R1",
        urgency=Urgency.REFER,
        title="Clunk of the left hip",
        reason="An invented reason.",
        action="An invented action.",
        source="an invented source",
        mark=Mark.MEMORY,
        items=(clunk.id,),
        spans=clunk.evidence,
        withhold=True,
    )
    items = (
        _item(transcript, 0, 4, "symptom.fever", "absent", reporter="caregiver", source_role="mother"),
        clunk,
        _item(transcript, 15, 18, "motion.general", "normal", site="neck"),
        _item(transcript, 18, 21, "technique.sustained_pressure", "done", site="psoas", flags=("side_missing",)),
    )
    return _visit(transcript, *items, remarks=(remark,))


@pytest.fixture
def page(note: Note, transcript: Transcript) -> Page:
    return Page(render_html(note, transcript, SOUND))


def test_every_line_has_a_time_that_links_to_its_span(page: Page) -> None:
    links = [(a["href"], a["aria-label"]) for a in page.all("a", "time")]

    assert ("#t=0,2", "Play 0:00 to 0:02") in links
    assert ("#t=2,7.5", "Play 0:02 to 0:07") in links  # the retracted side and the left hip, heard in one go
    assert ("#t=9,10.5", "Play 0:09 to 0:10") in links


def test_the_sound_lies_in_the_page_or_beside_it(note: Note, transcript: Transcript) -> None:
    inside = Page(render_html(note, transcript, SOUND))
    beside = Page(render_html(note, transcript, AudioBeside("visit 1.opus")))
    silent = Page(render_html(note, transcript, None))

    assert inside.all("audio")[0]["src"] == "data:audio/ogg;base64," + base64.b64encode(SOUND.data).decode()
    assert beside.all("audio")[0]["src"] == "visit%201.opus"
    assert "visit%201.opus#t=0,2" in [a["href"] for a in beside.all("a", "time")]
    assert not silent.all("audio")
    assert not silent.all("a", "time")
    assert "0:00" in silent.text


def test_a_media_type_cannot_smuggle_markup(note: Note, transcript: Transcript) -> None:
    with pytest.raises(InputError, match="no type of sound"):
        render_html(note, transcript, EmbeddedAudio(data=b"", media_type='audio/ogg" onerror="x'))


def test_own_words_show_what_was_unsure_and_what_was_taken_back(page: Page) -> None:
    assert "Taken back: “On the right,”" in page.text
    assert "the (unsure; or: cleft) left hip I feel a clunk." in page.text
    assert len(page.all("span", "unsure")) == 1


def test_points_stand_under_their_line_and_are_counted(page: Page) -> None:
    assert "Which side? None was said." in page.text
    assert "5 points to check before signing" in page.text
    assert page.text.count("Which side? None was said.") == 2  # under its line, and among the points


def test_red_flags_come_first(note: Note, page: Page) -> None:
    text = render_text(note)

    assert page.text.index("Red flags") < page.text.index("Told by the caregiver")
    assert "Hands-on treatment should be withheld." in page.text
    assert "an invented source (from memory: verify)" in page.text
    assert text.index("RED FLAGS") < text.index("TOLD BY THE CAREGIVER")


def test_a_remark_is_told_in_full_once(note: Note, transcript: Transcript) -> None:
    both = note.model_copy(
        update={
            "remarks": (
                note.remarks[0].model_copy(
                    update={
                        "urgency": Urgency.WATCH,
                        "items": tuple(
                            line.id for part in note.sections for line in part.lines if line.id in line.items
                        )
                        + note.remarks[0].items,
                    }
                ),
            )
        }
    )
    for form in (Page(render_html(both, transcript, None)).text, render_markdown(both), render_text(both)):
        plain = " ".join(form.split())
        assert plain.count("An invented reason.") == 1
        assert plain.count("Watch: Clunk of the left hip.") == 2


def test_a_remark_about_no_line_is_not_lost(note: Note, transcript: Transcript) -> None:
    update = {"urgency": Urgency.WATCH, "items": (), "spans": (), "source": "Tables & charts"}
    growth = note.model_copy(update={"remarks": (note.remarks[0].model_copy(update=update),)})
    forms = (Page(render_html(growth, transcript, None)).text, render_markdown(growth), render_text(growth))

    for form in forms:
        assert "Watch: Clunk of the left hip." in " ".join(form.split())
    assert "Source: Tables & charts (from memory: verify)." in forms[0]
    assert "Source: Tables \\& charts (from memory: verify)." in forms[1]


def test_cautions_at_the_top_and_at_the_treatment(page: Page) -> None:
    assert page.text.index("licensed clinician") < page.text.index("Wren")
    treatment = page.text.index("Treatment given")
    assert page.text.index("restrict or prohibit") > treatment


def test_without_a_treatment_the_cautions_stand_at_the_first_part(transcript: Transcript) -> None:
    untreated = _visit(transcript, _item(transcript, 0, 4, "symptom.fever", "absent"))
    silent = untreated.model_copy(update={"cautions": ()})

    for made in (render_markdown(untreated), render_text(untreated)):
        assert made.index("restrict or prohibit") > made.upper().index("TOLD BY THE CAREGIVER")
    assert "restrict or prohibit" in render_html(untreated, transcript, None)
    assert 'class="standing"' not in render_html(silent, transcript, None)
    assert 'class="caution"' not in render_html(silent, transcript, None)


def test_the_outline_links_places_to_lines(page: Page, note: Note) -> None:
    places = {a["aria-label"]: a for a in page.all("a") if a.get("class") and "place" in str(a["class"])}
    anchors = {a["id"] for a in page.all("li", "line")}

    assert "found" in str(places["Hip, left: found"]["class"]).split()
    assert "looked" in str(places["Neck: looked at"]["class"]).split()
    assert all(set(str(a["data-lines"]).split()) <= anchors for a in places.values())
    drawn = {t for t, _ in page.elements}
    assert {"svg", "path"} <= drawn
    in_words = [line.text for part in note.sections if part.id == "places" for line in part.lines]
    assert all(text in page.text for text in in_words)


def test_every_place_of_the_data_is_drawn(transcript: Transcript) -> None:
    note = _visit(transcript)
    drawn = re.findall(r"<title>([^<]+): open</title>", render_html(note, transcript, None))
    listed = [line.text.removesuffix(": open") for part in note.sections if part.id == "places" for line in part.lines]

    assert sorted(drawn) == sorted(listed)


def test_what_is_for_the_clinician_alone_is_only_counted(note: Note, transcript: Transcript) -> None:
    secret = note.remarks[0].model_copy(update={"safeguarding": True, "title": "Secret", "id": "S"})
    kept = note.model_copy(update={"remarks": (secret,)})

    for form in (render_html(kept, transcript, None), render_markdown(kept), render_text(kept)):
        assert "Secret" not in form
        assert "review page" in form


def test_a_signed_note_says_who_signed_and_is_no_draft(note: Note, transcript: Transcript) -> None:
    signed = note.model_copy(update={"signed_by": "A. Nother", "signed_at": datetime(2026, 11, 25, 18, 40, tzinfo=UTC)})

    for form in (render_html(signed, transcript, None), render_markdown(signed), render_text(signed)):
        assert re.search(r"A\\?\. Nother", form)
        assert "25 November 2026, 18:40" in form
        assert "Draft note" not in form
        assert "DRAFT NOTE" not in form


def test_the_page_allows_only_its_own_style_and_script(note: Note, transcript: Transcript) -> None:
    html = render_html(note, transcript, SOUND)
    page = Page(html)
    policy = next(str(a["content"]) for a in page.all("meta") if a.get("http-equiv") == "Content-Security-Policy")

    for tag in ("style", "script"):
        blocks = re.findall(rf"<{tag}>(.*?)</{tag}>", html, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(blocks[0].encode()).digest()).decode()
        assert len(blocks) == 1
        assert f"{tag}-src 'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    for _, attributes in page.elements:
        assert not any(name.startswith("on") or name == "style" for name in attributes)
        assert not str(attributes.get("href", "")).startswith(("http", "//", "javascript"))
        assert not str(attributes.get("src", "")).startswith(("http", "//"))


def test_the_page_has_language_title_landmarks_and_ordered_headings(page: Page) -> None:
    levels = [int(tag[1]) for tag, _ in page.elements if tag in ("h1", "h2", "h3")]

    assert page.all("html")[0]["lang"] == "en"
    assert [len(page.all(tag)) for tag in ("header", "main", "footer", "h1", "title")][:4] == [1, 1, 1, 1]
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    ids = [a["id"] for _, a in page.elements if "id" in a]
    assert len(ids) == len(set(ids))


def test_parameters_of_a_media_type_are_left_out(note: Note, transcript: Transcript) -> None:
    html = render_html(note, transcript, EmbeddedAudio(data=b"", media_type="audio/ogg; codecs=opus"))

    assert Page(html).all("audio")[0]["src"] == "data:audio/ogg;base64,"


@pytest.mark.parametrize("words", HOSTILE, ids=ascii)
def test_hostile_words_stay_words(words: str, spoken: Callable[[str], Transcript]) -> None:
    plain = spoken("one two three")
    said = [replace(word, text=text) for word, text in zip(plain.words, (words, words, words), strict=True)]
    heard = plain.model_copy(update={"words": tuple(said)})
    item = _item(heard, 0, 3, "history.concern", "stated", detail=words, reason=words, flags=("low_confidence", words))
    note = _visit(heard, item, code_name=words)
    html, markdown, text = render_html(note, heard, SOUND), render_markdown(note), render_text(note)
    page, tame = Page(html), Page(render_html(_visit(plain, item.model_copy(update={"detail": "x"})), plain, SOUND))

    assert {tag for tag, _ in page.elements} <= {tag for tag, _ in tame.elements} | {"span", "bdi"}
    assert len(page.all("script")) == 1
    assert " ".join(clean(words).split()) in page.text
    tokens = [t for block in MarkdownIt("commonmark").parse(markdown) for t in (block, *(block.children or ()))]
    assert not {t.type for t in tokens} & {"html_inline", "html_block", "code_inline", "em_open", "image", "link_open"}
    content = " ".join("".join(t.content for t in tokens if t.type == "text").split())
    assert " ".join(clean(words).split()) in content
    for form in (html, markdown, text):
        form.encode("utf-8")
        assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", form)


@given(st.text(max_size=40))
def test_any_text_is_the_same_text_in_markdown(text: str) -> None:
    tokens = MarkdownIt("commonmark").parse("- " + str(markdown_text("x" + text)))
    inline = [t for block in tokens for t in block.children or ()]
    assert {t.type for t in inline} <= {"text", "text_special"}
    assert "".join(t.content for t in inline).split() == clean("x" + text).split()


def test_templates_run_in_a_sandbox() -> None:
    template = html_templates().from_string("{{ ''.__class__.__mro__ }}")

    with pytest.raises(SecurityError):
        template.render()


def test_markdown_links_to_the_sound_where_there_is_one(note: Note) -> None:
    assert "[0:00–0:02](visit%201.opus#t=0,2)" in render_markdown(note, audio="visit 1.opus")
    assert "](" not in render_markdown(note)


def test_plain_text_fits_a_page(note: Note) -> None:
    assert max(len(line) for line in render_text(note).splitlines()) <= 78


@pytest.mark.parametrize(("ms", "shown"), [(0, "0:00"), (65_900, "1:05"), (3_723_000, "1:02:03")])
def test_times_read_like_a_clock(ms: int, shown: str) -> None:
    assert clock(ms) == shown


@pytest.mark.parametrize("form", ["md", "txt"])
def test_the_hand_made_visit_reads_as_before(form: str, note: Note, request: pytest.FixtureRequest) -> None:
    plain = note.model_copy(update={"vocab_hash": "0" * 64})  # the vocabulary grows without changing this note
    made = render_markdown(plain, audio="wren.opus") if form == "md" else render_text(plain)
    golden = GOLDEN / f"hand-made.{form}"
    if request.config.getoption("--update-golden"):
        golden.write_text(made, encoding="utf-8")

    assert made == golden.read_text(encoding="utf-8")
