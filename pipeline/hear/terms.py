"""The trade's words as hearing needs them: where they stand in a text, and which to whisper to the model beforehand."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import accumulate
from operator import itemgetter

from rapidfuzz import process
from rapidfuzz.distance import Levenshtein

from pipeline.hear.words import TimedWord
from pipeline.model import WordRange
from pipeline.resources import data_path
from pipeline.sound import SoundIndex, coarse, is_known, likenesses, sounds_of
from pipeline.vocabulary import Concept, Site, Vocabulary, english_words

_LETTERS = re.compile(r"[^\w'-]+")
_SHORTEST = 4  # letters: shorter rare words are parts and abbreviations
_NEAR = 0.85  # similarity of sound at which a word that is none is taken for a term's word
_NAMED = re.compile(r'"([^"]+)"')
_HANDS = 6  # known mishearings that being named in every examination is worth
_PIECES = 3  # words that one term was broken into
_HALF_HEARD, _HALF_LEAST = 0.75, 5  # how alike they must sound; phonemes of the term
_STOPS, _AFTER = ".?!", ".?!,;:"
_STEM = 6  # words alike so far are taken as one: gluteal, gluteus


def plain(word: str) -> str:
    """A word as it is compared: lower case, without the punctuation around it."""
    return _LETTERS.sub("", word.lower().replace("’", "'")).strip("'-")


def _hands(entry: Concept | Site) -> bool:
    """What is named while the hands examine: a structure, a test, a reflex."""
    return isinstance(entry, Site) or entry.id.startswith(("test.", "reflex."))


def _strange(text: str) -> bool:
    return text.isalpha() and not is_known(text)


def _spread(old: Sequence[TimedWord], new: Sequence[str]) -> list[TimedWord]:
    """New words over the time of the old ones, shared out by letters; the last keeps what writing put after."""
    start, end, total = old[0].start_ms, old[-1].end_ms, sum(map(len, new))
    bounds = [start, *(start + (end - start) * done // total for done in accumulate(map(len, new)))]
    after = old[-1].text[len(old[-1].text.rstrip(_AFTER)) :]
    return [
        TimedWord(
            text + (after if k == len(new) - 1 else ""),
            bounds[k],
            max(bounds[k + 1], bounds[k] + 1),
            min(word.p for word in old),
            (old[0].tokens[0], old[-1].tokens[1]),
        )
        for k, text in enumerate(new)
    ]


def _standing(words: Sequence[str], forms: Mapping[str, set[tuple[str, ...]]]) -> list[WordRange]:
    found: list[WordRange] = []
    at = 0
    while at < len(words):
        lengths = [len(form) for form in forms.get(words[at], ()) if tuple(words[at : at + len(form)]) == form]
        if lengths:
            found.append((at, at + max(lengths)))
        at += max(lengths, default=1)
    return found


class Terms:
    """The trade terms of a vocabulary; build once."""

    def __init__(self, vocab: Vocabulary) -> None:
        common, less, _ = english_words(data_path("vocab"))
        self._forms: dict[str, set[tuple[str, ...]]] = {}
        self._phrased: dict[str, set[tuple[str, ...]]] = {}
        self._written: dict[str, str] = {}
        for say, _id in vocab.terms():
            words = tuple(plain(word) for word in say.split())
            if "~" in say or not all(words) or all(word in common for word in words):
                continue
            if len(words) > 1:
                self._phrased.setdefault(words[0], set()).add(words)
            if all(word in common or len(word) < _SHORTEST for word in words):
                continue  # everyday words need no help, and would be heard into chat
            self._forms.setdefault(words[0], set()).add(words)
        rare = {word for forms in self._forms.values() for form in forms for word in form if word not in common}
        self._sounds = {s: word for word in sorted(rare) if len(word) > _SHORTEST for s in sounds_of(word)[:1]}
        self._coarse = {sound: coarse(sound) for sound in self._sounds}
        self._canonical: dict[str, str] = {}
        forms = {
            form for forms in self._forms.values() for form in forms if any(w in rare and w not in less for w in form)
        }
        phrases = {" ".join(form): "".join(sounds_of(w)[0] for w in form if sounds_of(w)) for form in forms}
        self._phrases = sorted(phrase for phrase, sound in phrases.items() if len(sound) >= _HALF_LEAST)
        self._index = SoundIndex([phrases[phrase] for phrase in self._phrases])
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

    def straightened(self, words: Sequence[TimedWord]) -> tuple[list[TimedWord], set[int]]:
        """A pass with the terms that it half heard, and which words these are.

        "Or lani" is "Ortolani": some of it is no English, and it sounds so.
        """
        texts = [plain(word.text) for word in words]
        standing = {i for i0, i1 in self.find(texts) for i in range(i0, i1)}
        spans = [
            (i0, i1)
            for i0 in range(len(texts))
            for i1 in range(i0 + 1, min(i0 + _PIECES, len(texts)) + 1)
            if standing.isdisjoint(range(i0, i1)) and any(_strange(text) for text in texts[i0:i1])
            if not any(words[i].text[-1:] in _STOPS for i in range(i0, i1 - 1))
        ]
        sounds = ["".join(sounds_of(text)[0] for text in texts[i0:i1] if sounds_of(text)) for i0, i1 in spans]
        pairs = sorted(
            self._index.near(sounds, _HALF_HEARD), key=lambda pair: (-pair[2], len(self._phrases[pair[1]].split()))
        )
        put: dict[int, tuple[int, list[TimedWord]]] = {}
        taken: set[int] = set()
        for row, column, _ in pairs:
            i0, i1 = spans[row]
            if taken.isdisjoint(range(i0, i1)):
                taken.update(range(i0, i1))
                put[i0] = (i1, _spread(words[i0:i1], self._phrases[column].split()))
        out: list[TimedWord] = []
        half: set[int] = set()
        at = 0
        while at < len(words):
            if at in put:
                at, new = put[at]
                half.update(range(len(out), len(out) + len(new)))
                out += new
            else:
                out.append(words[at])
                at += 1
        return out, half

    def find(self, words: Sequence[str]) -> list[WordRange]:
        """Ranges of the trade terms in plain words, the longest from the left, none overlapping."""
        return _standing(words, self._forms)

    def speaks_of(self, words: Sequence[str]) -> int:
        """How many things an examination is about are named in plain words: trade terms, and phrases ("lip tie")."""
        return len({*self.find(words), *_standing(words, self._phrased)})

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
