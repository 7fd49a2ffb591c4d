"""The visits on record: where one goes on."""

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from pipeline.review import visits
from pipeline.web.pages import AtDesk, PageSet, page

router = APIRouter(tags=["visits"])
PAGES = PageSet(router, title="Visits", path="/")


@router.get("/", response_class=HTMLResponse)
def home(request: Request, desk: AtDesk) -> Response:
    """All visits, newest first."""
    return page(request, "home.html.j2", visits=visits(desk.config))
