"""Who may come in, what may be loaded, and how a failure reads. The visits are invented."""

import hashlib
import logging
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from invented import file_visit, infant, item, record_of
from starlette.websockets import WebSocket, WebSocketDisconnect
from webbing import LOCK_S, ORIGIN, Pages, pages

from pipeline.model import Recording, Transcript
from pipeline.store import Store
from pipeline.web.door import static_files
from pipeline.web.gate import BODY_LIMIT
from pipeline.web.sockets import messages

SOUND = bytes(range(256)) * 40
SHA256 = hashlib.sha256(SOUND).hexdigest()


@pytest.fixture
def opened(tmp_path: Path, spoken: Callable[[str], Transcript]) -> Iterator[Pages]:
    with pages(tmp_path / "home", spoken) as client:
        yield client


@pytest.fixture
def visit(opened: Pages, spoken: Callable[[str], Transcript], tmp_path: Path) -> str:
    """A visit on record with a sound file of its own."""
    words = spoken("a clunk at the left hip")
    sound = tmp_path / "sound.wav"
    sound.write_bytes(SOUND)
    with Store(opened.config.home) as store:
        with store.writing() as unit:
            unit.blobs.keep_file(sound, SHA256)
        record = record_of(words, infant("<b>robin</b>"))
        recording = Recording(id=words.recording, sha256=SHA256, media_type="audio/wav", duration_ms=3000)
        record = record.model_copy(update={"recording": recording})
        return file_visit(store, record, item(words, (1, 2), "joint.clunk", "present", site="hip")).visit


def test_without_the_link_nothing_opens(opened: Pages) -> None:
    opened.cookies.clear()

    answer = opened.get("/")

    assert answer.status_code == 401
    assert "open with the link" in answer.text
    assert "<nav" not in answer.text


def test_a_wrong_token_opens_nothing(opened: Pages) -> None:
    opened.cookies.clear()

    assert opened.get("/open", params={"token": "x" * 43}).status_code == 403
    assert not opened.cookies


def test_the_link_gives_a_cookie_no_script_and_no_other_site_gets(opened: Pages) -> None:
    answer = opened.get("/open", params={"token": opened.key.token, "to": "/visits"})

    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert opened.key.token.lower() not in cookie
    assert 'content="0;url=/visits"' in answer.text


@pytest.mark.parametrize("to", ["//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example", ""])
def test_the_link_leads_nowhere_else(to: str, opened: Pages) -> None:
    answer = opened.get("/open", params={"token": opened.key.token, "to": to})

    assert 'content="0;url=/"' in answer.text


@pytest.mark.parametrize("host", ["elsewhere.example", "elsewhere.example:8765", "127.0.0.1", "127.0.0.1:80", ""])
@pytest.mark.parametrize("path", ["/", "/open", "/static/web.css"])
def test_another_host_name_is_refused(host: str, path: str, opened: Pages) -> None:
    assert opened.get(path, headers={"host": host}).status_code == 421


@pytest.mark.parametrize("origin", ["http://elsewhere.example", "http://127.0.0.1:9999", "null", ""])
def test_a_post_from_elsewhere_is_refused(origin: str, opened: Pages) -> None:
    assert opened.post("/", headers={"origin": origin}).status_code == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_a_page_of_another_port_may_not_read(site: str, opened: Pages) -> None:
    assert opened.get("/", headers={"sec-fetch-site": site}).status_code == 403


def test_every_answer_carries_the_headers(opened: Pages) -> None:
    for path in ("/", "/nowhere", "/static/web.css", "/open"):
        headers = opened.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert headers["cache-control"] == "no-store"
        assert headers["x-content-type-options"] == "nosniff"


def test_idle_pages_lock_and_the_link_opens_them_again(opened: Pages) -> None:
    opened.clock.at += LOCK_S - 1
    assert opened.get("/").status_code == 200
    opened.clock.at += LOCK_S - 1
    assert opened.get("/").status_code == 200, "each visit of a page counts from anew"
    opened.clock.at += LOCK_S + 1
    assert opened.get("/").status_code == 423
    assert opened.get("/").status_code == 423, "asking does not unlock"
    opened.open()
    assert opened.get("/").status_code == 200


