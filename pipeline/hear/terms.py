"""The trade's words as hearing needs them: where they stand in a text, and which to whisper to the model beforehand."""

import re
from collections.abc import Callable, Iterable, Sequence
from operator import itemgetter

from rapidfuzz import process
from rapidfuzz.distance import Levenshtein

from pipeline.model import WordRange
from pipeline.resources import data_path
from pipeline.sound import coarse, is_known, likenesses, sounds_of
from pipeline.vocabulary import Concept, Site, Vocabulary, english_words

_LETTERS = re.compile(r"[^\w'-]+")
_SHORTEST = 4  # letters: shorter rare words are parts and abbreviations
_NEAR = 0.85  # similarity of sound at which a word that is none is taken for a term's word
_NAMED = re.compile(r'"([^"]+)"')
_HANDS = 6  # known mishearings that being named in every examination is worth
_STEM = 6  # words alike so far are taken as one: gluteal, gluteus


def plain(word: str) -> str:
    """A word as it is compared: lower case, without the punctuation around it."""
    return _LETTERS.sub("", word.lower().replace("’", "'")).strip("'-")


def _hands(entry: Concept | Site) -> bool:
    """What is named while the hands examine: a structure, a test, a reflex."""
    return isinstance(entry, Site) or entry.id.startswith(("test.", "reflex."))


class Terms:
    """The trade terms of a vocabulary; build once."""

    def __init__(self, vocab: Vocabulary) -> None:
        common, _, _ = english_words(data_path("vocab"))
        self._forms: dict[str, set[tuple[str, ...]]] = {}
        self._written: dict[str, str] = {}
        for say, _id in vocab.terms():
            words = tuple(plain(word) for word in say.split())
            if "~" in say or not all(words) or all(word in common or len(word) < _SHORTEST for word in words):
                continue  # everyday words need no help, and would be heard into chat
            self._forms.setdefault(words[0], set()).add(words)
        rare = {word for forms in self._forms.values() for form in forms for word in form if word not in common}
        self._sounds = {s: word for word in sorted(rare) if len(word) > _SHORTEST for s in sounds_of(word)[:1]}
        self._coarse = {sound: coarse(sound) for sound in self._sounds}
        self._canonical: dict[str, str] = {}
        self._entries: list[Concept | Site] = [*vocab.concepts.values(), *vocab.sites.values()]
        for entry in self._entries:
            for name in _NAMED.findall(" ".join(entry.misheard.values())):
                self._written.update({plain(word): word for word in name.split() if word[:1].isupper()})

    def written(self, word: str) -> str:
        """A plain word with its capitals where it has some ("Galant")."""
        return self._written.get(word, word)

    def canonical(self, word: str) -> str:
        """A plain word that is none in English, as the term's word that it sounds like; any other word as it is."""
        if word not in self._canonical:
            self._canonical[word] = self._nearest(word)
        return self._canonical[word]

    def _nearest(self, word: str) -> str:
        if len(word) <= _SHORTEST or is_known(word) or word in self._sounds.values() or not sounds_of(word):
            return word
        sound = sounds_of(word)[0]
        sifted = process.extract(coarse(sound), self._coarse, scorer=Levenshtein.normalized_similarity, limit=6)
        near = [other for _, _, other in sifted]
        alike, best = max(zip(likenesses(sound, near), near, strict=True), key=itemgetter(0), default=(0.0, ""))
        return self._sounds[best] if alike >= _NEAR else word

    def find(self, words: Sequence[str]) -> list[WordRange]:
        """Ranges of the trade terms in plain words, the longest from the left, none overlapping."""
        found: list[WordRange] = []
        at = 0
        while at < len(words):
            lengths = [
                len(form) for form in self._forms.get(words[at], ()) if tuple(words[at : at + len(form)]) == form
            ]
            if lengths:
                found.append((at, at + max(lengths)))
            at += max(lengths, default=1)
        return found

    def hotwords(
        self, tokens: Callable[[str], Sequence[int]], limit: int, lists: int, first: Iterable[str] = ()
    ) -> list[list[int]]:
        """Tokens of comma lists of the most misheard words, ``first`` before all; each list at most ``limit`` long.

        The words are dealt out in turn, so that each list begins with what needs help most.
        """
        dealt: list[list[int]] = [[] for _ in range(lists)]
        for word in dict.fromkeys([*first, *self._misheard()]):
            more = list(tokens(f" {word},"))
            shortest = min(dealt, key=len)
            if len(shortest) + len(more) <= limit:
                shortest.extend(more)
        return dealt

    def _misheard(self) -> list[str]:
        """Rare words of the vocabulary, each stem once, by how often misheard and whether hands look for them."""
        common, less, _ = english_words(data_path("vocab"))
        ranked: list[str] = []
        taken: set[str] = set()
        for entry in sorted(self._entries, key=lambda e: -len(e.misheard) - _HANDS * _hands(e)):
            for word in (plain(w) for say in entry.say for w in say.split()):
                rare = len(word) >= _SHORTEST and word.isalpha() and word not in common and word not in less
                if rare and word[:_STEM] not in taken:
                    taken.add(word[:_STEM])
                    ranked.append(word)
                    break
        return ranked
