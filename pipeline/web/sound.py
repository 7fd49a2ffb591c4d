"""The sound of a visit, whole or in the stretches that the browser asks for (RFC 9110, section 14: range requests)."""

from typing import Annotated

from fastapi import APIRouter
from fastapi import Path as InPath
from starlette.responses import FileResponse, Response

from pipeline.errors import NotFoundError
from pipeline.review import sound_of
from pipeline.web.pages import AtDesk, PageSet

router = APIRouter(tags=["sound"])
PAGES = PageSet(router)

VisitId = Annotated[str, InPath(pattern=r"^[0-9A-Z]{26}$", description="The visit (ULID).")]


@router.get("/visits/{visit}/sound", response_class=FileResponse)
def sound(visit: VisitId, desk: AtDesk) -> Response:
    """The recording as it was sealed."""
    path, media_type = sound_of(desk.config, visit)
    if not path.is_file():
        raise NotFoundError(f"visit {visit}: its recording is missing from the record; restore a backup.")
    return FileResponse(path, media_type=media_type)
