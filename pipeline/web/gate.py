"""Who may come in: the browser that opened the link, asking from our own pages, while the person is there.

Loopback alone keeps nobody out: any page that the browser has open elsewhere may send requests to it, a foreign name
may be made to point to it (DNS rebinding), and other programs of this computer may ask. So every request must name our
host, come from our own pages where it changes something, and carry the cookie that the link of this start gave.
Practice: OWASP Cheat Sheet Series (Cross-Site Request Forgery Prevention; Session Management; HTTP Headers).
"""

import logging
import secrets
import time
import traceback
from collections.abc import Callable, Iterable
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pipeline.web.pages import failure

logger = logging.getLogger(__name__)

BODY_LIMIT = 1 << 20  # bytes of a request; nothing that a person types is longer
OPEN_PATH = "/open"
STATIC_PATH = "/static/"
UNATTENDED = "x-unattended"  # a page sends it with what it asks by itself: that must not keep the pages unlocked
_CLOSED = {"type": "websocket.close", "code": 1008}
_SAFE = ("GET", "HEAD")
_OURS = ("same-origin", "none")  # Sec-Fetch-Site (W3C Fetch Metadata); absent in old browsers


class Key:
    """What lets in: made anew at each start. ``origin``: ``http://127.0.0.1:PORT``. ``lock_after_s``: idle seconds."""

    def __init__(self, origin: str, lock_after_s: float, now: Callable[[], float] = time.monotonic) -> None:
        self.origin = origin
        self.host = origin.partition("://")[2]
        self.cookie = f"handspoken-{self.host.rpartition(':')[2]}"  # cookies do not tell ports apart
        self.token = secrets.token_urlsafe(32)
        self._secret = secrets.token_urlsafe(32)
        self._lock_after_s, self._now = lock_after_s, now
        self._seen = now()

    @property
    def locked(self) -> bool:
        """Whether the person has been away for too long."""
        return self._now() - self._seen > self._lock_after_s

    def attended(self) -> None:
        """The person did something."""
        self._seen = self._now()

    def opens(self, token: str) -> bool:
        """Whether this is the token of the link."""
        return secrets.compare_digest(token.encode(), self.token.encode())

    def give(self, response: Response) -> None:
        """Hand out the cookie, and unlock."""
        self.attended()
        response.set_cookie(self.cookie, self._secret, httponly=True, samesite="strict", path="/")

    def held(self, cookies: str) -> bool:
        """Whether the header holds our cookie."""
        try:
            morsel = SimpleCookie(cookies).get(self.cookie)
        except CookieError:
            return False
        return morsel is not None and secrets.compare_digest(morsel.value.encode(), self._secret.encode())


class Gate:
    """The outermost layer of the pages: checks each request and WebSocket, bounds it, and sets the headers."""

    def __init__(self, app: ASGIApp, *, key: Key) -> None:
        self._app, self._key = app, key
        host = key.host
        self._headers = {
            "Content-Security-Policy": (
                "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; "
                f"connect-src 'self' ws://{host}; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
            ),
            "Cache-Control": "no-store",
            "Referrer-Policy": "no-referrer",
            "X-Content-Type-Options": "nosniff",
            "X-Frame-Options": "DENY",
            "Cross-Origin-Opener-Policy": "same-origin",
            "Cross-Origin-Resource-Policy": "same-origin",
            "Permissions-Policy": "microphone=(self), camera=(), geolocation=()",
        }

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        refused = self._refused(scope)
        try:
            if scope["type"] == "websocket":
                await (self._app(scope, receive, send) if refused is None else send(_CLOSED))
            else:
                await self._answer(scope, receive, _Sent(send, self._headers), refused)
        except Exception as error:  # a fault of ours: what was said or typed must not reach the log
            logger.error("%s %s: %s", scope.get("method", "socket"), _route(scope), _where(error))

    async def _answer(self, scope: Scope, receive: Receive, sent: "_Sent", refused: tuple[int, str] | None) -> None:
        body = await _body(receive) if refused is None else b""
        if body is None:
            refused = 413, "What was sent is too long for this page; nothing was changed."
        if refused is not None:
            await failure(Request(scope), *refused)(scope, receive, sent)
            return
        try:
            await self._app(scope, _again(body or b"", receive), sent)
        except Exception:
            if not sent.begun:
                told = "Something went wrong in this program; what was saved before stands. Load the page again."
                await failure(Request(scope), 500, told)(scope, receive, sent)
            raise

    def _refused(self, scope: Scope) -> tuple[int, str] | None:
        """Status and reason where the request may not come in."""
        headers, key, path = Headers(scope=scope), self._key, scope["path"]
        if headers.getlist("host") != [key.host]:
            return 421, "This address is not served here."
        changes = scope["type"] == "websocket" or scope["method"] not in _SAFE
        if changes and headers.getlist("origin") != [key.origin]:
            return 403, "Only our own pages may ask for that."
        if path == OPEN_PATH:
            return None
        if headers.get("sec-fetch-site", "none") not in _OURS:
            return 403, "Only our own pages may ask for that."
        if path.startswith(STATIC_PATH):
            return None
        if not key.held(headers.get("cookie", "")):
            return 401, "These pages open with the link that the program showed when it started."
        if key.locked:
            return 423, "Locked after a while without a key or a touch. Open the link again that the program showed."
        if UNATTENDED not in headers:
            key.attended()
        return None


async def _body(receive: Receive) -> bytes | None:
    """The whole body of a request; None where it is longer than any of ours."""
    parts, length, more = [], 0, True
    while more:
        message = await receive()
        parts.append(message.get("body", b""))
        length += len(parts[-1])
        if length > BODY_LIMIT:
            return None
        more = message.get("more_body", False)
    return b"".join(parts)


def _again(body: bytes, receive: Receive) -> Receive:
    """``receive`` that gives the body first."""
    given = False

    async def again() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body}

    return again


class _Sent:
    """``send`` that adds the headers and knows whether an answer has begun."""

    def __init__(self, send: Send, headers: dict[str, str]) -> None:
        self._send, self._headers = send, headers
        self.begun = False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            own = MutableHeaders(scope=message)
            for name, value in self._headers.items():
                own[name] = value
        await self._send(message)


def _route(scope: Scope) -> str:
    """The pattern of the path, never the path itself."""
    return getattr(scope.get("route"), "path", "(no route)")


def _where(error: BaseException) -> str:
    """The kinds of an error and its causes with the places they come from, without their words."""
    seen: list[str] = []
    chain: Iterable[BaseException] = _causes(error)
    for cause in chain:
        frames = traceback.extract_tb(cause.__traceback__)
        at = f" at {frames[-1].filename}:{frames[-1].lineno}" if frames else ""
        seen.append(f"{type(cause).__name__}{at}")
    return " from ".join(seen)


def _causes(error: BaseException | None) -> Iterable[BaseException]:
    while error is not None:
        yield error
        error = error.__cause__
