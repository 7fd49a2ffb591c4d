"""Signing a note, and the signed note with what was added to it."""

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from pipeline.model import Frozen
from pipeline.review import Addition, Signature, add, before_signing, sign, signed_note
from pipeline.web.pages import AtDesk, PageSet, Sent, page
from pipeline.web.sound import VisitId

router = APIRouter(tags=["signing"])
PAGES = PageSet(router)


class Signed(Sent):
    """A signature on one version of the sheet."""

    version: int
    signature: Signature


class Added(Sent):
    """An addition to a signed note as it stands at ``version``."""

    version: int
    addition: Addition


class Done(Frozen):
    """Where to go on."""

    to: str


@router.get("/visits/{visit}/sign", response_class=HTMLResponse)
def signing(request: Request, visit: VisitId, desk: AtDesk) -> Response:
    """What is still open, and who signs."""
    before = before_signing(desk.sheets, visit)
    return page(request, "sign.html.j2", before=before, sheet=before.sheet)


@router.post("/visits/{visit}/signature")
def signature(visit: VisitId, signed: Signed, desk: AtDesk) -> Done:
    """Sign; from here on the note is locked."""
    sign(desk.sheets, visit, signed.version, signed.signature)
    return Done(to=f"/visits/{visit}")


@router.post("/visits/{visit}/addenda")
def addenda(visit: VisitId, added: Added, desk: AtDesk) -> Done:
    """Add to a signed note."""
    add(desk.sheets, visit, added.version, added.addition)
    return Done(to=f"/visits/{visit}")


def signed_page(request: Request, visit: str, desk: AtDesk) -> Response | None:
    """The signed note; None where the visit is not signed."""
    signed = signed_note(desk.sheets, visit)
    if signed is None:
        return None
    shown = desk.stages.outline(signed.note)
    sound = desk.sheets.sounds(visit)
    return page(
        request,
        "signed.html.j2",
        signed=signed,
        page=shown,
        visit=visit,
        version=desk.sheets.version(visit),
        sound=sound,
        gone=desk.sheets.sound_gone(visit),
    )
