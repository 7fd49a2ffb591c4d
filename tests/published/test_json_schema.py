"""JSON Schema 2020-12 (json-schema.org) of the record file; checked by jsonschema-rs.

``pytest --update-golden`` writes the published schema anew; a change of it is a change of what others read.
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema_rs
import pytest
from invented import PlainStages, file_visit, infant, record_of

from pipeline.config import Config, Settings
from pipeline.exchange import Wish, export
from pipeline.model import Transcript
from pipeline.store import Store, transfer

PUBLISHED = Path(transfer.__file__).with_name("record.schema.json")


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    return dict(json.loads(PUBLISHED.read_text(encoding="utf-8")))


@pytest.fixture(scope="module")
def record(spoken: Callable[[str], Transcript], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """A record file as this program writes it."""
    home = tmp_path_factory.mktemp("record")
    given = record_of(spoken("a clunk."), infant("Wren"))
    with Store(home) as store:
        with store.writing() as unit:
            unit.blobs.keep(b"a clunk.")
        file_visit(store, given)
    export(None, Wish("json"), home / "out", Config(home=home, settings=Settings()), PlainStages(spoken))
    return dict(json.loads((home / "out" / "record.json").read_text(encoding="utf-8")))


def test_the_published_schema_is_current(request: pytest.FixtureRequest) -> None:
    text = json.dumps(transfer.json_schema(), indent=1, ensure_ascii=False) + "\n"
    if request.config.getoption("--update-golden"):
        PUBLISHED.write_text(text, encoding="utf-8")

    assert PUBLISHED.read_text(encoding="utf-8") == text, "write it anew with: pytest --update-golden " + __name__


def test_it_is_a_schema_of_2020_12(schema: dict[str, Any]) -> None:
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema_rs.meta.validate(schema)


def test_what_is_written_is_valid(schema: dict[str, Any], record: dict[str, Any]) -> None:
    assert list(jsonschema_rs.Draft202012Validator(schema).iter_errors(record)) == []


@pytest.mark.parametrize(
    "breaking",
    [
        lambda r: r.update(version=2),
        lambda r: r.update(more=1),
        lambda r: r.pop("events"),
        lambda r: r["events"][0].update(id="short"),
        lambda r: r["events"][0].pop("at"),
        lambda r: r["events"][0]["payload"].update(type="spell"),
        lambda r: r["events"][0]["payload"]["infant"].pop("code_name"),
        lambda r: r["files"][0].update(sha256="x"),
    ],
)
def test_what_the_program_refuses_is_invalid(
    schema: dict[str, Any], record: dict[str, Any], breaking: Callable[[dict[str, Any]], object]
) -> None:
    broken = json.loads(json.dumps(record))
    breaking(broken)

    assert not jsonschema_rs.Draft202012Validator(schema).is_valid(broken)


def test_every_kind_of_event_is_in_it(schema: dict[str, Any]) -> None:
    kinds = schema["$defs"]["KeptEvent"]["properties"]["payload"]["discriminator"]["mapping"]

    assert {"infant_entered", "visit_opened", "line_edit", "signed", "addendum", "consent", "contact"} <= set(kinds)
    assert all(schema["$defs"][where.rpartition("/")[2]]["additionalProperties"] is False for where in kinds.values())
