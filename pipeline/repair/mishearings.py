"""What the vocabulary itself says about sound: hand-written pronunciations and listed mishearings."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.repair.rules import Rules
from pipeline.repair.text import plain
from pipeline.sound import encode, similarities, sound_of, table_of
from pipeline.vocabulary import Concept, Site, Vocabulary

_UNLIKE = 0.5  # a listed mishearing less like its term than this is an error of the list
_QUOTED = re.compile(r'"([^"]+)"')


@dataclass(frozen=True, slots=True)
class Known:
    """A mishearing that the vocabulary lists: what was meant and the id.

    ``alike``: how like the term it sounds; ``trust``: how like it counts; ``only_suggest``: it hides a guarded word.
    """

    text: str
    id: str
    alike: float
    trust: float
    only_suggest: bool


@dataclass(frozen=True, slots=True)
class Named:
    """The spoken forms and trade words of one entry, each with its sounds; and which of them are trade words."""

    sounds: Mapping[str, list[str]]
    trade: frozenset[str]


@dataclass(frozen=True, slots=True)
class Learned:
    """Hand-written sounds as (term, id, encoded sound), and the mishearings by their words."""

    sounds: tuple[tuple[str, str, str], ...]
    misheard: Mapping[tuple[str, ...], Known]


@dataclass(frozen=True, slots=True)
class _Question:
    """A sound that belongs to one of some forms of an entry; ``words``: of a mishearing, () for a hand-written one."""

    id: str
    sound: str
    forms: tuple[str, ...]
    words: tuple[str, ...] = ()
    note: str = ""


def learn(vocab: Vocabulary, named: Mapping[str, Named], rules: Rules) -> Learned:
    """Give each hand-written sound and each mishearing to the form of its entry that it means.

    That is the longest form that the note of a mishearing quotes (``heard for "psoas"``), else the form nearest by
    sound. A mishearing that resembles none of the forms is left out; a single English word is taken half at its word.
    """
    questions: list[_Question] = []
    entries: list[Concept | Site] = [*vocab.concepts.values(), *vocab.sites.values()]
    for entry in entries:
        forms = tuple(named[entry.id].sounds) if entry.id in named else ()
        questions += [_Question(entry.id, encode(sound), forms) for sound in entry.sound]
        for heard, note in entry.misheard.items():
            words = tuple(plain(word) for word in heard.split())
            quoted = [f" {plain(text)} " for text in _QUOTED.findall(note)]
            meant = tuple(form for form in forms if any(f" {form} " in text for text in quoted))
            sound = "".join(sound_of(word) for word in words)
            questions.append(_Question(entry.id, sound, meant or forms, words, note if meant else ""))
    sounds: list[tuple[str, str, str]] = []
    misheard: dict[tuple[str, ...], Known] = {}
    for question, likeness in zip(questions, _compare(questions, named), strict=True):
        if not likeness:
            continue
        quoted_one = bool(question.words and question.note)
        meant_form = max(likeness, key=lambda form: (len(form) if quoted_one else 0, likeness[form]))
        if not question.words:
            if named[question.id].trade.intersection(meant_form.split()):
                sounds.append((meant_form, question.id, question.sound))
            continue
        alike = likeness[meant_form]
        if alike < _UNLIKE or question.words == tuple(meant_form.split()):
            continue
        single = len(question.words) == 1 and rules.is_english(question.words[0])
        said = {*question.words, *plain(question.note).replace('"', " ").split()}
        known = Known(
            meant_form,
            question.id,
            alike,
            (1.0 + alike) / 2.0 if single else 1.0,
            any(rules.is_guarded(word) for word in said),
        )
        misheard.setdefault(question.words, known)
    return Learned(tuple(sounds), misheard)


def _compare(questions: list[_Question], named: Mapping[str, Named]) -> list[dict[str, float]]:
    """For each question how like each of its forms it sounds; sounds of one length together."""
    by_length: dict[int, list[tuple[int, str, str]]] = {}
    for n, question in enumerate(questions):
        pairs = by_length.setdefault(len(question.sound), [])
        pairs += [(n, form, way) for form in question.forms for way in named[question.id].sounds[form]]
    result: list[dict[str, float]] = [{} for _ in questions]
    for pairs in by_length.values():
        alike = similarities(
            table_of([questions[n].sound for n, _, _ in pairs]), table_of([way for _, _, way in pairs])
        )
        for (n, form, _), score in zip(pairs, alike.tolist(), strict=True):
            result[n][form] = max(score, result[n].get(form, 0.0))
    return result
