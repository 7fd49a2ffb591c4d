"""From what a person types to a line: read as if it had been said, and found forgiving of spelling."""

import hashlib
import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from rapidfuzz import fuzz, process

from pipeline.model import Frozen, Item, SpeechModel, Transcript, Word
from pipeline.stages import Stages
from pipeline.vocabulary import Concept, Vocabulary

MOST = 8  # candidates shown
_CLOSE_ENOUGH = 72.0  # rapidfuzz score, 0..100; below it a form has little to do with what was typed
WHOLE_BODY = "whole_body"  # of it nothing need be said
_SHORTEST = 3  # letters of an abbreviation
_SIDES = {"l": "left", "left": "left", "r": "right", "right": "right", "b": "both", "both": "both", "bilateral": "both"}
_NUMBER = re.compile(r"^-?\d+(?:[.,]\d+)?$")
_SPANS = {"d": "d", "day": "d", "days": "d", "w": "wk", "wk": "wk", "week": "wk", "weeks": "wk"}
_SPANS |= {"mo": "mo", "month": "mo", "months": "mo"}
_NUMBER_AND_UNIT = re.compile(r"(\d)([^\W\d_]+)")
_TOKEN = re.compile(r"[^\W_]+(?:[.,]\d+)?")
_SHOWN = ("kind", "concept", "site", "side", "level", "result", "value", "unit", "degree", "change", "detail", "reason")


class Candidate(Frozen):
    """A line that what was typed may mean: as words, and as slots."""

    say: str
    slots: dict[str, Any]

    @classmethod
    def worded(cls, slots: dict[str, Any], vocab: Vocabulary) -> "Candidate":
        """Slots with the words for them."""
        return cls(say=_worded(slots, vocab), slots=slots)

    @classmethod
    def of(cls, item: Item, vocab: Vocabulary) -> "Candidate":
        """A line that was read like speech."""
        data = item.model_dump(mode="json")
        return cls.worded({slot: data[slot] for slot in _SHOWN if data[slot] is not None}, vocab)


def read_typed(text: str, stages: Stages, beside: Item | None = None) -> tuple[Candidate, ...]:
    """What was typed as lines: read like speech, and by the nearest forms of the vocabulary.

    beside: the line it was typed at; what the words leave out (what, where) may be as it is there. Those that
    account for most of the typed words come first; of equals, what was read like speech.
    """
    text = " ".join(text.split())[:300]
    if not text:
        return ()
    read = [Candidate.of(item, stages.vocab) for item in read_as_said(text, stages)]
    found: dict[tuple[Any, ...], Candidate] = {}
    for candidate in (*read, *_near(text, stages.vocab, beside)):
        slots = {"side": "none"} | candidate.slots
        place = slots.get("site") or stages.vocab.concepts[slots["concept"]].site
        others = (slots.get(slot) for slot in ("concept", "side", "result", "value"))
        found.setdefault((place, *others), candidate)
    tokens = [_SIDES.get(token, token) for token in _tokens(text)]
    told = sorted(found.values(), key=lambda candidate: -_accounted(tokens, candidate, stages.vocab, beside))
    return tuple(told[:MOST])


def _accounted(tokens: list[str], candidate: Candidate, vocab: Vocabulary, beside: Item | None) -> float:
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
    place = candidate.slots.get("site")
    elsewhere = concept.site is not None and place != concept.site
    there = beside is not None and (concept.id, place) == (beside.concept, beside.site)
    return score - 0.05 * len(untyped) - 0.3 * elsewhere + 0.25 * there


def named(text: str, vocab: Vocabulary, what: str) -> list[tuple[str, str]]:
    """Ids and labels of the concepts (or sites) that are called like ``text``, the nearest first."""
    forms = Forms.of(vocab).concepts if what == "concepts" else Forms.of(vocab).sites
    entries: dict[str, Any] = dict(vocab.concepts if what == "concepts" else vocab.sites)
    text = text.casefold().strip()
    words = text.split()
    begun = [form for form in forms.owner if all(any(word.startswith(w) for word in form.split()) for w in words)]
    begun.sort(key=lambda form: (not form.startswith(text), len(form)))
    near = process.extract(text, forms.owner.keys(), scorer=fuzz.WRatio, limit=40, score_cutoff=60)
    ids = dict.fromkeys(forms.owner[form] for form in (*begun[:MOST], *(form for form, _, _ in near)))
    return [(key, entries[key].label) for key in ids][:MOST]


