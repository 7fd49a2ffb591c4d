"""The pages in this process, over an invented record."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fastapi.testclient import TestClient
from invented import PlainStages

from pipeline.config import Config, Settings
from pipeline.model import Transcript
from pipeline.stages import Stages
from pipeline.web import create_app
from pipeline.web.gate import Key

ORIGIN = "http://127.0.0.1:8765"
LOCK_S = 600.0


@dataclass
class Clock:
    """A clock that a test sets."""

    at: float = 0.0

    def __call__(self) -> float:
        return self.at


class Pages(TestClient):
    """The pages as the person's own browser asks for them, the link opened already."""

    def __init__(self, home: Path, stages: Stages) -> None:
        self.clock = Clock()
        self.key = Key(ORIGIN, LOCK_S, self.clock)
        self.config = Config(home=home, settings=Settings())
        app = create_app(self.config, stages, self.key)
        super().__init__(app, base_url=ORIGIN, headers={"origin": ORIGIN, "accept": "text/html"})
        self.open()

    def open(self) -> None:
        """Open the link."""
        assert self.get("/open", params={"token": self.key.token}).status_code == 200


def state(client: "Pages", visit: str) -> dict[str, Any]:
    """The sheet as the page gets it."""
    answer = client.get(f"/visits/{visit}/sheet", headers={"accept": "application/json"})
    assert answer.status_code == 200, answer.text
    shown: dict[str, Any] = answer.json()
    return shown


def change(client: "Pages", visit: str, version: int | None = None, **what: Any) -> Any:
    """Ask for one change; returns the answer."""
    version = state(client, visit)["version"] if version is None else version
    body = {"version": version, "change": what}
    return client.post(f"/visits/{visit}/changes", json=body, headers={"accept": "application/json"})


def pages(home: Path, spoken: Callable[[str], Transcript]) -> Pages:
    """The pages over the record in ``home``, with plain stages."""
    return Pages(home, PlainStages(spoken))
