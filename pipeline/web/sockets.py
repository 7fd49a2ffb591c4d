"""WebSockets of the pages. The gate has checked host, origin and cookie before one is accepted."""

from collections.abc import AsyncIterator

from starlette.websockets import WebSocket, WebSocketDisconnect

from pipeline.web.gate import Key

POLICY_VIOLATION = 1008  # RFC 6455, section 7.4.1
TOO_BIG = 1009


async def messages(socket: WebSocket, *, limit: int, attended: bool) -> AsyncIterator[str | bytes]:
    """Accept the socket and give what comes until either side ends it.

    limit: bytes of one message. attended: whether a message shows that the person is there, so that the pages stay
    unlocked; sound from a microphone does not. Ends the socket where the pages are locked or a message is too long.
    """
    key: Key = socket.app.state.key
    await socket.accept()
    while True:
        try:
            message = await socket.receive()
        except WebSocketDisconnect:
            return
        if message["type"] == "websocket.disconnect":
            return
        data: str | bytes = message.get("bytes") or message.get("text") or ""
        if key.locked and attended:
            await socket.close(POLICY_VIOLATION)
            return
        if len(data) > limit:
            await socket.close(TOO_BIG)
            return
        if attended:
            key.attended()
        yield data
