"""Numbers that may be two: "eight pounds six" heard as "8.6". Nothing is changed; both readings are kept and asked."""

import re
from dataclasses import replace

from pipeline.model import Age, Suggestion, Transcript, Word
from pipeline.repair.rules import Rules, load_rules
from pipeline.repair.text import plain

DOUBTED = "number?"
_SPLIT = re.compile(r"^(\d{1,2})[.:,-](\d{1,2})$")
_KG_PER_LB = 0.45359237  # exact by definition (international pound, 1959)
_DAYS_PER_MONTH = 30.4375
_REACH = 6  # words in which weighing must be spoken of


def doubt_numbers(transcript: Transcript, age: Age | None) -> Transcript:
    """Flag ``number?`` and suggest both readings where talk of weight holds a number like 8.6.

    Read as pounds and ounces and as kilograms, where the second part is below 16 and an infant of that age could weigh
    at least one of the two. A number said with kilograms is flagged only where it does not fit the age. Words, order
    and times stay as they are.
    """
    rules = load_rules()
    words = list(transcript.words)
    for i0, i1 in transcript.utterances:
        near = [plain(word.text) for word in transcript.words[i0:i1]]
        for k, text in enumerate(near):
            match = _SPLIT.match(text)
            around = near[max(0, k - _REACH) : k] + near[k + 1 : k + 1 + _REACH]
            if match is None or int(match.group(2)) > 15 or not rules.words["weighing"].intersection(around):
                continue
            following = near[k + 1 : k + 2]
            kilos = bool(rules.words["kilos"].intersection(following))
            found = _readings(match.group(1), match.group(2), kilos, age, rules)
            if found:
                words[i0 + k] = _asked(words[i0 + k], found)
    return transcript.model_copy(update={"words": tuple(words)})


def _readings(whole: str, rest: str, kilos: bool, age: Age | None, rules: Rules) -> list[Suggestion]:
    kilograms = float(f"{whole}.{rest}")
    pounds = (int(whole) + int(rest) / 16) * _KG_PER_LB
    as_pounds, as_kilos = _fits(pounds, age, rules), _fits(kilograms, age, rules)
    if not (as_pounds or as_kilos) or (kilos and as_kilos):
        return []
    return [
        Suggestion(text, "two readings of a weight" if fits else "unlikely weight at this age", 0.6 if fits else 0.2)
        for text, fits in ((f"{whole} lb {rest} oz", as_pounds), (f"{whole}.{rest} kg", as_kilos))
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
