"""A paper as a file: HTML, PDF by WeasyPrint, DOCX by python-docx."""

import io
from datetime import UTC, datetime
from pathlib import Path

from pipeline.errors import InputError
from pipeline.render.own import own_paper
from pipeline.render.papers import Paper
from pipeline.safe import clean, html_templates

_OF_THE_PERSON = ("parents.html.j2", "letter.html.j2")  # the note is not among them: no template hides a red flag


def printed(paper: Paper, form: str, own: Path) -> bytes:
    """The bytes of a file of the form ``html``, ``pdf`` or ``docx``.

    ``own``: a folder of the person's own templates, which need not exist.

    Raises InputError where a template of the person's cannot be used, or this computer cannot make a PDF.
    """
    if form == "docx":
        return _docx(paper)
    html = _html(paper, own)
    return _pdf(html) if form == "pdf" else html.encode()


def _html(paper: Paper, own: Path) -> str:
    name = f"{paper.kind}.html.j2"
    if name in _OF_THE_PERSON and (own / name).is_file():
        return own_paper(own / name, paper)
    return html_templates().get_template("paper.html.j2").render(paper=paper)


def _pdf(html: str) -> bytes:
    try:
        from weasyprint import HTML
    except OSError as error:
        raise InputError(
            "a PDF needs the libraries of Pango, which this computer lacks (Debian: apt-get install "
            "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0); take HTML or DOCX, or print from the browser."
        ) from error
    made: bytes = HTML(string=html, url_fetcher=_nothing_else).write_pdf()
    return made


def _nothing_else(url: str, *_: object, **__: object) -> dict[str, object]:
    raise ValueError(f"a paper loads nothing, not {url[:40]}")


def _docx(paper: Paper) -> bytes:
    from docx import Document
    from docx.shared import Pt

    document = Document()
    document.styles["Normal"].font.size = Pt(14 if paper.large else 11)
    properties = document.core_properties
    properties.author, properties.title = clean(paper.practice), clean(paper.title)
    properties.created = properties.modified = datetime(2026, 1, 1, tzinfo=UTC).replace(tzinfo=None)
    if paper.practice:
        document.add_paragraph(clean(paper.practice))
    document.add_heading(clean(paper.title), 0)
    about = "; ".join(": ".join(filter(None, row)) for row in paper.about)
    if about:
        document.add_paragraph(clean(about))
    for block in paper.blocks:
        if block.title:
            document.add_heading(clean(block.title), 1)
        for line in block.lines:
            document.add_paragraph(clean(line), style="List Bullet" if block.title else None)
        for field in block.fields:
            document.add_paragraph(f"{clean(field)} {'_' * 30}")
    document.add_paragraph().add_run(clean(paper.foot)).italic = True
    out = io.BytesIO()
    document.save(out)
    return out.getvalue()
