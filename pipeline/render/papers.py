"""The papers beside the note, as what stands on them: the parents' sheet, a letter of referral, the note itself.

A paper says nothing that the note does not say; what concerns safeguarding stands on none of them.
"""

from collections.abc import Iterable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict

from pipeline.errors import VocabularyError
from pipeline.model import Dose, Frozen, Item, Line, Note
from pipeline.patterns import fill
from pipeline.prompts import PROMPT_SECTIONS
from pipeline.render.spelled import facts
from pipeline.resources import data_path
from pipeline.times import day
from pipeline.vocabulary import read_rows

_WATCH = ("advice.return_if", "advice.safety_net", "advice.after_treatment")
_LETTER = ("told", "found", "reflexes", "measurements", "treatment")
_PER = {"day": "a day", "feed": "each feed", "week": "a week"}


class Block(Frozen):
    """A heading with what stands under it. ``fields``: lines to be filled in by hand."""

    title: str
    lines: tuple[str, ...] = ()
    fields: tuple[str, ...] = ()


class Paper(Frozen):
    """A paper: who it is from, whom it is about, its parts, its last line. ``large``: large print, one page."""

    kind: Literal["parents", "letter", "note"]
    title: str
    practice: str
    about: tuple[tuple[str, str], ...]
    blocks: tuple[Block, ...]
    foot: str
    large: bool = False


