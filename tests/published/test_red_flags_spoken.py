"""Every danger sign that can be said fires on sentences that state it, and on none that deny it, through the extractor.

The sentences stand in red_flag_sentences.yaml.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml
from check_visits import NORMS

from pipeline.ages import parse_age
from pipeline.check import check
from pipeline.extract import Extractor
from pipeline.model import Infant, Transcript, Urgency
from pipeline.vocabulary import load_vocabulary

ROWS: list[dict[str, Any]] = yaml.safe_load(
    Path(__file__).with_name("red_flag_sentences.yaml").read_text(encoding="utf-8")
)
INFANT = Infant(id="i1", code_name="Wren", sex="male", gestation_weeks=40)
PRESSING = (Urgency.REFER, Urgency.SAME_DAY, Urgency.EMERGENCY)
WATCHED = ("RF47", "RF48")  # these two watch by themselves


@pytest.fixture(scope="module")
def extractor() -> Extractor:
    return Extractor(load_vocabulary())


def named(row: dict[str, Any]) -> str:
    return f"{row['flag']}-{'says' if row['fire'] else 'denies'}-{row['say']}"


@pytest.mark.parametrize("row", ROWS, ids=named)
def test_a_sentence_raises_its_danger_sign_or_leaves_it_silent(
    row: dict[str, Any], extractor: Extractor, spoken: Callable[[str], Transcript]
) -> None:
    age = parse_age(row["age"], INFANT.gestation_weeks)
    items = extractor.extract(spoken(row["say"]), age=age).items
    least = (Urgency.WATCH, *PRESSING) if row["flag"] in WATCHED else PRESSING

    raised = [r for r in check(items, infant=INFANT, age=age, norms=NORMS) if r.rule == row["flag"]]

    assert any(r.urgency in least for r in raised) is row["fire"]
