"""Numbers -> values of concepts, by their unit or, where none was said, by the range in which they make sense."""

from collections.abc import Sequence
from itertools import pairwise

from pipeline.extract.focus import Target
from pipeline.extract.frames import Frame
from pipeline.extract.marks import Mark, Marked
from pipeline.extract.values import Quantity
from pipeline.vocabulary import Concept, Measure, Vocabulary

RATE_NEAR = 3  # "breathing sixty-eight", "heart's about one ninety"
POUND, OUNCE = 0.45359237, 0.028349523125  # kilograms, exact since 1959
RATE_WORDS = 10  # "breathing's, let me count, forty-two a minute"
FAHRENHEIT = (93.0, 108.0)
LARGE = 50  # millimetres: what is so long may be said in centimetres too
COUNT = "1"  # UCUM's unit of a plain count
OTHER_UNITS = {  # what else an infant is measured in, as factors into the usual unit: pound and inch, exact since 1959
    "kg": (0.45359237,),
    "cm": (2.54,),
    "mm": (10.0, 25.4),
    "wk": (1 / 7, 365.25 / 84),
}
Value = tuple[float, str, tuple[str, ...]]


def measured(concept: Concept, number: Quantity) -> Value | None:
    """A number as a value of the concept: (value, unit, flags); None where it is no reading of it."""
    measure = concept.measure
    value, unit = number.value, number.unit
    if "value" not in concept.results:
        return None
    if concept.kind == "plan":
        return (round(value, 2), unit, ()) if unit in ("d", "wk", "mo") else None
    if measure is None:
        return None
    if concept.id == "history.gestation" and not measure.low <= value <= measure.high:
        return None
    if (unit, measure.unit) == ("cm", "mm"):
        return round(10 * value, 2), "mm", ()
    if unit == measure.unit or (unit in ("d", "wk", "mo") and measure.unit in ("d", "wk", "mo")):
        return round(value, 2), unit, ()
    if unit == "" or (unit == "deg" and measure.unit == "Cel"):
        if measure.low <= value <= measure.high:
            return round(value, 2), measure.unit, _doubt(value, measure)
        if measure.unit == "mm" and measure.low >= LARGE and measure.low <= 10 * value <= measure.high:
            return round(10 * value, 2), "mm", ("unit_assumed",)  # a diagonal of "thirteen point five"
        if measure.unit == "Cel" and FAHRENHEIT[0] <= value <= FAHRENHEIT[1]:
            return round((value - 32) / 1.8, 2), "Cel", ()
    return None


def _doubt(value: float, measure: Measure) -> tuple[str, ...]:
    """The flag of a number without a unit, only where another unit too would make it a reading ("she's nine")."""
    others = (factor * value for factor in OTHER_UNITS.get(measure.unit, ()))
    return ("unit_assumed",) if any(measure.low <= other <= measure.high for other in others) else ()


def value_of(concept: Concept, marks: Sequence[Mark], marked: Marked, vocab: Vocabulary) -> Value | None:
    """The first number among the marks that is a reading of the concept."""
    numbers = [m for m in marks if m.number is not None]
    if concept.measure is not None and concept.measure.unit == COUNT:
        numbers = [m for m in numbers if _counts(concept, m, marked, vocab)]
    if concept.measure is not None and concept.measure.unit == "kg":
        paired = _two_numbers(numbers)
        if paired is not None:
            return _pounds(concept.measure, *paired, marked)
    return next((v for m in numbers if m.number and (v := measured(concept, m.number))), None)


def _two_numbers(numbers: Sequence[Mark]) -> tuple[int, int] | None:
    """The first two small numbers said in one breath without a unit: "seven eleven", "seven one"."""
    bare = [m.number for m in numbers if m.number is not None and not m.number.unit and m.number.value % 1 == 0]
    for number in bare:
        whole, rest = divmod(int(number.value), 100)
        if number.b - number.a == 2 and 2 <= whole <= 15 and 10 <= rest <= 15:
            return whole, rest  # "seven eleven" reads like a hundred number
    for first, second in pairwise(bare):
        if first.b == second.a and 2 <= first.value <= 15 and second.value <= 15:
            return int(first.value), int(second.value)
    return None