class _Advice(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")
    id: str
    say: str


class _Words(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")
    id: str
    words: dict[str, str]


def paper(kind: str, note: Note, items: Iterable[Item], practice: str) -> Paper | None:
    """The paper of a kind (``parents``, ``letter``, else ``note``).

    None where the visit gives no reason for it: no advice, no referral.
    """
    items = tuple(items)
    if kind == "parents":
        return _parents(note, items, practice)
    if kind == "letter":
        return _letter(note, items, practice)
    return _note(note, practice)


def _parents(note: Note, items: tuple[Item, ...], practice: str) -> Paper | None:
    say, words = _wording(data_path("vocab"))
    w = words["parents"]
    advice = [item for item in items if item.kind == "advice" and item.result != "not_assessed"]
    do = dict.fromkeys(_plain(item, say[item.concept]) for item in advice if item.concept in say)
    watch = dict.fromkeys(
        fill(w["said"], {"words": f"“{item.detail or item.quote}”"}) for item in advice if item.concept in _WATCH
    )
    if not do and not watch:
        return None
    coming = [line.text for line, item in _lines_of(note, items) if item.concept == "plan.next_visit"]
    blocks = [
        Block(title=w["do"], lines=tuple(do)),
        Block(title=w["watch"], lines=(*watch, w["no_watch"])),
        Block(title=w["call"], lines=(practice,) if practice else (), fields=() if practice else (w["nobody"],)),
        Block(title=w["next"], lines=tuple(coming)),
    ]
    return Paper(
        kind="parents",
        title=w["title"],
        practice=practice,
        about=(("", note.infant.code_name), ("", day(note.on))),
        blocks=tuple(block for block in blocks if block.lines or block.fields),
        foot=fill(w["foot"], {"day": day(note.on)}),
        large=True,
    )


def _plain(item: Item, say: str) -> str:
    side = {"both": "both sides", "none": ""}.get(item.side, item.side)
    sentence = fill(say, {"how": _how(item.dose), "side": side})
    return sentence.replace("to the both sides", "to both sides").replace("on the both sides side", "on both sides")


def _how(dose: Dose | None) -> str:
    """How often and how long, in plain words."""
    if dose is None:
        return ""
    said = []
    if dose.seconds is not None:
        whole = dose.seconds >= 120 and dose.seconds % 60 == 0
        said.append(f"{dose.seconds / 60:g} minutes" if whole else f"{dose.seconds:g} seconds")
    if dose.times is not None:
        times = {1: "once", 2: "twice"}.get(int(dose.times) if dose.times == int(dose.times) else 0)
        said.append(times or f"{dose.times:g} times")
    if dose.per is not None:
        said = [*said[:-1], " ".join([*said[-1:], _PER[dose.per]])]
    if dose.days is not None:
        said.append(f"for {dose.days:g} days")
    return ", ".join(said)


def _letter(note: Note, items: tuple[Item, ...], practice: str) -> Paper | None:
    _, words = _wording(data_path("vocab"))
    w = words["letter"]
    planned = tuple(line.text for line, item in _lines_of(note, items) if item.concept == "plan.refer")
    dangers = [r for r in note.remarks if r.danger and not r.safeguarding]
    if not planned and not dangers:
        return None
    told = {part: tuple(_texts(note, part)) for part in _LETTER}
    signed = {"day": day(note.on), "signer": note.signed_by or ""}
    blocks = [
        Block(title="", fields=(w["to"],)),
        Block(title=w["reason"], lines=planned),
        Block(title=w["danger"], lines=tuple(f"{r.title}. {r.reason}" for r in dangers)),
        Block(title=w["answer"], lines=tuple(f"{r.title}: {r.answer}" for r in dangers if r.answer)),
        Block(title=w["told"], lines=told["told"]),
        Block(title=w["found"], lines=(*told["found"], *told["reflexes"])),
        Block(title=w["measured"], lines=told["measurements"]),
        Block(title=w["treated"], lines=told["treatment"]),
        Block(title="", lines=(w["asked"],)),
    ]
    return Paper(
        kind="letter",
        title=w["title"],
        practice=practice,
        about=(("", note.infant.code_name), *_facts(note), ("", day(note.on))),
        blocks=tuple(block for block in blocks if block.lines or block.fields),
        foot=fill(w["foot"] if note.signed_by else w["unsigned"], signed),
    )


def _note(note: Note, practice: str) -> Paper:
    blocks = []
    for section in note.sections:
        if section.id in PROMPT_SECTIONS:
            continue
        blocks.append(Block(title=section.title, lines=tuple(_printed(line) for line in section.lines)))
        for child in section.subsections:
            blocks.append(Block(title=child.title, lines=tuple(_printed(line) for line in child.lines)))
    answered = tuple(f"{r.title}: {r.answer}" for r in note.remarks if r.answer and not r.safeguarding)
    if answered:
        blocks.append(Block(title="Danger signs and questions, and the clinician's answers", lines=answered))
    state = f"Signed by {note.signed_by}." if note.signed_by else "A draft, not signed."
    return Paper(
        kind="note",
        title=f"{note.infant.code_name}, {day(note.on)}",
        practice=practice,
        about=_facts(note),
        blocks=tuple(blocks),
        foot=state,
    )


def _printed(line: Line) -> str:
    return f"{line.text} ({line.written})" if line.written else line.text


def _facts(note: Note) -> tuple[tuple[str, str], ...]:
    labels = {"legal_name": "Name", "born": "Born", "age": "Age", "corrected": "Corrected age", "sex": "Sex",
              "gestation": "Gestation", "birth_weight": "Birth weight"}  # fmt: skip
    return tuple((labels[code], words) for code, words in facts(note) if code in labels)


def _texts(note: Note, part: str) -> Iterator[str]:
    for section in note.sections:
        if section.id == part:
            for inner in section.parts():
                yield from (line.text for line in inner.lines)


def _lines_of(note: Note, items: tuple[Item, ...]) -> Iterator[tuple[Line, Item]]:
    by_id = {item.id: item for item in items}
    for part in note.parts():
        if part.id not in PROMPT_SECTIONS:
            yield from ((line, by_id[line.id]) for line in part.lines if line.id in by_id)


@lru_cache(maxsize=2)
def _wording(base: Path) -> tuple[dict[str, str], dict[str, dict[str, str]]]:
    faults: list[str] = []
    say = {row.id: row.say for _, row in read_rows(base / "wording" / "parents.yaml", _Advice, faults)}
    words = {row.id: row.words for _, row in read_rows(base / "wording" / "papers.yaml", _Words, faults)}
    if faults:
        raise VocabularyError("The wording of the papers has faults:\n  " + "\n  ".join(faults))
    return say, words
