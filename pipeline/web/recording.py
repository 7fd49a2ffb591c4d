"""Recording in the browser: the page, and the socket that its sound comes through."""

import json
from datetime import date
from typing import Any, Literal

import anyio
from fastapi import APIRouter
from pydantic import Field, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.websockets import WebSocket, WebSocketState

from pipeline.capture import Ask, begin, find, kept, recover, start_hearer
from pipeline.errors import HandspokenError, InputError
from pipeline.model import Frozen
from pipeline.relay import Relay
from pipeline.show import FAULTS, STATES, left_open_lines
from pipeline.times import clock
from pipeline.visits import Told
from pipeline.web.gate import Key
from pipeline.web.pages import AtDesk, Desk, PageSet, page
from pipeline.web.sockets import messages

router = APIRouter(tags=["recording"])
PAGES = PageSet(router, title="Record", path="/record")

_BLOCK = 1 << 18  # bytes of one message: a second of sound at 96 kHz
_TELL_S = 0.5
_NUMBER = 4  # bytes before the samples of a block: its number, little-endian


class Said(Frozen):
    """A message of the page that is no sound."""

    do: Literal["begin", "go_on", "mark", "pause", "resume", "drop", "keep", "take_back", "end", "withdraw", "lost",
                "destroy", "seal"]  # fmt: skip
    rate: int = 0
    told: Told = Field(default_factory=Told)
    consent: str = ""
    why: str = ""


@router.get("/record", response_class=HTMLResponse)
def record(request: Request, desk: AtDesk) -> Response:
    """The page that records; it offers what a crash left open."""
    relay = _relay(request.app.state)
    running = relay is not None and relay.shown().state != "ended"
    left = [] if running else list(left_open_lines(found for found in kept(desk.config) if found.state == "open"))
    return page(request, "record.html.j2", running=running, left=left)


@router.post("/record/recover", status_code=204)
def recover_left(desk: AtDesk) -> Response:
    """Seal what a crash left open, and have it drafted."""
    for found in list(kept(desk.config)):
        if found.state == "open":
            recover(found)
    start_hearer(desk.config)
    return Response(status_code=204)


@router.websocket("/record/sound")
async def sound(socket: WebSocket, desk: AtDesk) -> None:
    """Blocks of sound one way, what was kept and how it stands the other."""
    async with anyio.create_task_group() as tasks:
        tasks.start_soon(_tell, socket)
        async for message in messages(socket, limit=_BLOCK, attended=False):
            try:
                await _send(socket, await run_in_threadpool(_take, socket, desk, message))
            except HandspokenError as error:
                await _send(socket, {"error": str(error)})
        tasks.cancel_scope.cancel()


def _take(socket: WebSocket, desk: Desk, message: str | bytes) -> dict[str, Any]:
    """Do what a message asks; gives the answer."""
    state = socket.app.state
    if isinstance(message, bytes):
        relay = _running(state)
        return {"next": relay.take(int.from_bytes(message[:_NUMBER], "little"), message[_NUMBER:])}
    try:
        said = Said.model_validate_json(message)
    except ValidationError as error:
        fault = error.errors()[0]
        raise InputError(f"{'.'.join(map(str, fault['loc'])) or 'the page'}: {fault['msg']}.") from error
    if said.do == "begin":
        state.relay = Relay(begin(desk.config, said.told, said.consent, today=date.today()), desk.config)
        start_hearer(desk.config)
    relay = _running(state)
    match said.do:
        case "begin" | "go_on":
            return {"begun": relay.capture.folder.name, "next": relay.connect(said.rate)}
        case "lost":
            relay.lost(said.why)
        case "destroy":
            relay.destroy()
            state.relay = None
            return {"destroyed": True}
        case "seal":
            relay.keep()
        case what:
            relay.do(Ask(what=what))
    return {}


async def _tell(socket: WebSocket) -> None:
    """Tell the page how its recording stands, until it goes."""
    key: Key = socket.app.state.key
    while socket.client_state is not WebSocketState.DISCONNECTED:
        if socket.client_state is WebSocketState.CONNECTED and (relay := _relay(socket.app.state)) is not None:
            shown = await run_in_threadpool(_standing, relay)
            if shown["state"] != "ended":
                key.attended()  # whoever records is there
            await _send(socket, {"shown": shown})
        await anyio.sleep(_TELL_S)


def _standing(relay: Relay) -> dict[str, Any]:
    shown = relay.shown()
    drafted = find(relay.capture.folder).drafted() if relay.sealed else None
    return {
        "state": shown.state,
        "words": "Off the record" if shown.off_record and shown.state == "recording" else STATES[shown.state],
        "off": shown.off_record,
        "clock": clock(shown.at_ms),
        "level": round(shown.level_db, 1),
        "faults": [FAULTS[fault] for fault in shown.faults],
        "minutes": shown.minutes_left,
        "marks": shown.marks,
        "ended": shown.ended,
        "withdrawn": relay.capture.recorder.withdrawn,
        "sealed": relay.sealed,
        "fault": relay.fault or (drafted.fault if drafted else ""),
        "visit": drafted.visit if drafted else "",
    }


async def _send(socket: WebSocket, told: dict[str, Any]) -> None:
    if told and socket.application_state is WebSocketState.CONNECTED:
        try:
            await socket.send_text(json.dumps(told))
        except RuntimeError:  # it closed in this moment; the page comes again
            return


def _relay(state: Any) -> Relay | None:
    relay = getattr(state, "relay", None)
    assert relay is None or isinstance(relay, Relay)
    return relay


def _running(state: Any) -> Relay:
    relay = _relay(state)
    if relay is None:
        raise InputError("Nothing is being recorded from this page. Start a recording.")
    return relay