def read_as_said(text: str, stages: Stages) -> tuple[Item, ...]:
    """The lines that the words give when they are read like speech, by themselves."""
    return stages.extract(_as_said(text), None).items


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


def _worded(slots: dict[str, Any], vocab: Vocabulary) -> str:
    concept = vocab.concepts[slots["concept"]]
    result = concept.results.get(slots.get("result") or "")
    site = vocab.sites.get(slots.get("site") or "")
    said = [
        site.label if site and site.id != WHOLE_BODY else "",
        slots["side"] if slots.get("side", "none") != "none" else "",
        slots.get("level") or "",
        concept.label,
        result.label if result else "not assessed" if slots.get("result") == "not_assessed" else "",
        f"{slots['value']:g} {slots.get('unit') or ''}".strip() if slots.get("value") is not None else "",
        slots.get("degree") or "",
    ]
    return ", ".join(part for part in said if part)


def _tokens(text: str) -> list[str]:
    """Typed words in small letters, a number apart from its unit."""
    return _TOKEN.findall(_NUMBER_AND_UNIT.sub(r"\1 \2", text.casefold()))


def _near(text: str, vocab: Vocabulary, beside: Item | None) -> Iterator[Candidate]:
    """The concepts, site, side, result and number that the typed words are nearest to."""
    tokens = _tokens(text)
    side = next((_SIDES[token] for token in tokens if token in _SIDES), None)
    number = next((float(token.replace(",", ".")) for token in tokens if _NUMBER.match(token)), None)
    span = next((_SPANS[token] for token in tokens if token in _SPANS), None) if number is not None else None
    words = [token for token in tokens if token not in _SIDES and not _NUMBER.match(token)]
    rest, known = " ".join(words), Forms.of(vocab)
    results = known.results.near(rest) if rest else {}

    def at(concept: Concept, site: str | None) -> Candidate:
        slots: dict[str, Any] = {"kind": concept.kind, "concept": concept.id, "site": site, "side": side}
        said = [form for form in known.of_result[concept.id] if form in results]
        form = max(said, key=results.__getitem__, default=None)
        slots["result"] = known.of_result[concept.id][form] if form else concept.stated
        unit = concept.measure.unit if concept.measure else span if "value" in concept.results else None
        if number is not None and unit:
            slots |= {"value": number, "unit": unit, "result": slots["result"] if form else "value"}
        return Candidate.worded({slot: value for slot, value in slots.items() if value is not None}, vocab)

    here = vocab.concepts.get(beside.concept) if beside else None
    if beside and here and (results or not rest):
        yield at(here, beside.site)
    if not rest:
        return
    site = _site(words, known.sites)
    near = process.extract(rest, known.concepts.owner.keys(), scorer=fuzz.WRatio, limit=30, score_cutoff=_CLOSE_ENOUGH)
    begun = known.concepts.begun(words)
    by_result = [
        key
        for key, concept in vocab.concepts.items()
        if concept.kind == "finding" and any(form in results for form in known.of_result[key])
    ]
    by_name = (known.concepts.owner[form] for form in (*(form for form, _, _ in near), *begun))
    for key in dict.fromkeys((*by_name, *by_result)):
        concept = vocab.concepts[key]
        for place in dict.fromkeys((site, concept.site, *([beside.site] if beside and site is None else ()))):
            if (place == concept.site and (place or not site)) or said_of(concept, place, vocab):
                yield at(concept, place)


def is_told(text: str, concept: str, vocab: Vocabulary) -> bool:
    """Whether one of the concept's names stands in the text: each of its longer words as a word begun alike."""
    said = [token for token in _tokens(text) if len(token) > _SHORTEST]
    known = vocab.concepts[concept]
    for form in (known.label, *known.say):
        words = [word for word in _TOKEN.findall(form.casefold()) if len(word) > _SHORTEST]
        if words and all(any(token.startswith(word[:4]) for token in said) for word in words):
            return True
    return False


