"""The passphrase of an encrypted record, asked for on the page where nobody was asked at the terminal."""

from typing import Annotated

from fastapi import APIRouter
from pydantic import StringConstraints
from starlette.requests import Request
from starlette.responses import Response

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


@router.post("/unlock", status_code=204)
def unlock(secret: Secret, desk: AtDesk) -> Response:
    """Open the record for as long as the pages run."""
    use(opened(desk.config, secret.passphrase).keys)
    return Response(status_code=204)


def asked(request: Request, told: str) -> Response:
    """In the place of what was asked for: the passphrase is wanted first."""
    if "text/html" in request.headers.get("accept", ""):
        return page(request, "unlock.html.j2", status=STATUS, told=clean(told))
    return failure(request, STATUS, told)
