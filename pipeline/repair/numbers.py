"""Numbers that may be two: "eight pounds six" heard as "8.6". Nothing is changed; both readings are kept and asked."""

import re
from dataclasses import replace

from pipeline.model import Age, Suggestion, Transcript, Word
from pipeline.repair.rules import Rules, load_rules
from pipeline.repair.text import plain

DOUBTED = "number?"
_SPLIT = re.compile(r"^(£?)(\d{1,2})[.:,-](\d{1,2})$")
_KG_PER_LB = 0.45359237  # exact by definition (international pound, 1959)
_DAYS_PER_MONTH = 30.4375
_OUNCES = 15  # a whole pound has sixteen
_AT_BIRTH = Age(days=0)
_REACH = 6  # words in which weighing must be spoken of


def doubt_numbers(transcript: Transcript, age: Age | None) -> Transcript:
    """Flag ``number?`` and suggest both readings where talk of weight holds a number like 8.6.

    Read as pounds and ounces and as kilograms (as pounds, where these are said), where the second part is below 16 and
    an infant of that age (a newborn where birth is spoken of) could weigh at least one of the two. A number said with
    kilograms is flagged only where it does not fit the age. Words, order and times stay as they are.
    """
    rules = load_rules()
    words = list(transcript.words)
    for i0, i1 in transcript.utterances:
        near = [plain(word.text) for word in transcript.words[i0:i1]]
        for k, text in enumerate(near):
            match = _SPLIT.match(text)
            if match is None:
                continue
            pounds, whole, rest = match.groups()  # a recogniser writes "pounds" as money, too
            around = {*near[max(0, k - _REACH) : k], *near[k + 1 : k + 1 + _REACH]}
            if int(rest) > _OUNCES or not (pounds or rules.words["weighing"] & around):
                continue
            then = _AT_BIRTH if rules.words["birth"] & around else age
            unit = next(
                (name for name in ("kilos", "pounds") if rules.words[name].intersection(near[k + 1 : k + 2])), ""
            )
            found = _readings(int(whole), int(rest), f"{whole}.{rest}", unit, then, rules)
            if found:
                words[i0 + k] = _asked(words[i0 + k], found)
    return transcript.model_copy(update={"words": tuple(words)})


def _readings(whole: int, rest: int, written: str, unit: str, age: Age | None, rules: Rules) -> list[Suggestion]:
    """Both readings of a weight, the one that does not fit the age marked so; none where there is nothing to doubt."""
    as_pounds = _fits((whole + rest / (_OUNCES + 1)) * _KG_PER_LB, age, rules)
    as_decimal = _fits(float(written) * (_KG_PER_LB if unit == "pounds" else 1.0), age, rules)
    if not (as_pounds or as_decimal) or (unit == "kilos" and as_decimal):
        return []
    return [
        Suggestion(text, "two readings of a weight" if fits else "unlikely weight at this age", 0.6 if fits else 0.2)
        for text, fits in (
            (f"{whole} lb {rest} oz", as_pounds),
            (f"{written} {'lb' if unit == 'pounds' else 'kg'}", as_decimal),
        )
    ]


def _fits(kilograms: float, age: Age | None, rules: Rules) -> bool:
    """Whether an infant of that age may weigh so much; any age where it is not known."""
    if age is None:
        return rules.weights[0].low <= kilograms <= rules.weights[-1].high
    months = age.days / _DAYS_PER_MONTH
    band = next((b for b in rules.weights if months <= b.months), rules.weights[-1])
    return band.low <= kilograms <= band.high


def _asked(word: Word, found: list[Suggestion]) -> Word:
    new = tuple(s for s in found if s not in word.suggestions)
    flags = word.flags if DOUBTED in word.flags else (*word.flags, DOUBTED)
    return replace(word, flags=flags, suggestions=(*word.suggestions, *new))
