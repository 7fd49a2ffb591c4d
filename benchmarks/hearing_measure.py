"""What benchmarks/hearing.py counts: words, trade terms and sides, after numbers and units are written alike."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields

from rapidfuzz.distance import Levenshtein, Opcodes

SIDES = ("left", "right")
_ONES = (
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"),
    *("thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"),
)
_TENS = {
    name: 10 * (k + 2)
    for k, name in enumerate(("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"))
}
_NUMBERS = {name: k for k, name in enumerate(_ONES)} | _TENS
_ALIKE = {
    "kg": "kilograms", "kgs": "kilograms", "kilos": "kilograms", "cm": "centimeters", "centimetres": "centimeters",
    "centimetre": "centimeter", "mm": "millimeters", "mum": "mom", "mum's": "mom's", "okay": "ok",
    "fontanel": "fontanelle", "mister": "mr", "percent": "%", "babinsky": "babinski",
    "cephalohaematoma": "cephalohematoma",
}  # fmt: skip


def normal(text: str) -> list[str]:
    """Words in lower case without punctuation; number words as digits, units and levels ("C two", "C-2") alike."""
    text = text.lower().replace("’", "'")
    text = re.sub(r"(\d)\s*[-–]\s*(\d)", r"\1 to \2", text)
    text = re.sub(r"\b([ctls])[- ](\d)", r"\1\2", text.replace("%", " % "))
    text = re.sub(r"\bsub[- ]occip", "suboccip", text).replace("alright", "all right").replace("sidebent", "side bent")
    text = re.sub(r"(\d)x(\d)", r"\1 by \2", text)
    raw = [w.strip(".,'") for w in re.findall(r"[a-z0-9.,'%]+", text)]
    words = _numbers([_ALIKE.get(w, w) for w in raw if w])
    joined: list[str] = []
    for word in words:
        if joined and joined[-1] in ("c", "t", "l", "s") and word.isdigit():
            joined[-1] += word
        else:
            joined.append(word)
    return joined


def _numbers(words: Sequence[str]) -> list[str]:
    out: list[str] = []
    k = 0
    while k < len(words):
        word = words[k]
        if word not in _NUMBERS:
            out.append(word)
            k += 1
            continue
        value = str(_NUMBERS[word])
        k += 1
        if word in _TENS and k < len(words) and words[k] in _ONES[1:10]:
            value = str(_TENS[word] + _NUMBERS[words[k]])
            k += 1
        if k + 1 < len(words) and words[k] == "point" and words[k + 1] in _ONES[:10]:
            value += "."
            k += 1
            while k < len(words) and words[k] in _ONES[:10]:
                value += str(_NUMBERS[words[k]])
                k += 1
        out.append(value)
    return out


@dataclass
class Count:
    """Sums over files. Flags: sides marked for asking, and how many of these were wrong indeed."""

    words: int = 0
    errors: int = 0
    terms: int = 0
    found: int = 0
    hard: int = 0
    hard_found: int = 0
    false: int = 0
    sides: int = 0
    lost: int = 0
    swapped: int = 0
    inserted: int = 0
    flags: int = 0
    flags_right: int = 0
    wrong_unflagged: int = 0
    seconds: float = 0.0
    audio_s: float = 0.0
    missed: list[str] = field(default_factory=list)
    false_terms: list[str] = field(default_factory=list)

    def add(self, other: "Count") -> None:
        for f in fields(self):
            setattr(self, f.name, getattr(self, f.name) + getattr(other, f.name))

    def report(self) -> dict[str, float | int | str]:
        """The figures as they are published: rates in per cent."""
        return {
            "audio_min": round(self.audio_s / 60, 1),
            "words": self.words,
            "WER": round(100 * self.errors / max(1, self.words), 1),
            "terms": self.terms,
            "term recall": round(100 * self.found / max(1, self.terms), 1),
            "hard terms": self.hard,
            "hard recall": round(100 * self.hard_found / max(1, self.hard), 1),
            "false terms": self.false,
            "sides": self.sides,
            "sides lost": self.lost,
            "sides swapped": self.swapped,
            "sides inserted": self.inserted,
            "wrong sides without flag": self.wrong_unflagged,
            "side flags": self.flags,
            "side flags right": self.flags_right,
            "x real time": round(self.seconds / max(1e-9, self.audio_s), 3),
        }


def count(said: str, heard: Iterable[tuple[str, bool]], terms: Sequence[tuple[str, bool]], trade: set[str]) -> Count:
    """Compare a text with heard words (text, flagged as a doubtful side).

    ``terms``: the terms in the text in order, and whether each is hard. ``trade``: all terms, for false ones.
    """
    truth = normal(said)
    found, flagged = _flagged(heard)
    steps = Levenshtein.opcodes(truth, found)
    right = _equal(steps)
    result = Count(words=len(truth), errors=Levenshtein.distance(truth, found))
    at = 0
    for term, hard in terms:
        words = normal(term)
        at = _place(truth, words, at)
        good = all(k in right for k in range(at, at + len(words)))
        result.terms, result.found = result.terms + 1, result.found + good
        result.hard, result.hard_found = result.hard + hard, result.hard_found + (hard and good)
        if not good:
            result.missed.append(f"{term} <- {_opposite(steps, found, at, at + len(words))}")
        at += 1
    _false(result, found, set(right.values()), trade)
    _sides(result, truth, found, flagged, steps)
    return result


def _place(truth: Sequence[str], words: Sequence[str], at: int) -> int:
    """Where a term stands in the text from ``at`` on, its last word in the singular or the plural."""
    forms = ([*words], [*words[:-1], words[-1] + "s"])
    for k in range(at, len(truth)):
        if list(truth[k : k + len(words)]) in forms:
            return k
    raise ValueError(f"term {' '.join(words)!r} does not stand in the text")


def _flagged(heard: Iterable[tuple[str, bool]]) -> tuple[list[str], list[bool]]:
    """Normal words with their flags; each word is made normal beside its neighbours, a flag stays with its side."""
    pairs = list(heard)
    words = normal(" ".join(text for text, _ in pairs))
    marks = [flag for text, flag in pairs if normal(text)[:1] and normal(text)[-1] in SIDES]
    flags, k = [], 0
    for word in words:
        flags.append(word in SIDES and k < len(marks) and marks[k])
        k += word in SIDES
    return words, flags


def _equal(steps: Opcodes) -> dict[int, int]:
    return {
        a: b
        for s in steps
        if s.tag == "equal"
        for a, b in zip(range(s.src_start, s.src_end), range(s.dest_start, s.dest_end), strict=True)
    }


def _opposite(steps: Opcodes, found: Sequence[str], i0: int, i1: int) -> str:
    spans = [(s.dest_start, s.dest_end) for s in steps if s.src_start < i1 and s.src_end > i0 and s.tag != "equal"]
    return " ".join(found[min(a for a, _ in spans) : max(b for _, b in spans)]) if spans else ""


def _false(result: Count, found: Sequence[str], right: set[int], trade: set[str]) -> None:
    for k in range(len(found)):
        for length in (1, 2, 3):
            text = " ".join(found[k : k + length])
            if text in trade and not any(i in right for i in range(k, k + length)):
                result.false += 1
                result.false_terms.append(text)


def _sides(result: Count, truth: Sequence[str], found: Sequence[str], flagged: Sequence[bool], steps: Opcodes) -> None:
    wrong: set[int] = set()
    for s in steps:
        if s.tag == "equal":
            continue
        old = [w for w in truth[s.src_start : s.src_end] if w in SIDES]
        new = [k for k in range(s.dest_start, s.dest_end) if found[k] in SIDES]
        for side, k in zip(old, new, strict=False):
            if found[k] != side:
                result.swapped += 1
                wrong.add(k)
        result.lost += max(0, len(old) - len(new))
        result.inserted += max(0, len(new) - len(old))
        wrong.update(new[len(old) :])
    result.sides += sum(w in SIDES for w in truth)
    result.flags += sum(flagged)
    result.flags_right += sum(flagged[k] for k in wrong)
    result.wrong_unflagged += sum(not flagged[k] for k in wrong)
