"""What a point may be answered with, and what each answer does; the rows stand in vocab/wording/choices.yaml."""

import re
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

from pydantic import Field

from pipeline.errors import VocabularyError
from pipeline.model import Frozen, Item, Remark, Transcript, Word
from pipeline.resources import data_path
from pipeline.vocabulary import Entry, Vocabulary, read_rows

Tells = Literal["", "age", "gestation_weeks", "birth_weight_kg"]
Opens = Literal["", "slots", "words", "add"]
_OTHER = "other"
_MEANT = re.compile(r"([\d.]+) (\S+ )?was meant")
_SIDES = ("left", "right", "both")


class ChoiceRow(Entry):
    """One answer; the head of the file tells the fields."""

    say: str
    slots: dict[str, Any] = Field(default_factory=dict)
    add: dict[str, Any] = Field(default_factory=dict)
    facts: dict[str, Any] = Field(default_factory=dict)
    strike: bool = False
    opens: Opens = ""
    text: bool = False
    tells: Tells = ""
    each: Literal["", "results", "suggestions", "heard"] = ""


class _Row(Entry):
    id: str
    choices: tuple[ChoiceRow, ...]


class WordsMeant(Frozen):
    """Words to be put right: a stretch, what was heard there, what was meant."""

    start_ms: int
    end_ms: int
    heard: str
    meant: str


class Choice(Frozen):
    """One answer to a point. ``strikes``: ids of the lines it strikes; ``slots``: by line id."""

    say: str
    slots: dict[str, dict[str, Any]] = Field(default_factory=dict)
    strikes: tuple[str, ...] = ()
    add: dict[str, Any] = Field(default_factory=dict)
    words: WordsMeant | None = None
    facts: dict[str, Any] = Field(default_factory=dict)
    opens: Opens = ""
    text: bool = False
    tells: Tells = ""

    @property
    def settles(self) -> bool:
        """Whether what it does makes the point go, so that no answer need be kept."""
        return bool(self.slots or self.words or self.add or self.facts or self.tells)


def line_choices(code: str, item: Item | None, words: Transcript, vocab: Vocabulary) -> tuple[Choice, ...]:
    """The answers to a point about a line (or about a stretch or the visit, where ``item`` is None)."""
    rows = _rows(data_path("vocab"))
    made: list[Choice] = []
    for row in rows.get(code, rows[_OTHER]):
        if not row.each:
            made.append(_choice(row, item))
        elif item is not None:
            made += _each(row, item, words, vocab)
    return tuple(made)


def remark_choices(remark: Remark, lines: dict[str, Item]) -> tuple[Choice, ...]:
    """The answers to a remark: its own, each with what it does to the lines that it asks about; else the usual ones."""
    if not remark.choices:
        rows = _rows(data_path("vocab"))
        usual = "danger" if remark.danger else "remark"
        return tuple(_choice(row, None) for row in rows.get(remark.rule, rows[usual]))
    items = [lines[key] for key in remark.items if key in lines]
    return tuple(_own(say, remark, items) for say in remark.choices)


def _own(say: str, remark: Remark, items: list[Item]) -> Choice:
    if remark.rule.startswith("CONFLICT."):
        losing = [item.id for item in items if say not in _told(item)]
        return Choice(say=say, strikes=tuple(losing) if len(losing) < len(items) else ())
    if remark.rule.startswith("SIDE.") and say in _SIDES:
        return Choice(say=say, slots={item.id: {"side": say} for item in items if item.side != say})
    if meant := _MEANT.match(say):
        return Choice(say=say, slots={item.id: {"value": float(meant[1])} for item in items})
    return Choice(say=say)


def _told(item: Item) -> tuple[str, str]:
    """What a question about two lines calls this one: its result, or its number."""
    number = f"{item.value:g} {item.unit or ''}".strip() if item.value is not None else ""
    return (item.result or "").replace("_", " "), number


def _choice(row: ChoiceRow, item: Item | None) -> Choice:
    key = item.id if item else ""
    return Choice(
        say=row.say,
        slots={key: row.slots} if row.slots and item else {},
        strikes=(key,) if row.strike and item else (),
        add=row.add,
        facts=row.facts,
        opens=row.opens,
        text=row.text,
        tells=row.tells,
    )


def _each(row: ChoiceRow, item: Item, words: Transcript, vocab: Vocabulary) -> list[Choice]:
    if row.each == "results":
        concept = vocab.concepts.get(item.concept)
        others = {key: form.label for key, form in (concept.results if concept else {}).items() if key != item.result}
        return [
            Choice(say=row.say.replace("{value}", label), slots={item.id: {"result": key}})
            for key, label in list(others.items())[:4]
        ]
    near = [word for i0, i1 in (span.words for span in item.evidence) for word in words.words[i0:i1]]
    made = {}
    for word in near:
        for meant in _readings(row.each, word):
            start, end, heard = _stretch(word, words, row.each)
            put = WordsMeant(start_ms=start, end_ms=end, heard=heard, meant=meant)
            made[meant] = Choice(say=row.say.replace("{value}", meant), words=put)
    return list(made.values())[:4]


def _readings(each: str, word: Word) -> list[str]:
    if each == "heard":
        return [heard.text for heard in word.heard[:1] if heard.text != word.text]
    return [suggestion.text for suggestion in word.suggestions]


def _stretch(word: Word, words: Transcript, each: str) -> tuple[int, int, str]:
    """The words that a reading stands for: of a repaired term all its words, else this one."""
    last = word.i
    if each == "heard":
        while last + 1 < len(words.words) and _goes_on(words.words[last + 1]):
            last += 1
    part = words.words[word.i : last + 1]
    return part[0].start_ms, part[-1].end_ms, " ".join(w.text for w in part)


def _goes_on(word: Word) -> bool:
    """Whether a repaired term goes on with this word: only its first one keeps what was heard."""
    return "repaired_term" in word.flags and not word.heard


@lru_cache(maxsize=2)
def _rows(base: Path) -> dict[str, tuple[ChoiceRow, ...]]:
    faults: list[str] = []
    rows = {row.id: row.choices for _, row in read_rows(base / "wording" / "choices.yaml", _Row, faults)}
    if faults:
        raise VocabularyError("The answers to the points have faults:\n  " + "\n  ".join(faults))
    return rows