def named_sites(text: str, vocab: Vocabulary) -> list[str]:
    """Ids of the structures that stand in a text by one of their names, the longest names first."""
    said = f" {' '.join(_TOKEN.findall(text.casefold()))} "
    forms = Forms.of(vocab).sites.owner
    found = sorted((form for form in forms if f" {form} " in said), key=len, reverse=True)
    return list(dict.fromkeys(forms[form] for form in found))


def said_of(concept: Concept, site: str | None, vocab: Vocabulary) -> bool:
    """Whether the vocabulary lets a concept be said of a structure."""
    line = tuple(vocab.site_line(site))
    if any(place in concept.not_on for place in (site, *line[:-1])):  # the whole body bars itself alone
        return False
    return not concept.on or any(place in concept.on for place in line)


def _begins(token: str, word: str) -> bool:
    """Whether a typed word of three letters or more begins the word."""
    return len(token) >= _SHORTEST and word.startswith(token)


def _same(token: str, word: str) -> bool:
    """Whether a typed word is that word: itself, its beginning, or nearly."""
    return token == word or _begins(token, word) or (len(token) > 5 and fuzz.ratio(token, word) >= 80)


def _site(tokens: Sequence[str], sites: "_Named") -> str | None:
    """The structure that most of the typed words name; of equals the one with the shortest name."""
    meant = {word for word in sites.words if any(_same(token, word) for token in tokens)}
    best: tuple[float, int, str] | None = None
    for form in dict.fromkeys(form for word in sites.words if word in meant for form in sites.words[word]):
        words = form.split()
        share = sum(word in meant for word in words) / len(words)
        if best is None or (share, -len(form)) > best[:2]:
            best = (share, -len(form), sites.owner[form])
    return best[2] if best else None


class _Named:
    """Spoken forms in small letters, each with what it names, and which of them hold a word."""

    def __init__(self, forms: Iterable[tuple[str, str]]) -> None:
        self.owner = {form.casefold(): key for form, key in forms}
        self.words: dict[str, list[str]] = {}
        for form in self.owner:
            for word in form.split():
                self.words.setdefault(word, []).append(form)

    def begun(self, tokens: Iterable[str]) -> list[str]:
        """The forms one of whose words is begun by a typed one."""
        asked = tuple(token for token in tokens if len(token) >= _SHORTEST)
        found = {form for word, forms in self.words.items() if asked and word.startswith(asked) for form in forms}
        return [form for form in self.owner if form in found]

    def near(self, text: str) -> dict[str, float]:
        """The forms that stand in the text, or that a word of it begins; with how well they fit."""
        fits = {
            form: score
            for form, score, _ in process.extract(
                text, self.owner.keys(), scorer=fuzz.partial_ratio, limit=None, score_cutoff=90
            )
        }
        begun = self.begun(text.split())
        return fits | {form: 100 + fuzz.partial_ratio(text, form) for form in begun}


class Forms:
    """All that the vocabulary calls its entries, laid out once."""

    def __init__(self, vocab: Vocabulary) -> None:
        self.concepts = _Named((form, c.id) for c in vocab.concepts.values() for form in (c.label, *c.say))
        self.sites = _Named((form, s.id) for s in vocab.sites.values() for form in (s.label, *s.say))
        self.of_result = {
            c.id: {form.casefold(): key for key, row in c.results.items() for form in (row.label, *row.say)}
            for c in vocab.concepts.values()
        }
        self.results = _Named((form, form) for forms in self.of_result.values() for form in forms)

    @classmethod
    def of(cls, vocab: Vocabulary) -> "Forms":
        """Those of a vocabulary, kept while it is the one in use."""
        if _kept.get(vocab.hash) is None:
            _kept.clear()
            _kept[vocab.hash] = cls(vocab)
        return _kept[vocab.hash]


_kept: dict[str, Forms] = {}
