"""From what a person types to a line: read as if it had been said, and found forgiving of spelling."""

import hashlib
import re
from collections.abc import Iterator
from typing import Any

from rapidfuzz import fuzz, process

from pipeline.model import Frozen, Item, SpeechModel, Transcript, Word
from pipeline.stages import Stages
from pipeline.vocabulary import Concept, Vocabulary

MOST = 8  # candidates shown
_CLOSE_ENOUGH = 72.0  # rapidfuzz score, 0..100; below it a form has little to do with what was typed
_SHORTEST = 3  # letters of an abbreviation
_SIDES = {"l": "left", "left": "left", "r": "right", "right": "right", "b": "both", "both": "both", "bilateral": "both"}
_NUMBER = re.compile(r"^-?\d+(?:[.,]\d+)?$")
_TOKEN = re.compile(r"[^\W_]+(?:[.,]\d+)?")
_SHOWN = ("kind", "concept", "site", "side", "level", "result", "value", "unit", "degree", "change", "detail", "reason")


class Candidate(Frozen):
    """A line that what was typed may mean: as words, and as slots."""

    say: str
    slots: dict[str, Any]


def read_typed(text: str, stages: Stages) -> tuple[Candidate, ...]:
    """What was typed as lines: read like speech, and by the nearest forms of the vocabulary.

    Those that account for most of the typed words come first; of equals, what was read like speech.
    """
    text = " ".join(text.split())[:300]
    if not text:
        return ()
    read = [_candidate(item, stages.vocab) for item in stages.extract(_as_said(text), None).items]
    found: dict[tuple[Any, ...], Candidate] = {}
    for candidate in (*read, *_near(text, stages.vocab)):
        slots = {"side": "none"} | candidate.slots
        place = slots.get("site") or stages.vocab.concepts[slots["concept"]].site
        others = (slots.get(slot) for slot in ("concept", "side", "result", "value"))
        found.setdefault((place, *others), candidate)
    tokens = [_SIDES.get(token.casefold(), token.casefold()) for token in _TOKEN.findall(text)]
    told = sorted(found.values(), key=lambda candidate: -_accounted(tokens, candidate, stages.vocab))
    return tuple(told[:MOST])


def _accounted(tokens: list[str], candidate: Candidate, vocab: Vocabulary) -> float:
    """How many of the typed words stand in a line or its other names, an abbreviation for its word; and how plainly."""
    concept, site = vocab.concepts[candidate.slots["concept"]], vocab.sites.get(candidate.slots.get("site") or "")
    result = concept.results.get(candidate.slots.get("result") or "")
    own = set(_TOKEN.findall(candidate.say.casefold()))
    forms = (*concept.say, *(site.say if site else ()), *(result.say if result else ()))
    others = {word for form in forms for word in _TOKEN.findall(form.casefold())}
    score = 0.0
    for token in tokens:
        if any(word.startswith(token) for word in own):
            score += 1.0
        elif any(word.startswith(token) for word in others):
            score += 0.9
        elif len(token) > _SHORTEST and any(fuzz.ratio(token, word) >= 80 for word in (*own, *others)):
            score += 0.7
    untyped = [word for word in own if not any(word.startswith(token) for token in tokens)]
    elsewhere = concept.site is not None and candidate.slots.get("site") != concept.site
    return score - 0.05 * len(untyped) - 0.3 * elsewhere


def named(text: str, vocab: Vocabulary, what: str) -> list[tuple[str, str]]:
    """Ids and labels of the concepts (or sites) that are called like ``text``, the nearest first."""
    forms = _forms(vocab, what)
    entries: dict[str, Any] = dict(vocab.concepts if what == "concepts" else vocab.sites)
    near = process.extract(text.casefold(), forms.keys(), scorer=fuzz.WRatio, limit=40, score_cutoff=60)
    ids = dict.fromkeys(forms[form] for form, _, _ in near)
    return [(key, entries[key].label) for key in ids][:MOST]


def _as_said(text: str) -> Transcript:
    """Typed words as a transcript of their own, so that the reading of speech can be asked about them."""
    digest = hashlib.sha256(text.encode()).hexdigest()
    words = tuple(Word(i=i, text=word, start_ms=i * 400, end_ms=i * 400 + 400) for i, word in enumerate(text.split()))
    return Transcript(
        id=digest[:26],
        recording=digest,
        model=SpeechModel(name="typed", sha256=digest),
        words=words,
        utterances=((0, len(words)),),
        duration_ms=len(words) * 400,
    )


