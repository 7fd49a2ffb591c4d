"""The passphrase of an encrypted record, asked for on the page where nobody was asked at the terminal."""

from typing import Annotated

from fastapi import APIRouter
from pydantic import StringConstraints
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from pipeline.safe import clean
from pipeline.safekeeping import opened
from pipeline.vault import use
from pipeline.web.pages import AtDesk, PageSet, Sent, failure, page

router = APIRouter(tags=["unlock"])
PAGES = PageSet(router)
STATUS = 403  # 423 is what a page that covers itself waits for


class Secret(Sent):
    """What the person typed."""

    passphrase: Annotated[str, StringConstraints(max_length=1000)]


@router.get("/at-work", response_class=HTMLResponse)
def change_over(request: Request) -> Response:
    """Who is at work, and the passphrase of whoever takes over."""
    return page(request, "at_work.html.j2")


@router.post("/unlock", status_code=204)
def unlock(secret: Secret, desk: AtDesk) -> Response:
    """Open the record for as long as the pages run; whose passphrase it is, is at work from now on."""
    use(opened(desk.config, secret.passphrase).keys)
    return Response(status_code=204)


def asked(request: Request, told: str) -> Response:
    """In the place of what was asked for: the passphrase is wanted first."""
    if "text/html" in request.headers.get("accept", ""):
        return page(request, "unlock.html.j2", status=STATUS, told=clean(told))
    return failure(request, STATUS, told)
