"""What the OpenAPI document allows, and what it does not, never makes the pages fail: schemathesis asks. Invented."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from reviewing import NARRATION, file_narration, stages
from webbing import Pages

from pipeline.model import Transcript

schemathesis: Any = pytest.importorskip("schemathesis", reason="the package schemathesis is not installed")
EXAMPLES = 8  # an operation and mode; small, for the gate


@pytest.fixture(scope="module")
def asked(tmp_path_factory: pytest.TempPathFactory, spoken: Callable[[str], Transcript]) -> Iterator[tuple[Pages, str]]:
    home: Path = tmp_path_factory.mktemp("asked") / "home"
    visit = file_narration(home, spoken(NARRATION))
    with Pages(home, stages()) as client:
        yield client, visit


def operations(client: Pages) -> list[Any]:
    """The operations of this module's pages; those of others are tested beside them."""
    document = client.get("/openapi.json").json()
    schema = schemathesis.openapi.from_dict(document)
    ours = ("/visits/{visit}", "/vocabulary/", "/")
    found = [result.ok() for result in schema.get_all_operations()]
    return [o for o in found if o.path == "/" or o.path.startswith(ours[:2])]


@pytest.mark.parametrize("mode", ["POSITIVE", "NEGATIVE"])
def test_no_request_makes_the_pages_fail(mode: str, asked: tuple[Pages, str]) -> None:
    client, visit = asked
    found = operations(client)
    assert len(found) >= 9

    for operation in found if mode == "POSITIVE" else [o for o in found if "{" in o.path]:
        strategy = operation.as_strategy(generation_mode=schemathesis.GenerationMode[mode])

        @settings(
            max_examples=EXAMPLES,
            deadline=None,
            database=None,
            derandomize=True,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        @given(case=strategy, here=st.booleans())
        def ask(case: Any, here: bool) -> None:
            if here and "visit" in (case.path_parameters or {}):
                case.path_parameters["visit"] = visit
            sent = case.as_transport_kwargs(base_url=str(client.base_url))
            sent.pop("cookies", None)
            if isinstance(sent.get("data"), str | bytes):
                sent["content"] = sent.pop("data")
            sent["headers"] = {"origin": str(client.base_url), "accept": "application/json"}
            answer = client.request(**{key: value for key, value in sent.items() if value is not None})
            assert answer.status_code < 500, (case.method, case.path, answer.status_code)

        ask()
