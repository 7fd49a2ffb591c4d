"""What every page is made with: the desk it works at, its template, its failures, and its place in the list."""

from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends
from pydantic import ConfigDict
from starlette.requests import HTTPConnection, Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from pipeline.config import Config
from pipeline.model import Frozen
from pipeline.practitioners import at_work
from pipeline.review import Sheets
from pipeline.safe import clean, html_templates
from pipeline.stages import Stages


class Sent(Frozen):
    """Base of what a page sends; built at once, as FastAPI wants it."""

    model_config = ConfigDict(defer_build=False)


@dataclass(frozen=True)
class PageSet:
    """The pages of one topic: their routes, and what stands in the navigation ("" = nothing)."""

    router: APIRouter
    title: str = ""
    path: str = ""


@dataclass(frozen=True)
class Desk:
    """What a page may work with; nothing else is kept between requests.

    ``sheets``: the visits under review. ``menu``: title and path of the page sets.
    """

    config: Config
    stages: Stages
    menu: tuple[tuple[str, str], ...]
    lock_after_s: float
    sheets: Sheets


def _desk(connection: HTTPConnection) -> Desk:
    desk = connection.app.state.desk
    assert isinstance(desk, Desk)
    return desk


AtDesk = Annotated[Desk, Depends(_desk)]


def page(request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
    """A page from ``templates/web/<template>``; every value is cleaned and escaped there."""
    desk = _desk(request)
    someone = at_work(desk.config) if status < 400 else None
    text = (
        html_templates()
        .get_template(f"web/{template}")
        .render(menu=desk.menu, here=request.url.path, lock_after_s=desk.lock_after_s, at_work=someone, **shown)
    )
    return HTMLResponse(text, status_code=status)


def failure(request: Request, status: int, told: str) -> Response:
    """One clear sentence, as a page for a person and as ``{"error": ...}`` for a script."""
    if "text/html" in request.headers.get("accept", ""):
        return page(request, "failure.html.j2", status=status, told=told, closed=status in (401, 421, 423))
    return JSONResponse({"error": clean(told)}, status_code=status)