def test_what_a_page_asks_by_itself_does_not_keep_it_open(opened: Pages) -> None:
    for _ in range(3):
        opened.clock.at += LOCK_S * 0.4
        answer = opened.get("/alive", headers={"x-unattended": "1"})

    assert answer.status_code == 423


def test_a_long_body_is_refused(opened: Pages) -> None:
    assert opened.post("/", content=b"x" * (BODY_LIMIT + 1)).status_code == 413
    assert opened.post("/", content=b"x" * BODY_LIMIT).status_code == 405


@pytest.mark.parametrize(
    "name", ["../note.css", "..%2fnote.css", "%2e%2e/%2e%2e/pyproject.toml", "", "web.css/..", "page.html.j2", "%00"]
)
def test_only_the_files_of_the_pages_are_served(name: str, opened: Pages) -> None:
    assert opened.get(f"/static/{name}").status_code in (404, 405)


def test_every_file_of_the_pages_is_served(opened: Pages) -> None:
    opened.cookies.clear()
    for name in static_files():
        answer = opened.get(f"/static/{name}")
        assert answer.status_code == 200
        assert answer.headers["content-type"].split(";")[0] in ("text/css", "text/javascript", "image/svg+xml")


def test_the_visits_are_listed_and_names_are_escaped(opened: Pages, visit: str) -> None:
    text = opened.get("/").text

    assert f'href="/visits/{visit}"' in text
    assert "&lt;b&gt;robin&lt;/b&gt;" in text


def test_an_empty_record_is_not_made_by_looking(opened: Pages) -> None:
    assert "No visit is on record yet" in opened.get("/").text
    assert not opened.config.home.exists()


def test_sound_comes_in_ranges(opened: Pages, visit: str) -> None:
    whole = opened.get(f"/visits/{visit}/sound")
    part = opened.get(f"/visits/{visit}/sound", headers={"range": "bytes=256-511"})
    beyond = opened.get(f"/visits/{visit}/sound", headers={"range": f"bytes={len(SOUND)}-"})

    assert (whole.status_code, whole.content, whole.headers["accept-ranges"]) == (200, SOUND, "bytes")
    assert (part.status_code, part.content) == (206, SOUND[256:512])
    assert part.headers["content-range"] == f"bytes 256-511/{len(SOUND)}"
    assert beyond.status_code == 416


def test_a_failure_is_a_page_for_a_person_and_json_for_a_script(opened: Pages) -> None:
    path = f"/visits/{'0' * 26}/sound"

    for_person, for_script = opened.get(path), opened.get(path, headers={"accept": "application/json"})

    assert for_person.status_code == for_script.status_code == 404
    assert "there is no sound of it" in for_person.text
    assert set(for_script.json()) == {"error"}


def test_a_fault_of_ours_tells_neither_page_nor_log_what_was_said(
    opened: Pages, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(_config: object) -> None:
        raise RuntimeError("the mother said a secret")

    monkeypatch.setattr("pipeline.web.home.visits", broken)
    with caplog.at_level(logging.DEBUG):
        answer = opened.get("/")

    assert answer.status_code == 500
    assert "Load the page again" in answer.text
    assert "RuntimeError at " in caplog.text
    assert "secret" not in caplog.text + answer.text


def test_a_socket_needs_the_cookie_and_our_origin(opened: Pages) -> None:
    heard: list[str | bytes] = []

    @opened.app.websocket("/socket")  # type: ignore[attr-defined, untyped-decorator]
    async def socket(websocket: WebSocket) -> None:
        async for message in messages(websocket, limit=10, attended=True):
            heard.append(message)
            await websocket.send_text("heard")

    cookie = "; ".join(f"{name}={value}" for name, value in opened.cookies.items())
    ours = {"host": ORIGIN.partition("://")[2], "cookie": cookie}  # the test client would ask another host
    with opened.websocket_connect("/socket", headers=ours) as line:
        line.send_text("hello")
        assert line.receive_text() == "heard"
        line.send_bytes(b"x" * 11)
        with pytest.raises(WebSocketDisconnect):
            line.receive_text()
    for refused in ({"origin": "http://elsewhere.example"}, {"cookie": ""}, {"host": "elsewhere.example"}):
        with pytest.raises(WebSocketDisconnect), opened.websocket_connect("/socket", headers=ours | refused):
            pass

    assert heard == ["hello"]
