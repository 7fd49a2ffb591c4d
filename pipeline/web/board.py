"""The board: what was heard and what is still open, readable from across the room; it asks for nothing."""

import json
from collections.abc import AsyncIterator, Mapping

import anyio
from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response, StreamingResponse

from pipeline.live import Seen, Watch
from pipeline.safe import html_templates
from pipeline.times import clock
from pipeline.web.gate import Key
from pipeline.web.pages import AtDesk, Desk, PageSet, page

router = APIRouter(tags=["board"])
PAGES = PageSet(router, title="Board", path="/board")

_LOOK_S = 0.25
_ALIVE_EVERY = 8  # looks without news after which the page is told all the same
_STATES = {
    "none": "Not recording",
    "waiting": "Waiting for sound: not recording yet",
    "recording": "Recording",
    "paused": "Paused: not recording",
    "off_record": "Off the record",
    "stalled": "No sound comes: not recording",
}


@router.get("/board", response_class=HTMLResponse)
def board(request: Request) -> Response:
    """The board of whatever is being recorded."""
    return page(request, "board.html.j2")


@router.get("/board/feed", include_in_schema=False)
async def feed(request: Request, desk: AtDesk) -> Response:
    """News for the board as server-sent events: ``state`` a few times a second, ``board`` when it has changed."""
    return StreamingResponse(_news(request, desk), media_type="text/event-stream")


async def _news(request: Request, desk: Desk) -> AsyncIterator[str]:
    key: Key = request.app.state.key
    watch, before, told, quiet = Watch(desk.config), None, "", 0
    while not await request.is_disconnected():
        seen = await run_in_threadpool(watch.now)
        if seen.recording:
            key.attended()  # whoever records is there; the pages lock when the visit is over and nobody comes
        shown = (seen.recording, seen.board.model_copy(update={"heard_ms": 0}))
        if shown != before:
            before = shown
            yield _event("board", {"html": _fragment(seen)})
        standing = _standing(seen)
        if standing != told or quiet >= _ALIVE_EVERY:
            told, quiet = standing, 0
            yield standing
        quiet += 1
        await anyio.sleep(_LOOK_S)


def _standing(seen: Seen) -> str:
    return _event(
        "state",
        {"state": seen.state, "words": _STATES[seen.state], "clock": clock(seen.at_ms), "dangers": seen.board.dangers},
    )


def _fragment(seen: Seen) -> str:
    """The changing part of the board; empty, so that it is blank, where nothing is being recorded."""
    if not seen.recording:
        return ""
    return (
        html_templates()
        .get_template("web/_board.html.j2")
        .render(board=seen.board, page={"places": _places(seen.board.places)}, lost_s=_fives(seen.board.lost_ms))
    )


def _fives(ms: int) -> int:
    """Seconds, rounded up to five: nobody needs them to the second."""
    return -(-ms // 5000) * 5


def _places(states: Mapping[str, str]) -> dict[str, dict[str, object]]:
    """The outline's places; a finding whose side was not said marks both sides as asked for."""
    places: dict[str, dict[str, object]] = {}
    for key, state in states.items():
        place, _, side = key.partition(":")
        unsided = side != "none" and states.get(f"{place}:none") == "found"
        places[key] = {"state": state, "unsided": unsided, "anchors": (), "text": f"{place}: {state}".replace("_", " ")}
    return places


def _event(name: str, data: Mapping[str, object]) -> str:
    return f"event: {name}\ndata: {json.dumps(data)}\n\n"
