"""Asking the record: the search, the infants and one of them over time, what is due."""

from datetime import date
from typing import Annotated, Literal
from urllib.parse import urlencode

from fastapi import APIRouter, Query
from pydantic import StringConstraints
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from pipeline.config import Config
from pipeline.due import due
from pipeline.errors import InputError, NotFoundError
from pipeline.infants import listed
from pipeline.readings import note_read
from pipeline.search import Answer, Exact, Options, ask
from pipeline.search.tell import counted, shortened
from pipeline.timeline import timeline
from pipeline.timeline.page import shown, words
from pipeline.times import fragment
from pipeline.web.pages import AtDesk, PageSet, Sent, page

router = APIRouter(tags=["asking"])
PAGES = PageSet(router, title="Search", path="/search")
INFANTS = PageSet(APIRouter(), title="Infants", path="/infants")
DUE = PageSet(APIRouter(), title="Due", path="/due")
LONGEST = 500

Typed = Annotated[str, StringConstraints(max_length=100, strip_whitespace=True)]


class Filters(Sent):
    """The exact filters as typed; "" = not given."""

    infant: Typed = ""
    concept: Typed = ""
    result: Typed = ""
    site: Typed = ""
    side: Literal["", "left", "right", "both", "none"] = ""
    kind: Literal["", "finding", "history", "treatment", "advice", "plan", "impression"] = ""
    since: Typed = ""
    until: Typed = ""
    age: Typed = ""
    corrected_age: Typed = ""
    words: Typed = ""

    def exact(self) -> Exact | None:
        """Raises InputError where a day cannot be read."""
        given = {name: value for name in Filters.model_fields if (value := getattr(self, name))}
        if not given:
            return None
        since, until = (_day(name, given.pop(name, "")) for name in ("since", "until"))
        return Exact(**given, since=since, until=until)


class Asked(Filters):
    """A question, the filters beside it, and how to answer."""

    q: Annotated[str, StringConstraints(max_length=LONGEST)] = ""
    by: Literal["", "line", "visit", "infant"] = ""
    order: Literal["newest", "oldest"] = "newest"

    def lines(self) -> str:
        """The same question with a line an answer, as the query of an address."""
        return urlencode({name: value for name, value in self.model_dump().items() if value} | {"by": "line"})


@router.get("/search", response_class=HTMLResponse)
def search(request: Request, desk: AtDesk, asked: Annotated[Asked, Query()]) -> Response:
    """The form, and the answers to what was asked."""
    answer, told = None, ""
    try:
        answer = _answer(asked, desk.config)
    except (InputError, NotFoundError) as error:
        told = str(error)
    return page(
        request, "search.html.j2", asked=asked, answer=answer, told=told, longest=LONGEST,
        filtered=any(getattr(asked, name) for name in Filters.model_fields),
        say=words(_sound, _note), counted=counted, shortened=shortened,
    )  # fmt: skip


@router.get("/infants", response_class=HTMLResponse)
def infants(request: Request, desk: AtDesk) -> Response:
    """All infants on record."""
    return page(request, "infants.html.j2", infants=listed(desk.config))


@router.get("/infants/{key:path}", response_class=HTMLResponse)
def infant(request: Request, desk: AtDesk, key: str) -> Response:
    """One infant over time, by id or code name."""
    course = timeline(key, desk.config)
    note_read(desk.config, "course", "page", infant=course.infant.id)
    return page(request, "infant.html.j2", **shown(course, _sound, _note))


@router.get("/due", response_class=HTMLResponse)
def open_things(request: Request, desk: AtDesk) -> Response:
    """What is due and unfinished."""
    today = date.today()
    try:
        entries = due(desk.config)
        note_read(desk.config, "due", "page", visits=(entry.visit for entry in entries))
    except NotFoundError:
        entries = []
    return page(request, "due.html.j2", entries=entries, today=today, say=words(_sound, _note))


def _answer(asked: Asked, config: Config) -> Answer | None:
    exact = asked.exact()
    if exact is None and not asked.q.strip():
        return None
    options = Options(by=asked.by or None, order=asked.order)
    answer = ask(asked.q, config, today=date.today(), options=options, exact=exact)
    note_read(config, "lines", "page", visits=(hit.visit for hit in answer.hits))
    return answer


def _day(name: str, typed: str) -> date | None:
    try:
        return date.fromisoformat(typed) if typed else None
    except ValueError:
        raise InputError(f'{name} "{typed[:20]}": no such day; write it like 2026-11-25.') from None


def _sound(visit: str, start_ms: int, end_ms: int) -> str:
    return f"/visits/{visit}/sound#{fragment(start_ms, end_ms)}"


def _note(visit: str) -> str:
    return f"/visits/{visit}"
