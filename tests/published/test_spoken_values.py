"""Numbers said aloud reach the scales and limits that need them, through the extractor. All sentences are our own.

Sources of the limits: vocab/norms/ (head.yaml, mouth.yaml, feet.yaml, spine_skin.yaml, vital_signs.yaml) and
vocab/red_flags.yaml.
"""

from collections.abc import Callable

import pytest
from check_visits import GIRL, NORMS
from extracting import extractor

from pipeline.ages import parse_age
from pipeline.check import check
from pipeline.model import Remark, Transcript

ROWS = [
    ("4 wk", "There's a sacral dimple, three millimetres wide, two centimetres from the anus, base seen.",
     "dimple.simple", "expected"),
    ("4 wk", "Dimple, 7 mm wide, two centimetres above the anus.", "RF33", "refer"),
    ("4 wk", "Over the sacrum a pit, three mil across. It's three centimetres from the anus.", "RF33", "refer"),
    ("4 wk", "Sacral dimple. I can't see the bottom of it.", "RF33", "refer"),
    ("3 mo", "Oxygen saturation is ninety-four percent.", "oxygen.low", "same_day"),
    ("3 mo", "Sats 89 on air.", "oxygen.very_low", "emergency"),
    ("4 mo", "Left diagonal 140 millimetres, right diagonal 130.", "skull.asymmetry_index", "watch"),
    ("4 mo", "The diagonals are one hundred forty and one hundred thirty-eight millimetres.",
     "skull.asymmetry_normal", "expected"),
    ("4 mo", "CVAI is seven point one percent.", "skull.asymmetry_index", "watch"),
    ("4 mo", "Cephalic index ninety-three percent.", "skull.cephalic_index", "expected"),
    ("4 wk", "TABBY score five.", "tongue.score", "expected"),
    ("8 wk", "Left foot, the heel bisector goes through the fourth toe.", "forefoot.scale", "watch"),
    ("5 mo", "Mum says he can't hold his head up yet.", "RF43", "refer"),
]  # fmt: skip

WORDS = [
    ("4 mo", "Left diagonal 140 millimetres, right diagonal 130.", "skull.asymmetry_index", "index 7.14 %"),
    ("4 wk", "TABBY score five.", "tongue.score", "impaired"),
    ("8 wk", "Left foot, the heel bisector goes through the fourth toe.", "forefoot.scale", "moderate"),
]


def remarks(age: str, say: str, spoken: Callable[[str], Transcript]) -> dict[str, Remark]:
    old = parse_age(age, 40)
    items = extractor().extract(spoken(say), age=old).items
    return {r.rule: r for r in check(items, infant=GIRL, age=old, norms=NORMS)}


@pytest.mark.parametrize(("age", "say", "rule", "urgency"), ROWS, ids=[row[1] for row in ROWS])
def test_a_number_said_is_held_against_its_limit(
    age: str, say: str, rule: str, urgency: str, spoken: Callable[[str], Transcript]
) -> None:
    assert remarks(age, say, spoken)[rule].urgency == urgency


@pytest.mark.parametrize(("age", "say", "rule", "words"), WORDS, ids=[row[1] for row in WORDS])
def test_a_scale_gives_its_own_word(
    age: str, say: str, rule: str, words: str, spoken: Callable[[str], Transcript]
) -> None:
    assert words in remarks(age, say, spoken)[rule].reason
