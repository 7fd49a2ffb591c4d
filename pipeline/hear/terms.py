"""The trade's words as hearing needs them: where they stand in a text, and which to whisper to the model beforehand."""

import re
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache

from pipeline.model import WordRange
from pipeline.resources import data_path
from pipeline.vocabulary import Concept, Site, Vocabulary

_LETTERS = re.compile(r"[^\w'-]+")
_SHORTEST = 4  # letters: shorter rare words are parts and abbreviations
_STEM = 6  # words alike so far are taken as one: gluteal, gluteus


def plain(word: str) -> str:
    """A word as it is compared: lower case, without the punctuation around it."""
    return _LETTERS.sub("", word.lower().replace("’", "'")).strip("'-")


@lru_cache(maxsize=1)
def _english() -> tuple[frozenset[str], frozenset[str]]:
    """The common and the less common words of English (vocab/english.txt)."""
    common, _, rest = data_path("vocab/english.txt").read_text(encoding="utf-8").partition("\n# less common\n")
    return frozenset(common.split()), frozenset(rest.partition("\n# rare\n")[0].split())


class Terms:
    """The trade terms of a vocabulary; build once."""

    def __init__(self, vocab: Vocabulary) -> None:
        self._vocab = vocab
        common, _ = _english()
        self._forms: dict[str, set[tuple[str, ...]]] = {}
        for say, _id in vocab.terms():
            words = tuple(plain(word) for word in say.split())
            if "~" in say or not all(words) or all(word in common or len(word) < _SHORTEST for word in words):
                continue  # everyday words need no help, and would be heard into chat
            self._forms.setdefault(words[0], set()).add(words)

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
        """Rare words of the vocabulary, the most misheard entry first, each stem once."""
        entries: list[Concept | Site] = [*self._vocab.concepts.values(), *self._vocab.sites.values()]
        common, less = _english()
        ranked: list[str] = []
        taken: set[str] = set()
        for entry in sorted(entries, key=lambda e: -len(e.misheard)):
            for word in (plain(w) for say in entry.say for w in say.split()):
                rare = len(word) >= _SHORTEST and word.isalpha() and word not in common and word not in less
                if rare and word[:_STEM] not in taken:
                    taken.add(word[:_STEM])
                    ranked.append(word)
                    break
        return ranked
