"""Numbers, units and vertebral levels, spoken and written.

Conversions: pound = 0.45359237 kg, ounce = 0.028349523125 kg, inch = 2.54 cm exactly (NIST Handbook 44, Appendix C);
t/°C = (t/°F - 32)/1.8 (NIST Special Publication 811, B.8).
"""

import pytest
from extracting import lines, narration, read, the_item, vocabulary

from pipeline.extract.tokens import Token, Tokeniser
from pipeline.extract.values import NumberReader

POUND_KG = 0.45359237
OUNCE_KG = 0.028349523125
INCH_CM = 2.54


@pytest.fixture(scope="module")
def tokeniser() -> Tokeniser:
    return Tokeniser(vocabulary())


@pytest.fixture(scope="module")
def reader() -> NumberReader:
    return NumberReader(vocabulary())


@pytest.fixture
def tokens(tokeniser: Tokeniser, request: pytest.FixtureRequest) -> list[Token]:
    return tokeniser(narration(str(request.param)).words)


NUMBERS = [
    ("seven", 7),
    ("twelve", 12),
    ("twenty-one", 21),
    ("ninety nine", 99),
    ("one hundred", 100),
    ("one hundred and four", 104),
    ("one thirty-eight", 138),
    ("38.5", 38.5),
    ("thirty-eight point five", 38.5),
    ("thirty-seven point zero two", 37.02),
    ("ninety-nine point one", 99.1),
    ("ninety-eight six", 98.6),
    ("thirty-nine and a half", 39.5),
]


@pytest.mark.parametrize(("tokens", "value"), NUMBERS, indirect=["tokens"])
def test_a_number_is_read_to_its_end(reader: NumberReader, tokens: list[Token], value: float) -> None:
    found = reader.number(tokens, 0)

    assert found is not None
    assert found[0] == pytest.approx(value)
    assert found[1] == len(tokens)


@pytest.mark.parametrize("tokens", ["tight", "to", "won", "the", "left", "point five"], indirect=True)
def test_other_words_are_no_number(reader: NumberReader, tokens: list[Token]) -> None:
    assert reader.number(tokens, 0) is None


@pytest.mark.parametrize(("tokens", "values"), [("twenty. one", [20, 1]), ("eight, six", [8, 6])], indirect=["tokens"])
def test_a_number_ends_at_punctuation(reader: NumberReader, tokens: list[Token], values: list[float]) -> None:
    assert [quantity.value for quantity in reader.quantities(tokens)] == values


QUANTITIES = [
    ("eight pounds", 8 * POUND_KG, "kg"),
    ("8 lb", 8 * POUND_KG, "kg"),
    ("seven ounces", 7 * OUNCE_KG, "kg"),
    ("nine pounds eleven ounces", 9 * POUND_KG + 11 * OUNCE_KG, "kg"),
    ("nine pounds and eleven ounces", 9 * POUND_KG + 11 * OUNCE_KG, "kg"),
    ("nine pounds eleven", 9 * POUND_KG + 11 * OUNCE_KG, "kg"),
    ("9 pounds 11", 9 * POUND_KG + 11 * OUNCE_KG, "kg"),
    ("four kilos", 4, "kg"),
    ("four point two kilos", 4.2, "kg"),
    ("four kilos two hundred", 4.2, "kg"),
    ("four kilos two hundred grams", 4.2, "kg"),
    ("4200 g", 4.2, "kg"),
    ("half a kilo", 0.5, "kg"),
    ("twenty-one inches", 21 * INCH_CM, "cm"),
    ("fifteen and a half inches", 15.5 * INCH_CM, "cm"),
    ("54 cm", 54, "cm"),
    ("five hundred and forty millimetres", 54, "cm"),
    ("ninety-eight point six degrees Fahrenheit", 37, "Cel"),
    ("32 Fahrenheit", 0, "Cel"),
    ("100.4 degrees F", 38, "Cel"),
    ("thirty-eight degrees Celsius", 38, "Cel"),
    ("eighty degrees", 80, "deg"),
    ("three weeks", 3, "wk"),
    ("a fortnight", 2, "wk"),
    ("ten days", 10, "d"),
    ("a week", 1, "wk"),
    ("four months", 4, "mo"),
    ("ten seconds", 10, "s"),
    ("two minutes", 120, "s"),
    ("half an hour", 1800, "s"),
    ("three times", 3, "1"),
    ("forty-four breaths a minute", 44, "/min"),
    ("138 bpm", 138, "/min"),
    ("forty", 40, ""),
]


@pytest.mark.parametrize(("tokens", "value", "unit"), QUANTITIES, indirect=["tokens"])
def test_a_quantity_is_converted_by_the_published_factor(
    reader: NumberReader, tokens: list[Token], value: float, unit: str
) -> None:
    (quantity,) = reader.quantities(tokens)

    assert quantity.value == pytest.approx(value, abs=1e-9)
    assert quantity.unit == unit


@pytest.mark.parametrize("tokens", ["nine pounds sixteen", "nine pounds. eleven"], indirect=True)
def test_only_fewer_than_sixteen_ounces_follow_pounds(reader: NumberReader, tokens: list[Token]) -> None:
    assert [quantity.unit for quantity in reader.quantities(tokens)] == ["kg", ""]


