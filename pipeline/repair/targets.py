"""The trade terms that a repair may restore, by sound; and what stands in the vocabulary already, by letters."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from rapidfuzz.distance import Levenshtein
from rapidfuzz.process import cdist

from pipeline.repair.mishearings import Named, learn
from pipeline.repair.rules import Rules, load_rules
from pipeline.repair.text import plain
from pipeline.sound import coarse, is_known, similarities, sounds_of, table_of
from pipeline.vocabulary import Concept, Site, Vocabulary

LONGEST = 4  # words in a heard stretch and in a term
_SIEVE = 0.1  # how much less alike two coarse sounds may be than the finely compared ones need to be
_BATCHES = (7, 11, 17)  # lengths up to which sounds are compared together: a table is as wide as its longest
_SLAB = 4096  # sounds sifted at a time, so that memory stays flat
_SHORTEST_PHRASE = 5  # phonemes of what only a scorer of the sound may put in
_SHORTEST_WORD = 4  # letters of a trade word that stands in no list


@dataclass(frozen=True, slots=True)
class Target:
    """A term as it is to be written, the id it names ("" for a plain trade word) and one way it sounds."""

    text: str
    id: str
    sound: str


_NONE = (0.0, Target("", "", ""))


class Lexicon:
    """Everything that repair needs of one vocabulary, compiled once."""

    def __init__(self, vocab: Vocabulary, rules: Rules) -> None:
        self.rules = rules
        self.soft: set[str] = set()
        self.trade_words: set[str] = set(rules.sounds)
        self._also = frozenset(phrase for phrase in rules.also if " " not in phrase)
        self._is_trade: dict[str, bool] = {}
        self._forms: dict[str, set[tuple[str, ...]]] = {}
        found: dict[tuple[str, str], Target] = {}
        for say, name in vocab.terms():
            words = _words(say)
            self._learn_form(words)
            for part, sound in self._ways(words):
                found.setdefault((part, sound), Target(part, name, sound))
        for concept in vocab.concepts.values():
            for result in concept.results.values():
                for say in (*result.say, *result.means):
                    self._learn_form(_words(say))
        for phrase in (*rules.sounds, *rules.also):
            words = tuple(phrase.split())
            self.trade_words.update(word for word in words if self.is_trade(word))
            for sound in self._sounds(words):
                found.setdefault((phrase, sound), Target(phrase, "", sound))
        learned = learn(vocab, self._named(vocab), rules, self.sound)
        for text, name, sound in learned.sounds:
            found.setdefault((text, sound), Target(text, name, sound))
        self.targets = sorted(found.values(), key=lambda t: (len(t.sound), t.text, t.sound))
        self._coarse = [coarse(t.sound) for t in self.targets]
        self._table = table_of([t.sound for t in self.targets])
        self._phrases = self._all_phrases(vocab)
        self._phrase_coarse = [coarse(t.sound) for t in self._phrases]
        self._phrase_table = table_of([t.sound for t in self._phrases])
        self.misheard = learned.misheard
        self.openers = frozenset(words[0] for words in self.misheard)
        self._lengths = {
            first: sorted({len(form) for form in forms}, reverse=True) for first, forms in self._forms.items()
        }

    def _learn_form(self, words: tuple[str, ...]) -> None:
        """Spoken forms stay as they are; one ordinary word alone is only soft (it may be part of a broken term)."""
        if not words or not words[0]:
            return
        if len(words) == 1 and not self.is_trade(words[0]):
            self.soft.update(words)
        else:
            self._forms.setdefault(words[0], set()).add(words)

    def is_trade(self, word: str) -> bool:
        """True for a word that ordinary talk seldom holds."""
        known = self._is_trade.get(word)
        if known is None:
            rules = self.rules
            lay = len(word) < _SHORTEST_WORD or word in rules.words["lay"] or word in rules.words["chat"]
            lay = lay or rules.is_everyday(word)
            known = word in rules.sounds or word in self._also or not lay
            self._is_trade[word] = known
        return known

    def sound(self, word: str) -> str:
        """The commonest sound of one word; "" where it holds no letter."""
        return next(iter(sounds_of(word)), "")

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
        ways = [sounds_of(w) or ("",) for w in words]
        sounds = list(ways[0]) if len(ways) == 1 else ["".join(way[0] for way in ways)]
        return [sound for sound in sounds if len(sound) >= self.rules.figures.shortest]

    def _all_phrases(self, vocab: Vocabulary) -> list[Target]:
        """The targets, and every spoken form of several words that are not all of the commonest.

        Of two ways to write the same letters ("ultra sound", "ultrasound") the one word stands.
        """
        found = {(t.text, t.sound): t for t in self.targets if "~" not in t.text}
        for say, name in vocab.terms():
            words = _words(say)
            if 1 < len(words) <= LONGEST and "~" not in say and not all(word in self.rules.common for word in words):
                for sound in self._sounds(words):
                    found.setdefault((" ".join(words), sound), Target(" ".join(words), name, sound))
        single = {target.text for target in found.values() if " " not in target.text}
        long = {
            key: target
            for key, target in found.items()
            if len(target.sound) >= _SHORTEST_PHRASE
            and (" " not in target.text or target.text.replace(" ", "") not in single)
        }
        short = {(word, self.sound(word)): Target(word, "", self.sound(word)) for word in self._also}
        return [target for _, target in sorted((short | long).items())]

    def nearest(self, sounds: Sequence[str], least: float, most: int) -> list[list[tuple[float, Target]]]:
        """For each encoded sound the phrases most like it, at most ``most`` of likeness ``least`` at least."""
        if not sounds:
            return []
        rough = cdist(
            [coarse(sound) for sound in sounds],
            self._phrase_coarse,
            scorer=Levenshtein.normalized_similarity,
            score_cutoff=least - _SIEVE,
            dtype=np.float32,
        )
        rows, columns = np.nonzero(rough)
        alike = similarities(table_of(sounds).take(rows), self._phrase_table.take(columns))
        near: list[dict[str, tuple[float, Target]]] = [{} for _ in sounds]
        for row, column, score in zip(rows.tolist(), columns.tolist(), alike.tolist(), strict=True):
            target = self._phrases[column]
            if score >= least and score > near[row].get(target.text, _NONE)[0]:
                near[row][target.text] = (score, target)
        return [sorted(found.values(), key=lambda pair: -pair[0])[:most] for found in near]

    def _named(self, vocab: Vocabulary) -> dict[str, Named]:
        """For each entry that says something about sound: its spoken forms and their trade words, with their sounds."""
        named = {}
        entries: list[Concept | Site] = [*vocab.concepts.values(), *vocab.sites.values()]
        for entry in entries:
            if not entry.sound and not entry.misheard:
                continue
            forms = [" ".join(words) for words in map(_words, entry.say) if len(words) <= LONGEST]
            trade = {word for form in forms for word in form.split() if self.is_trade(word)}
            sounds = {text: self._sounds(text.split()) for text in (*forms, *sorted(trade))}
            named[entry.id] = Named({text: ways for text, ways in sounds.items() if ways}, frozenset(trade))
        return named

    def standing(self, words: Sequence[str]) -> list[bool]:
        """For each word whether it belongs to a spoken form that stands there in full (longest first)."""
        marks = [False] * len(words)
        at = 0
        while at < len(words):
            lengths = self._lengths.get(words[at])
            step = 1
            if lengths is not None:
                forms = self._forms[words[at]]
                for length in lengths:
                    if tuple(words[at : at + length]) in forms:
                        marks[at : at + length] = [True] * length
                        step = length
                        break
            at += step
        return marks

    def near(self, floors: Mapping[str, float]) -> dict[str, tuple[float, Target]]:
        """For each encoded sound the term most like it, where any is at least as like as the sound's own floor.

        Sifted by coarse sound first (rapidfuzz, all pairs of about the same length), then compared finely.
        """
        by_length: dict[int, list[str]] = {}
        for sound in floors:
            by_length.setdefault(len(sound), []).append(sound)
        best: dict[str, tuple[float, Target]] = {}
        group: list[str] = []
        rows: list[int] = []
        columns: list[int] = []
        batches = iter((*_BATCHES, max(by_length, default=0)))
        limit = next(batches)
        for length in sorted(by_length):
            while length > limit:
                self._compare(group, rows, columns, floors, best)
                group, rows, columns, limit = [], [], [], next(batches)
            for start in range(0, len(by_length[length]), _SLAB):
                slab = by_length[length][start : start + _SLAB]
                for row, column in self._sift(slab, length, floors):
                    rows.append(len(group) + row)
                    columns.append(column)
                group += slab
        self._compare(group, rows, columns, floors, best)
        return best

    def _sift(self, sounds: list[str], length: int, floors: Mapping[str, float]) -> Iterator[tuple[int, int]]:
        """Pairs of a sound and a term that may be like enough, by coarse sound."""
        low, high = np.searchsorted(self._table.lengths, [int(length * 0.7), int(length * 1.4) + 2])
        if low == high:
            return
        lowest = np.array([[floors[sound] - _SIEVE] for sound in sounds], np.float32)
        rough = cdist(
            [coarse(sound) for sound in sounds],
            self._coarse[low:high],
            scorer=Levenshtein.normalized_similarity,
            score_cutoff=float(lowest.min()),
            dtype=np.float32,
        )
        rows, columns = np.nonzero(rough >= np.maximum(lowest, 1e-6))
        yield from zip(rows.tolist(), (columns + low).tolist(), strict=True)

    def _compare(
        self,
        sounds: list[str],
        rows: list[int],
        columns: list[int],
        floors: Mapping[str, float],
        best: dict[str, tuple[float, Target]],
    ) -> None:
        """Compare the sifted pairs finely and keep the best term of each sound."""
        if not rows:
            return
        table = table_of(sounds).take(np.array(rows, np.intp))
        alike = similarities(table, self._table.take(np.array(columns, np.intp))).tolist()
        for row, column, score in zip(rows, columns, alike, strict=True):
            sound = sounds[row]
            if score >= floors[sound] and (sound not in best or score > best[sound][0]):
                best[sound] = (score, self.targets[column])


def _words(say: str) -> tuple[str, ...]:
    return tuple(plain(word) for word in say.split())


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
