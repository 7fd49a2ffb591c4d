"""The sound of a visit, whole or in the stretches that the browser asks for (RFC 9110, section 14: range requests)."""

import os
import re
from collections.abc import Iterator
from typing import Annotated, BinaryIO

from fastapi import APIRouter
from fastapi import Path as InPath
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from pipeline.readings import note_read
from pipeline.review import sound_of
from pipeline.web.pages import AtDesk, PageSet

router = APIRouter(tags=["sound"])
PAGES = PageSet(router)

VisitId = Annotated[str, InPath(pattern=r"^[0-9A-Z]{26}$", description="The visit (ULID).")]
_BLOCK = 1 << 18
_RANGE = re.compile(r"bytes=(\d{0,18})-(\d{0,18})")


@router.get("/visits/{visit}/sound", response_class=StreamingResponse)
def sound(request: Request, visit: VisitId, desk: AtDesk) -> Response:
    """The recording as it was sealed."""
    file, media_type = sound_of(desk.config, visit)
    note_read(desk.config, "sound", "page", visit=visit)
    size = file.seek(0, os.SEEK_END)
    first, end = 0, size
    headers = {"Accept-Ranges": "bytes"}
    if asked := _RANGE.fullmatch(request.headers.get("range", "")):
        first, end = _stretch(asked[1], asked[2], size)
        if first >= end:
            file.close()
            return Response(status_code=416, headers={"Content-Range": f"bytes */{size}"})
        headers["Content-Range"] = f"bytes {first}-{end - 1}/{size}"
    headers["Content-Length"] = str(end - first)
    status = 206 if "Content-Range" in headers else 200
    return StreamingResponse(_blocks(file, first, end), status, headers, media_type)


def _stretch(first: str, last: str, size: int) -> tuple[int, int]:
    """The bytes that a range means, half-open; empty where it means none. Several ranges at once are not served, which
    the standard leaves free."""
    if not first:
        return (max(0, size - int(last)), size) if last else (0, 0)
    return int(first), min(int(last) + 1, size) if last else size


def _blocks(file: BinaryIO, first: int, end: int) -> Iterator[bytes]:
    with file:
        file.seek(first)
        while first < end and (block := file.read(min(_BLOCK, end - first))):
            first += len(block)
            yield block