LEVELS = [
    ("T4", ["T4"]),
    ("t four", ["T4"]),
    ("C1 and C2", ["C1-C2"]),
    ("C1/C2", ["C1-C2"]),
    ("T4 to T6", ["T4-T6"]),
    ("T four to six", ["T4-T6"]),
    ("T12 to L1", ["T12-L1"]),
    ("T4 and T9", ["T4", "T9"]),
    ("the sixth thoracic", ["T6"]),
    ("second lumbar", ["L2"]),
    ("first sacral", ["S1"]),
    ("C7", ["C7"]),
    ("L5", ["L5"]),
    ("T12", ["T12"]),
    ("C8", []),
    ("T13", []),
    ("L6", []),
    ("S6", []),
    ("T0", []),
    ("T99999", []),
    ("the sixth one", []),
    ("T6 to T4", ["T6", "T4"]),
]


@pytest.mark.parametrize(("tokens", "levels"), LEVELS, indirect=["tokens"])
def test_levels_are_those_that_a_spine_has(reader: NumberReader, tokens: list[Token], levels: list[str]) -> None:
    assert [level.text for level in reader.levels(tokens)] == levels


@pytest.mark.parametrize(("region", "levels"), [("thoracic_spine", ["T6"]), ("hip", []), (None, [])])
def test_the_sixth_one_is_a_level_where_a_spine_is_in_hand(
    tokeniser: Tokeniser, reader: NumberReader, region: str | None, levels: list[str]
) -> None:
    tokens = tokeniser(narration("around the sixth one").words)

    assert [level.text for level in reader.levels(tokens, region)] == levels


MEASURED = [
    ("Weight is eight pounds four ounces.", "measure.weight whole_body 3.74 kg"),
    ("Weight 4.2 kilos.", "measure.weight whole_body 4.2 kg"),
    ("Length is twenty-one inches.", "measure.length whole_body 53.34 cm"),
    ("Head circumference 15 inches.", "measure.head_circumference skull 38.1 cm"),
    ("Head circumference is thirty-eight and a half centimetres.", "measure.head_circumference skull 38.5 cm"),
    ("Temperature ninety-eight point six Fahrenheit.", "measure.temperature whole_body 37 Cel"),
    ("Temperature is 100.4 degrees Fahrenheit.", "measure.temperature whole_body 38 Cel"),
    ("Temperature is 37.2 degrees Celsius.", "measure.temperature whole_body 37.2 Cel"),
    ("Breathing rate is forty-four.", "measure.respiratory_rate whole_body 44 /min"),
    ("Heart rate one thirty-eight.", "measure.heart_rate whole_body 138 /min"),
    ("Neck rotation to the left is eighty degrees.", "motion.rotation neck left 80 deg"),
    ("She's six weeks old.", "history.age whole_body 6 wk"),
    ("He was born at thirty-seven weeks.", "history.gestation whole_body 37 wk"),
    ("See you in two weeks.", "plan.next_visit whole_body 2 wk"),
    ("Come back in a fortnight.", "plan.next_visit whole_body 2 wk"),
]


@pytest.mark.parametrize(("said", "expected"), MEASURED)
def test_a_measure_is_kept_in_its_own_unit(said: str, expected: str) -> None:
    assert lines(said) == [expected]


@pytest.mark.parametrize(
    ("said", "value", "unit", "doubtful"),
    [
        ("Temperature is 38.5.", 38.5, "Cel", False),
        ("Temp is one hundred point four.", 38.0, "Cel", False),
        ("Head circumference 41.2.", 41.2, "cm", False),  # in inches no head
        ("Weight today is 4.1.", 4.1, "kg", True),  # in pounds a small infant
        ("Weight today is 1.6.", 1.6, "kg", False),
        ("Length is 22.", None, None, False),  # in centimetres no length: not guessed
    ],
)
def test_an_unsaid_unit_is_asked_for_where_two_would_do(
    said: str, value: float | None, unit: str | None, doubtful: bool
) -> None:
    items = [item for item in read(said).items if item.value is not None]

    assert [(i.value, i.unit, "unit_assumed" in i.flags) for i in items] == ([(value, unit, doubtful)] if value else [])


def test_a_said_unit_is_not_marked() -> None:
    assert the_item("Temperature is 38.5 degrees Celsius.").flags == ()


@pytest.mark.parametrize(
    "said",
    [
        "If it goes over 100.4, call me.",
        "If her temperature goes above thirty-eight, call the doctor.",
        "Bring her in if the temp hits 38.",
        "Watch for a fever over 38.",
    ],
)
def test_a_threshold_in_advice_is_no_measurement(said: str) -> None:
    found = read(said).items

    assert all(item.value is None for item in found)
    assert {item.concept for item in found} <= {"advice.return_if"}


@pytest.mark.parametrize("said", ["Temperature is 380.", "Weight is 900.", "Heart rate is 0."])
def test_a_bare_number_outside_the_range_is_not_believed(said: str) -> None:
    assert [item.value for item in read(said).items if item.value is not None] == []


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ("Diagonals, right front to left back, one thirty-two. Left front to right back, one twenty-five.", [132, 125]),
        ("Right front to left back is one oh five, left front to right back one twelve.", [105, 112]),
        (
            "Right forehead to the left back thirteen point five, left forehead to the right back twelve point nine.",
            [135, 129],
        ),
        (
            "Diagonals: left back to right front a hundred and thirty, right back to left front a hundred and nine.",
            [130, 109],
        ),
    ],
)
def test_a_diagonal_of_the_head_has_the_side_of_its_front(said: str, expected: list[float]) -> None:
    made = lines(said)
    assert made == [f"measure.head_diagonal skull {s} {v} mm" for s, v in zip(("right", "left"), expected, strict=True)]
