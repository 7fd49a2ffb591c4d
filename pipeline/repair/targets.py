"""The trade terms that a repair may restore, by sound; and what stands in the vocabulary already, by letters."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from rapidfuzz.distance import Levenshtein
from rapidfuzz.process import cdist

from pipeline.repair.rules import Rules, load_rules
from pipeline.sound import coarse, encode, is_known, similarities, similarity, sounds_of
from pipeline.vocabulary import Concept, Site, Vocabulary

LONGEST = 4  # words in a heard stretch and in a term
_SIEVE = 0.1  # how much less alike two coarse sounds may be than the finely compared ones need to be
_CLEARLY = 0.15
_UNLIKE = 0.5  # a listed mishearing less like its term than this is an error of the list
_QUOTED = re.compile(r'"([^"]+)"')


@dataclass(frozen=True, slots=True)
class Target:
    """A term as it is to be written, the id it names ("" for a plain trade word) and one way it sounds."""

    text: str
    id: str
    sound: str


@dataclass(frozen=True, slots=True)
class Known:
    """A mishearing that the vocabulary lists: what was meant, the id, how like it counts, and if only to suggest."""

    text: str
    id: str
    likeness: float
    only_suggest: bool


def plain(text: str) -> str:
    """A word without case, punctuation at its ends, and curly apostrophes."""
    return text.lower().replace("’", "'").strip(".,;:!?\"'()[]{}…–—-*<>/\\")


class Lexicon:
    """Everything that repair needs of one vocabulary, compiled once."""

    def __init__(self, vocab: Vocabulary, rules: Rules) -> None:
        self.rules = rules
        self.misheard: dict[tuple[str, ...], Known] = {}
        self.trade_words: set[str] = set(rules.sounds)
        self._forms: dict[str, list[tuple[str, ...]]] = {}
        self.soft: set[str] = set()
        self._also = frozenset(phrase for phrase in rules.also if " " not in phrase)
        found: dict[tuple[str, str], Target] = {}
        for say, name in vocab.terms():
            words = tuple(plain(word) for word in say.split())
            self._learn_form(words)
            for part, sound in self._ways(words):
                found.setdefault((part, sound), Target(part, name, sound))
        for concept in vocab.concepts.values():
            for result in concept.results.values():
                for say in (*result.say, *result.means):
                    self._learn_form(tuple(plain(word) for word in say.split()))
        for phrase in (*rules.sounds, *rules.also):
            words = tuple(phrase.split())
            self.trade_words.update(word for word in words if self.is_trade(word))
            for sound in self._sounds(words):
                found.setdefault((phrase, sound), Target(phrase, "", sound))
        entry: Concept | Site
        for entry in (*vocab.concepts.values(), *vocab.sites.values()):
            self._learn_entry(entry, found)
        self.targets = sorted(found.values(), key=lambda t: (len(t.sound), t.text, t.sound))
        self._coarse = [coarse(t.sound) for t in self.targets]
        self._lengths = np.array([len(t.sound) for t in self.targets])
        self._drop_doubtful_mishearings()
        for forms in self._forms.values():
            forms.sort(key=len, reverse=True)

    def _learn_form(self, words: tuple[str, ...]) -> None:
        """Spoken forms stay as they are; one ordinary word alone is only soft (it may be part of a broken term)."""
        if not words or not words[0]:
            return
        if len(words) == 1 and not self.is_trade(words[0]):
            self.soft.update(words)
        else:
            self._forms.setdefault(words[0], []).append(words)

    def is_trade(self, word: str) -> bool:
        """True for a word that ordinary talk seldom holds."""
        rules = self.rules
        if word in rules.sounds or word in self._also:
            return True
        ordinary = word in rules.common or word in rules.less_common or word in rules.words["lay"]
        return len(word) > 3 and not ordinary

    def sound(self, word: str) -> str:
        """The commonest sound of one word; "" where it holds no letter."""
        return self.rules.sounds.get(word) or next(iter(sounds_of(word)), "")

    def _ways(self, words: tuple[str, ...]) -> Iterator[tuple[str, str]]:
        """A term that may be restored, and each trade word of it alone, with their sounds."""
        trade = [word for word in words if self.is_trade(word)]
        self.trade_words.update(trade)
        if not trade or len(words) > LONGEST:
            return
        alone = ((word,) for word in trade if word in self.rules.sounds or is_known(word))
        for part in dict.fromkeys([words, *alone]):
            for sound in self._sounds(part):
                yield " ".join(part), sound

    def _sounds(self, words: Iterable[str]) -> list[str]:
        """One sound, or two where a single word has two, of at least the shortest length."""
        ways = [(self.rules.sounds[w],) if w in self.rules.sounds else sounds_of(w) or ("",) for w in words]
        sounds = list(ways[0]) if len(ways) == 1 else ["".join(way[0] for way in ways)]
        return [sound for sound in sounds if len(sound) >= self.rules.figures.shortest]

    def _learn_entry(self, entry: Concept | Site, found: dict[tuple[str, str], Target]) -> None:
        """Hand-written sounds go to the spoken form (or trade word) they are nearest to; mishearings likewise."""
        forms = [" ".join(plain(word) for word in say.split()) for say in entry.say]
        parts = {word for form in forms for word in form.split() if self.is_trade(word)}
        sounds = {text: self._sounds(text.split()) for text in (*forms, *sorted(parts))}
        sounds = {text: ways for text, ways in sounds.items() if ways}
        if not sounds:
            return
        for sound in map(encode, entry.sound):
            text = max(sounds, key=lambda t: max(similarity(sound, way) for way in sounds[t]))
            if any(self.is_trade(word) for word in text.split()):
                found.setdefault((text, sound), Target(text, entry.id, sound))
        for heard, why in entry.misheard.items():
            words = tuple(plain(word) for word in heard.split())
            self._learn_mishearing(words, _QUOTED.findall(why), entry.id, sounds)

    def _learn_mishearing(
        self, words: tuple[str, ...], quoted: list[str], name: str, sounds: dict[str, list[str]]
    ) -> None:
        """What was meant: the longest form that the note quotes, else the form nearest by sound.

        A mishearing that resembles none of the forms is left out; one that hides a guarded word (a side) may only be
        suggested. A single English word is taken half at its word: its own sound counts as well.
        """
        sound = "".join(self.sound(word) for word in words)
        named = [form for form in sounds if any(f" {form} " in f" {plain(text)} " for text in quoted)]
        likeness = {form: max(similarity(sound, way) for way in sounds[form]) for form in named or sounds}
        meant = max(likeness, key=lambda form: (len(form) if named else 0, likeness[form]))
        if likeness[meant] < _UNLIKE or list(words) == meant.split():
            return
        guarded = self.rules.words["never"] & {*words, *" ".join(quoted).lower().split()}
        single = len(words) == 1 and self.rules.is_english(words[0])
        trust = (1.0 + likeness[meant]) / 2.0 if single else 1.0
        self.misheard.setdefault(words, Known(meant, name, trust, bool(guarded)))

    def _drop_doubtful_mishearings(self) -> None:
        """Leave out a listed mishearing that sounds clearly more like the term of another entry."""
        sounds = {words: "".join(self.sound(word) for word in words) for words in self.misheard}
        near = self.near({sound: 0.7 for sound in sounds.values() if sound})
        for words, sound in sounds.items():
            known = self.misheard[words]
            own = max((similarity(sound, t.sound) for t in self.targets if t.text == known.text), default=0.0)
            score, target = near.get(sound, (0.0, Target("", "", "")))
            if score > own + _CLEARLY and target.id not in ("", known.id):
                del self.misheard[words]

    def standing(self, words: Sequence[str]) -> list[bool]:
        """For each word whether it belongs to a spoken form that stands there in full (longest first)."""
        marks = [False] * len(words)
        at = 0
        while at < len(words):
            for form in self._forms.get(words[at], ()):
                if tuple(words[at : at + len(form)]) == form:
                    marks[at : at + len(form)] = [True] * len(form)
                    at += len(form)
                    break
            else:
                at += 1
        return marks

    def near(self, floors: Mapping[str, float]) -> dict[str, tuple[float, Target]]:
        """For each encoded sound the term most like it, where any is at least as like as the sound's own floor.

        Sifted by coarse sound first (rapidfuzz, all pairs of about the same length), then compared finely.
        """
        by_length: dict[int, list[str]] = {}
        for sound in floors:
            by_length.setdefault(len(sound), []).append(sound)
        best: dict[str, tuple[float, Target]] = {}
        for length, group in by_length.items():
            low, high = np.searchsorted(self._lengths, [int(length * 0.7), int(length * 1.4) + 2])
            if low == high:
                continue
            lowest = np.array([[floors[sound]] for sound in group], np.float32)
            rough = cdist(
                [coarse(sound) for sound in group],
                self._coarse[low:high],
                scorer=Levenshtein.normalized_similarity,
                score_cutoff=float(lowest.min()) - _SIEVE,
                dtype=np.float32,
            )
            rows, columns = np.nonzero(rough >= np.maximum(lowest - _SIEVE, 1e-6))
            targets = [self.targets[low + column] for column in columns]
            alike = similarities([group[row] for row in rows], [target.sound for target in targets])
            for row, target, score in zip(rows, targets, alike.tolist(), strict=True):
                sound = group[row]
                if score >= floors[sound] and score > best.get(sound, (0.0, target))[0]:
                    best[sound] = (score, target)
        return best


class _ByHash:
    """A vocabulary as a cache key: its hash names exactly its state."""

    def __init__(self, vocab: Vocabulary) -> None:
        self.vocab = vocab

    def __hash__(self) -> int:
        return hash(self.vocab.hash)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _ByHash) and other.vocab.hash == self.vocab.hash


def lexicon_of(vocab: Vocabulary) -> Lexicon:
    """The compiled lexicon of a vocabulary; compiled once for each state of it."""
    return _compiled(_ByHash(vocab))


@lru_cache(maxsize=2)
def _compiled(key: _ByHash) -> Lexicon:
    return Lexicon(key.vocab, load_rules())
