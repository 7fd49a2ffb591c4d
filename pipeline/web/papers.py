"""The papers of a visit as files: the note, the parents' sheet, a letter of referral."""

from typing import Annotated

from fastapi import APIRouter
from fastapi import Path as InPath
from starlette.responses import Response

from pipeline.readings import note_read
from pipeline.review import paper_file
from pipeline.web.pages import AtDesk, PageSet
from pipeline.web.sound import VisitId

router = APIRouter(tags=["papers"])
PAGES = PageSet(router)

_TYPES = {
    "html": "text/html; charset=utf-8",
    "pdf": "application/pdf",
    "docx": "application/vnd.openxmlformats-officedocument.wordprocessingml.document",
}
Kind = Annotated[str, InPath(pattern="^(note|parents|letter)$")]
Form = Annotated[str, InPath(pattern="^(html|pdf|docx)$")]


@router.get("/visits/{visit}/papers/{kind}.{form}", response_class=Response)
def paper(visit: VisitId, kind: Kind, form: Form, desk: AtDesk) -> Response:
    """A paper to be kept, printed or sent on; never a page of this program's own."""
    data = paper_file(desk.sheets, visit, kind, form)
    note_read(desk.config, "paper", "page", visit=visit)
    kept = {"Content-Disposition": f'attachment; filename="{kind}.{form}"'}
    return Response(data, media_type=_TYPES[form], headers=kept)