def _candidate(item: Item, vocab: Vocabulary) -> Candidate:
    data = item.model_dump(mode="json")
    slots = {slot: data[slot] for slot in _SHOWN if data[slot] is not None}
    return Candidate(say=_worded(slots, vocab), slots=slots)


def _worded(slots: dict[str, Any], vocab: Vocabulary) -> str:
    concept = vocab.concepts[slots["concept"]]
    result = concept.results.get(slots.get("result") or "")
    site = vocab.sites.get(slots.get("site") or "")
    said = [
        site.label if site else "",
        slots["side"] if slots.get("side", "none") != "none" else "",
        slots.get("level") or "",
        concept.label,
        result.label if result else "not assessed" if slots.get("result") == "not_assessed" else "",
        f"{slots['value']:g} {slots.get('unit') or ''}".strip() if slots.get("value") is not None else "",
        slots.get("degree") or "",
    ]
    return ", ".join(part for part in said if part)


def _near(text: str, vocab: Vocabulary) -> Iterator[Candidate]:
    """The concepts, site, side, result and number that the typed words are nearest to."""
    tokens = [token.casefold() for token in _TOKEN.findall(text)]
    side = next((_SIDES[token] for token in tokens if token in _SIDES), "none")
    number = next((float(token.replace(",", ".")) for token in tokens if _NUMBER.match(token)), None)
    rest = " ".join(token for token in tokens if token not in _SIDES and not _NUMBER.match(token))
    if not rest:
        return
    site = _site(rest, vocab)
    forms = _forms(vocab, "concepts")
    near = process.extract(rest, forms.keys(), scorer=fuzz.WRatio, limit=30, score_cutoff=_CLOSE_ENOUGH)
    begun = [form for form in forms if any(_begins(token, form) for token in rest.split())]
    by_result = [key for key, concept in vocab.concepts.items() if concept.kind == "finding" and _result(rest, concept)]
    for key in dict.fromkeys((*(forms[form] for form in (*(form for form, _, _ in near), *begun)), *by_result)):
        concept = vocab.concepts[key]
        for place in dict.fromkeys((site, concept.site)):
            if (place == concept.site and (place or not site)) or _may_be_at(concept, place, vocab):
                slots: dict[str, Any] = {"kind": concept.kind, "concept": key, "site": place}
                if side != "none":
                    slots["side"] = side
                if number is not None and concept.measure is not None:
                    slots |= {"value": number, "unit": concept.measure.unit, "result": "value"}
                elif (result := _result(rest, concept)) is not None:
                    slots["result"] = result
                slots = {slot: value for slot, value in slots.items() if value is not None}
                yield Candidate(say=_worded(slots, vocab), slots=slots)


def _may_be_at(concept: Concept, site: str | None, vocab: Vocabulary) -> bool:
    """Whether the vocabulary lets a concept be found at a structure."""
    line = tuple(vocab.site_line(site))
    if any(place in concept.not_on for place in (site, *line[:-1])):  # the whole body bars itself alone
        return False
    return not concept.on or any(place in concept.on for place in line)


def _begins(token: str, form: str) -> bool:
    """Whether a typed word of three letters or more begins a word of the form."""
    return len(token) >= _SHORTEST and any(word.startswith(token) for word in form.split())


def _same(token: str, word: str) -> bool:
    """Whether a typed word is that word: itself, its beginning, or nearly."""
    return token == word or _begins(token, word) or (len(token) > 5 and fuzz.ratio(token, word) >= 80)


def _site(rest: str, vocab: Vocabulary) -> str | None:
    """The structure that most of the typed words name; of equals the one with the shortest name."""
    forms = _forms(vocab, "sites")
    tokens = rest.split()
    best: tuple[float, int, str] | None = None
    for form, key in forms.items():
        words = form.split()
        share = sum(any(_same(token, word) for token in tokens) for word in words) / len(words)
        if share and (best is None or (share, -len(form)) > best[:2]):
            best = (share, -len(form), key)
    return best[2] if best else None


def _result(rest: str, concept: Concept) -> str | None:
    forms = {form.casefold(): key for key, row in concept.results.items() for form in (row.label, *row.say)}
    begun = [form for form in forms if any(_begins(token, form) for token in rest.split())]
    near = process.extractOne(rest, begun or forms.keys(), scorer=fuzz.partial_ratio, score_cutoff=0 if begun else 90)
    return forms[near[0]] if near else None


def _forms(vocab: Vocabulary, what: str) -> dict[str, str]:
    """Every way of calling a concept or a site, with its id."""
    entries = vocab.concepts.values() if what == "concepts" else vocab.sites.values()
    return {form.casefold(): entry.id for entry in entries for form in (entry.label, *entry.say)}
