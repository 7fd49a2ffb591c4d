"""The commands for infants, visits and contacts, from one to the next."""

import json
from collections.abc import Callable
from pathlib import Path

from conftest import Ended


def test_the_commands_from_an_infant_to_its_visits(handspoken: Callable[..., Ended], tmp_path: Path) -> None:
    said = tmp_path / "twins.vtt"
    said.write_text(
        "WEBVTT\n\n00:00.000 --> 00:04.000\nHips, no clunk.\n\n00:04.000 --> 00:06.000\nNow her brother.\n\n"
        "00:06.000 --> 00:09.000\nThe left sternocleidomastoid is tight.\n"
    )
    assert "may consent" in handspoken(
        "infant", "add", "Wren", "--born", "2026-09-20", "--birth-weight", "2.4", "--risk", "breech",
        "--carer", "Ann, mother, may consent").out  # fmt: skip
    handspoken("infant", "add", "Robin", "--legal-name", "Robin Invented")
    assert handspoken("draft", said, "--infant", "Wren", "--on", "2026-11-20").code == 0
    ((visit,), shown) = [v["id"] for v in json.loads(handspoken("visit", "list", "--json").out)], handspoken
    assert "“Now her brother.”" in shown("visit", "cut", visit).out
    parts = json.loads(shown("visit", "cut", visit, "--give", "0-4=Wren", "--give", "6-end=Robin", "--json").out)
    assert [part["infant"] for part in parts] == ["Wren", "Robin"]
    opened = json.loads(shown("visit", "open", "Wren", "--on", "2026-11-21", "--at", "9:00", "--json").out)["id"]
    text = tmp_path / "text.txt"
    text.write_text("The left sternocleidomastoid is tight.")
    assert "written" in shown("visit", "write", opened, text).out
    assert "written" in (tmp_path / "home" / "notes" / opened / "note.html").read_text()
    assert "from Wren to Robin" in shown("visit", "move", opened[-6:], "Robin").out
    assert "Drafted again" in shown("infant", "merge", "Robin", "Wren").out
    assert "entered as well as: Wren" in shown("infant", "list").out
    assert shown("infant", "split", "Wren").code == 0
    assert "born: " not in shown("infant", "edit", "Wren", "--unknown", "born").out
    assert "answer to a referral: seen" in shown("contact", "add", "Wren", "referral-answer", "seen").out
    assert "seen" in shown("contact", "list", "Wren").out
    for wrong in (
        ("visit", "open", "Wren", "--at", "25:00"),
        ("visit", "write", opened, tmp_path / "none.txt"),
        ("visit", "write", opened, "/"),
        ("infant", "edit", "Nobody", "--sex", "male"),
        ("contact", "list", "Nobody"),
    ):
        ended = shown(*wrong)
        assert (ended.code, ended.err.count("\n")) == (1, 1), ended.err
