"""Numbers -> values of concepts, by their unit or, where none was said, by the range in which they make sense."""

from collections.abc import Sequence

from pipeline.extract.focus import Target
from pipeline.extract.frames import Frame
from pipeline.extract.marks import Mark, Marked
from pipeline.extract.values import Quantity
from pipeline.vocabulary import Concept, Measure, Vocabulary

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
    return next((v for m in numbers if m.number and (v := measured(concept, m.number))), None)


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