def _pounds(measure: Measure, first: int, second: int, marked: Marked) -> Value | None:
    """ "Seven eleven" is pounds and ounces; "seven one" may be 7.1 kg too, and is read only where it can be but one."""
    pounds = round(first * POUND + second * OUNCE, 3)
    kilos = first + second / 10
    in_pounds = second > 9 or any(
        said_in_pounds(m, marked) or ((other := _two_numbers([m])) is not None and other[1] > 9)
        for m in marked.within(0, len(marked.tokens))
        if m.number is not None
    )
    fits = [v for v in (pounds, kilos) if measure.low <= v <= measure.high]
    if in_pounds or fits == [pounds]:
        return (pounds, measure.unit, ("unit_assumed",)) if pounds in fits else None
    return (kilos, measure.unit, ("unit_assumed",)) if fits == [kilos] else None


def said_in_pounds(mark: Mark, marked: Marked) -> bool:
    """Whether the weight was said in pounds."""
    return bool(marked.words(mark.a, mark.b) & {"pound", "pounds", "lb", "lbs"})


def _counts(concept: Concept, mark: Mark, marked: Marked, vocab: Vocabulary) -> bool:
    """The number counts the thing by the day: not "one with every feed", not "… fine, one poo a day"."""
    if any(concept.id in m.says() for m in marked.within(mark.b, mark.b + 2)):
        return True
    after = [t.text for t in marked.tokens[mark.b : mark.b + 2]]
    if marked.tokens[mark.b - 1].stop or not after:
        return True
    return after[0] in vocab.words["count_goes_on"] and not set(after) & set(vocab.words["count_of_less"])


def by_unit(
    vocab: Vocabulary, frame: Frame, own: Sequence[Target], context: Sequence[Target], marked: Marked, *, born: bool
) -> Concept | None:
    """ "5.4 kilos on my scales" is a weight by its unit; centimetres beside the head are its circumference.

    ``born``: the birth was just spoken of. "He was seven pound nine", without a day or a scale, is the weight at birth.
    """
    near = marked.sentence(frame.a)
    dated = near & vocab.listed("weighed_later")
    at_birth = bool(near & {"born", "birth"}) or (not dated and (born or bool(near & {"was"} and near & {"he", "she"})))
    for mark in frame.numbers:
        unit = mark.number.unit if mark.number else ""
        head = any(t.site in ("head", "skull") for t in (own or context))
        if unit == "" and own and head:
            unit = "cm"
        said = marked.words(max(0, mark.a - RATE_WORDS), mark.b)
        if unit == "" and _led(mark, marked) & (vocab.listed("breath_words") | vocab.listed("heart_words")):
            unit, said = "/min", _led(mark, marked)
        rates = ("measure.heart_rate", "heart_words"), ("measure.respiratory_rate", "breath_words")
        found = {
            "/min": next((c for c, words in rates if said & vocab.listed(words)), ""),
            "kg": "history.birth_weight" if at_birth else "measure.weight",
            "Cel": "measure.temperature",
            "cm": "measure.head_circumference" if head else "",
        }
        if marked.words(mark.b, mark.b + 1) & vocab.listed("length_words"):  # "fifty-three centimetres long"
            found["cm"] = "measure.length"
        concept = vocab.concepts.get(found.get(unit, ""))
        measure = concept.measure if concept is not None else None
        if measure is not None and mark.number is not None and measure.low <= mark.number.value <= measure.high:
            return concept
    return None


def _led(mark: Mark, marked: Marked) -> set[str]:
    """The few words before a number, back to the last stop."""
    begin = mark.a
    while begin > max(0, mark.a - RATE_NEAR) and not marked.tokens[begin - 1].stop:
        begin -= 1
    return marked.words(begin, mark.a)
