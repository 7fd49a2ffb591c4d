"""A vocabulary compiled for repair: which terms may be restored, how they sound, what is listed as misheard.

Compiling looks up thousands of sounds, so what it gives is kept in the cache folder.
"""

import json
from collections.abc import Iterable, Iterator
from dataclasses import astuple, dataclass
from typing import NamedTuple

from pipeline.kept import kept, program_files, state_of
from pipeline.repair.mishearings import Known, Named, learn
from pipeline.repair.rules import Rules, TradeWords
from pipeline.repair.text import plain
from pipeline.resources import data_path
from pipeline.sound import is_known, sound_of, sounds_of
from pipeline.vocabulary import Concept, Site, Vocabulary

LONGEST = 4  # words in a heard stretch and in a term
_SHORTEST_PHRASE = 5  # phonemes of what only a scorer of the sound may put in
_MADE_BY = (*(f"repair/{name}.py" for name in ("compiling", "mishearings", "rules", "text")), "sound.py")
_SOURCES = ("repair.yaml", "english.txt", "pronunciations.txt", "pronunciations.gz")


class Target(NamedTuple):
    """A term as it is to be written, the id it names ("" for a plain trade word) and one way it sounds."""

    text: str
    id: str
    sound: str


@dataclass(frozen=True, slots=True)
class Compiled:
    """``targets``: what may be restored, by length of sound. ``phrases``: what a scorer of the sound may put in beside.

    ``forms``: spoken forms, their words joined by blanks; ``lengths``: of those with the same first word, in words, the
    longest first. ``soft``: ordinary words that are a form by themselves.
    """

    targets: list[Target]
    phrases: list[Target]
    forms: frozenset[str]
    lengths: dict[str, list[int]]
    soft: frozenset[str]
    trade_words: frozenset[str]
    misheard: dict[tuple[str, ...], Known]


def compiled(vocab: Vocabulary, rules: Rules) -> Compiled:
    """A vocabulary and the shipped rules compiled, from the cache folder where they are kept."""
    state = state_of(vocab.hash, *(data_path("vocab") / name for name in _SOURCES), *program_files(*_MADE_BY))
    return kept("repair", state, lambda: Compiler(vocab, rules).compiled(), _pack, _unpack)


def _pack(made: Compiled) -> bytes:
    data = [
        made.targets,
        made.phrases,
        sorted(made.forms),
        made.lengths,
        sorted(made.soft),
        sorted(made.trade_words),
        [[heard, astuple(known)] for heard, known in made.misheard.items()],
    ]
    return json.dumps(data, ensure_ascii=False).encode()


def _unpack(body: bytes) -> Compiled:
    targets, phrases, forms, lengths, soft, trade_words, misheard = json.loads(body)
    return Compiled(
        targets=[Target(*target) for target in targets],
        phrases=[Target(*target) for target in phrases],
        forms=frozenset(forms),
        lengths=lengths,
        soft=frozenset(soft),
        trade_words=frozenset(trade_words),
        misheard={tuple(heard): Known(*known) for heard, known in misheard},
    )


class Compiler:
    """Compiles one vocabulary by the rules."""

    def __init__(self, vocab: Vocabulary, rules: Rules) -> None:
        self._vocab = vocab
        self._rules = rules
        self._trade = TradeWords(rules)
        self._soft: set[str] = set()
        self._trade_words: set[str] = set(rules.sounds)
        self._forms: dict[str, set[tuple[str, ...]]] = {}

    def compiled(self) -> Compiled:
        """Everything, in a fixed order."""
        vocab, rules = self._vocab, self._rules
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
            self._trade_words.update(word for word in words if self._trade(word))
            for sound in self._sounds(words):
                found.setdefault((phrase, sound), Target(phrase, "", sound))
        learned = learn(vocab, self._named(vocab), rules)
        for text, name, sound in learned.sounds:
            found.setdefault((text, sound), Target(text, name, sound))
        targets = sorted(found.values(), key=lambda t: (len(t.sound), t.text, t.sound))
        return Compiled(
            targets=targets,
            phrases=self._all_phrases(targets),
            forms=frozenset(" ".join(form) for forms in self._forms.values() for form in forms),
            lengths={
                first: sorted({len(form) for form in forms}, reverse=True) for first, forms in self._forms.items()
            },
            soft=frozenset(self._soft),
            trade_words=frozenset(self._trade_words),
            misheard=dict(learned.misheard),
        )

    def _learn_form(self, words: tuple[str, ...]) -> None:
        """Spoken forms stay as they are; one ordinary word alone is only soft (it may be part of a broken term)."""
        if not words or not words[0]:
            return
        if len(words) == 1 and not self._trade(words[0]):
            self._soft.update(words)
        else:
            self._forms.setdefault(words[0], set()).add(words)

    def _ways(self, words: tuple[str, ...]) -> Iterator[tuple[str, str]]:
        """A term that may be restored, and each trade word of it alone, with their sounds."""
        trade = [word for word in words if self._trade(word)]
        self._trade_words.update(trade)
        if not trade or len(words) > LONGEST:
            return
        alone = ((word,) for word in trade if word in self._rules.sounds or is_known(word))
        for part in dict.fromkeys([words, *alone]):
            for sound in self._sounds(part):
                yield " ".join(part), sound

    def _sounds(self, words: Iterable[str]) -> list[str]:
        """One sound, or two where a single word has two, of at least the shortest length."""
        ways = [sounds_of(w) or ("",) for w in words]
        sounds = list(ways[0]) if len(ways) == 1 else ["".join(way[0] for way in ways)]
        return [sound for sound in sounds if len(sound) >= self._rules.figures.shortest]

    def _all_phrases(self, targets: list[Target]) -> list[Target]:
        """The targets, and every spoken form of several words that are not all of the commonest.

        Of two ways to write the same letters ("ultra sound", "ultrasound") the one word stands.
        """
        found = {(t.text, t.sound): t for t in targets if "~" not in t.text}
        for say, name in self._vocab.terms():
            words = _words(say)
            if 1 < len(words) <= LONGEST and "~" not in say and not all(word in self._rules.common for word in words):
                for sound in self._sounds(words):
                    found.setdefault((" ".join(words), sound), Target(" ".join(words), name, sound))
        single = {target.text for target in found.values() if " " not in target.text}
        long = {
            key: target
            for key, target in found.items()
            if len(target.sound) >= _SHORTEST_PHRASE
            and (" " not in target.text or target.text.replace(" ", "") not in single)
        }
        short = {(word, sound_of(word)): Target(word, "", sound_of(word)) for word in self._trade.also}
        return [target for _, target in sorted((short | long).items())]

    def _named(self, vocab: Vocabulary) -> dict[str, Named]:
        """For each entry that says something about sound: its spoken forms and their trade words, with their sounds."""
        named = {}
        entries: list[Concept | Site] = [*vocab.concepts.values(), *vocab.sites.values()]
        for entry in entries:
            if not entry.sound and not entry.misheard:
                continue
            forms = [" ".join(words) for words in map(_words, entry.say) if len(words) <= LONGEST]
            trade = {word for form in forms for word in form.split() if self._trade(word)}
            sounds = {text: self._sounds(text.split()) for text in (*forms, *sorted(trade))}
            named[entry.id] = Named({text: ways for text, ways in sounds.items() if ways}, frozenset(trade))
        return named


def _words(say: str) -> tuple[str, ...]:
    return tuple(plain(word) for word in say.split())
