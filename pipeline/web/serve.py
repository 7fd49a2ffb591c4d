"""Starts the pages on a free port of the loopback interface and shows the link."""

import logging
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import uvicorn

from pipeline.config import Config
from pipeline.files import private_folder, write_atomic
from pipeline.safe import html_templates
from pipeline.stages import Stages
from pipeline.web.app import create_app
from pipeline.web.gate import OPEN_PATH, Key

HOST = "127.0.0.1"
SOCKET_LIMIT = 1 << 20  # bytes of one WebSocket message
DOORSTEP = "open.html"  # in the home, for its owner alone: a command line is seen by all programs of this computer


def serve(
    config: Config, stages: Stages, *, to: str = "/", port: int = 0, show: Callable[[str], None], browse: bool
) -> None:
    """Serve the pages until the person stops it. ``show`` gets the link once it answers; ``browse`` opens it too.

    port: 0 = a free one. Raises OSError where the port is taken.
    """
    logging.getLogger("uvicorn.error").setLevel(logging.WARNING)
    settings = uvicorn.Config(
        _nothing, host=HOST, port=port, log_config=None, access_log=False, server_header=False, proxy_headers=False,
        ws_max_size=SOCKET_LIMIT, timeout_graceful_shutdown=3,
    )  # fmt: skip
    listening = settings.bind_socket()
    key = Key(f"http://{HOST}:{listening.getsockname()[1]}", config.settings.lock_minutes * 60)
    settings.app = create_app(config, stages, key)
    link = f"{key.origin}{OPEN_PATH}?{urlencode({'token': key.token, 'to': to})}"
    doorstep = private_folder(config.home) / DOORSTEP

    def ready() -> None:
        show(link)
        if browse:
            _browse(doorstep, link)

    try:
        _Server(settings, ready).run(sockets=[listening])
    except KeyboardInterrupt:
        pass
    finally:
        doorstep.unlink(missing_ok=True)


def _browse(doorstep: Path, link: str) -> None:
    text = html_templates().get_template("web/doorstep.html.j2").render(link=link)
    write_atomic(doorstep, text.encode())
    webbrowser.open(doorstep.as_uri())


class _Server(uvicorn.Server):
    """Tells when it answers."""

    def __init__(self, settings: uvicorn.Config, ready: Callable[[], None]) -> None:
        super().__init__(settings)
        self._ready = ready

    async def startup(self, sockets: list[Any] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            self._ready()


async def _nothing(scope: Any, receive: Any, send: Any) -> None:
    """Stands in until the port is known."""
