"""Asking the record: the search, an infant over time, what is due."""

from datetime import date
from typing import Annotated, Literal

from fastapi import APIRouter, Query
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from pipeline.due import due
from pipeline.errors import NotFoundError
from pipeline.readings import note_read
from pipeline.search import Options, ask
from pipeline.search.tell import counted, shortened
from pipeline.timeline import timeline
from pipeline.timeline.page import shown, words
from pipeline.times import fragment
from pipeline.web.pages import AtDesk, PageSet, page

router = APIRouter(tags=["asking"])
PAGES = PageSet(router, title="Search", path="/search")
LONGEST = 500

Question = Annotated[str, Query(max_length=LONGEST, description="As a colleague would ask it.")]


@router.get("/search", response_class=HTMLResponse)
def search(
    request: Request, desk: AtDesk, q: Question = "", by: Literal["", "line", "visit", "infant"] = "",
    order: Literal["newest", "oldest"] = "newest",
) -> Response:  # fmt: skip
    """The form, and the answers to what was asked."""
    answer, told = None, ""
    if q.strip():
        try:
            answer = ask(q, desk.config, today=date.today(), options=Options(by=by or None, order=order))
            note_read(desk.config, "lines", "page", visits=(hit.visit for hit in answer.hits))
        except NotFoundError as error:
            told = str(error)
    return page(
        request, "search.html.j2", q=q, by=by, order=order, answer=answer, told=told, longest=LONGEST,
        say=words(_sound), counted=counted, shortened=shortened,
    )  # fmt: skip


@router.get("/infants/{key:path}", response_class=HTMLResponse)
def infant(request: Request, desk: AtDesk, key: str) -> Response:
    """One infant over time, by id or code name."""
    course = timeline(key, desk.config)
    note_read(desk.config, "course", "page", infant=course.infant.id)
    return page(request, "infant.html.j2", **shown(course, _sound))


@router.get("/due", response_class=HTMLResponse)
def open_things(request: Request, desk: AtDesk) -> Response:
    """What is due and unfinished."""
    today = date.today()
    try:
        entries = due(desk.config)
        note_read(desk.config, "due", "page", visits=(entry.visit for entry in entries))
    except NotFoundError:
        entries = []
    return page(request, "due.html.j2", entries=entries, today=today, say=words(_sound))


DUE = PageSet(APIRouter(), title="Due", path="/due")


def _sound(visit: str, start_ms: int, end_ms: int) -> str:
    return f"/visits/{visit}/sound#{fragment(start_ms, end_ms)}"
