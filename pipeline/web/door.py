"""The door: the link that lets in, whether the pages are locked, and the files that every page loads."""

from pathlib import Path

from fastapi import APIRouter
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from pipeline.resources import data_path
from pipeline.web.gate import OPEN_PATH, STATIC_PATH, Key
from pipeline.web.pages import PageSet, failure, page

router = APIRouter(include_in_schema=False)
PAGES = PageSet(router)

_TYPES = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}


def static_files() -> dict[str, Path]:
    """Every file a page may load, by name: only a name that stands here is served, whatever is asked for."""
    found = [data_path("templates/paper.css"), *sorted(data_path("templates/web/static").iterdir())]
    return {path.name: path for path in found if path.suffix in _TYPES}


@router.get(OPEN_PATH)
def open_pages(request: Request, token: str = "", to: str = "/") -> Response:
    """Let in whoever holds the link. A page of ours leads on: a redirect would count as coming from outside, and the
    SameSite=Strict cookie would not go with it."""
    key: Key = request.app.state.key
    if not key.opens(token):
        return failure(request, 403, "This link is not of this start of the program. Use the link it shows now.")
    inside = to.startswith("/") and not to.startswith(("//", "/\\"))
    response = page(request, "open.html.j2", to=to if inside else "/")
    key.give(response)
    return response


@router.get("/alive", status_code=204)
def alive() -> Response:
    """Whether the pages are open: an answer without words, or the gate's refusal."""
    return Response(status_code=204)


@router.get(STATIC_PATH + "{name}")
def static(name: str) -> Response:
    """A style sheet, a script or a picture of ours."""
    path = static_files().get(name)
    if path is None:
        raise HTTPException(404)
    return FileResponse(path, media_type=_TYPES[path.suffix])
