"""The pages as one application."""

from collections.abc import Mapping
from datetime import datetime

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from pipeline import __version__
from pipeline.config import Config
from pipeline.errors import ConflictError, HandspokenError, InputError, LockedError, NotFoundError, VocabularyError
from pipeline.review import Sheets
from pipeline.stages import Stages
from pipeline.web.gate import Gate, Key
from pipeline.web.pages import Desk, failure
from pipeline.web.sets import PAGE_SETS
from pipeline.web.unlock import asked

_STATUS: Mapping[type[HandspokenError], int] = {
    NotFoundError: 404,
    ConflictError: 409,
    InputError: 400,
    VocabularyError: 400,
}
_OUT_OF_ORDER = 503  # the record or the model cannot be used just now


def create_app(config: Config, stages: Stages, key: Key) -> FastAPI:
    """The application of one start of the program: the person with ``key`` works with ``stages`` on ``config.home``."""
    app = FastAPI(title="handspoken", version=__version__, docs_url=None, redoc_url=None)
    menu = tuple((pages.title, pages.path) for pages in PAGE_SETS if pages.title)
    sheets = Sheets(config, stages, lambda: datetime.now().astimezone())
    app.state.desk = Desk(config, stages, menu, config.settings.lock_minutes * 60, sheets)
    app.state.key = key
    for pages in PAGE_SETS:
        app.include_router(pages.router)
    app.add_middleware(Gate, key=key)
    app.add_exception_handler(HandspokenError, _expected)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _not_understood)
    return app


async def _expected(request: Request, error: Exception) -> Response:
    if isinstance(error, LockedError):
        return asked(request, str(error))
    status = next((status for kind, status in _STATUS.items() if isinstance(error, kind)), _OUT_OF_ORDER)
    return failure(request, status, str(error))


async def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    told = {404: "There is no such page.", 405: "That cannot be done with this page."}
    response = failure(request, error.status_code, told.get(error.status_code, "The request was not understood."))
    response.headers.update(error.headers or {})
    return response


async def _not_understood(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    where = ".".join(str(step) for step in first["loc"][1:])
    return failure(request, 422, f"{where or 'The request'}: {first['msg']}.")
