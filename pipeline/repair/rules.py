"""What vocab/repair.yaml and vocab/english.txt say, checked and ready: the guards and figures of repair by sound."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

from pydantic import TypeAdapter

from pipeline.errors import VocabularyError
from pipeline.kept import kept, program_files, state_of
from pipeline.resources import data_path
from pipeline.sound import is_known, own_sounds
from pipeline.vocabulary import Entry, english_words, read_rows

_WORD_LISTS = (
    *("never", "numbers", "edges", "chat", "clinical", "examining", "fixed", "lay"),
    *("weighing", "kilos", "pounds", "birth", "before", "after", "results"),
)
_SHORTEST_WORD = 4  # letters of a trade word that stands in no list
_OTHERS = ("also", "opposites", "figures", "weights")


class Figures(Entry):
    """Similarities needed (0..1), what raises or lowers them, ``reach`` in words, margins in nats."""

    unknown: float
    known: float
    known_alone: float
    common: float
    common_alone: float
    shortest: int
    short: int
    short_pay: float
    medium: int
    medium_pay: float
    unsure: float
    unsure_gain: float
    sure: float
    sure_pay: float
    context_gain: float
    context_need: float
    context_need_phrase: float
    context_need_unknown: float
    context_free: float
    chat_pay: float
    soft_pay: float
    edge_pay: float
    anchor_gain: float
    reach: int
    suggest: float
    shown: float
    loose: float
    loose_most: float
    loose_sure: float
    loose_unsure: float
    margin: float
    likeness_nats: float


class WeightBand(Entry):
    """What an infant of at most ``months`` may weigh, in kilograms."""

    months: float
    low: float
    high: float


class Row(Entry):
    """One row of the file: an id that the program knows, and one kind of content."""

    id: str
    words: str = ""
    phrases: tuple[str, ...] = ()
    pairs: tuple[tuple[str, str], ...] = ()
    figures: Figures | None = None
    weights: tuple[WeightBand, ...] = ()
    source: str


@dataclass(frozen=True, slots=True)
class Rules:
    """The loaded data: word lists by id, opposites by word, our own pronunciations by word. Words are lower case."""

    words: Mapping[str, frozenset[str]]
    also: tuple[str, ...]
    opposites: Mapping[str, frozenset[str]]
    sounds: Mapping[str, str]
    figures: Figures
    weights: tuple[WeightBand, ...]
    common: frozenset[str]
    less_common: frozenset[str]
    rare: frozenset[str]

    @property
    def before(self) -> list[str]:
        """Small words that a recogniser runs into the term that follows them."""
        return sorted(self.words["before"])

    @property
    def after(self) -> list[str]:
        """Small words that it runs into the term before them."""
        return sorted(self.words["after"])

    def is_number(self, word: str) -> bool:
        """True for a number in words or digits."""
        return word in self.words["numbers"] or any(c.isdigit() for c in word)

    def is_guarded(self, word: str) -> bool:
        """True for what a finding hangs on: a side, a number, a level, a denial or a result."""
        return self.is_number(word) or word in self.words["never"]

    def is_everyday(self, word: str) -> bool:
        """True for a word of the two commoner lists, and for one that a regular ending makes of them."""
        return any(w in self.common or w in self.less_common for w in (word, *_stems(word)))

    def is_english(self, word: str) -> bool:
        """True for a word of these lists or of the CMU dictionary, and for one that a regular ending makes of them."""
        return self.is_everyday(word) or any(w in self.rare or is_known(w) for w in (word, *_stems(word)))


class TradeWords:
    """Whether a word is one that ordinary talk seldom holds."""

    def __init__(self, rules: Rules) -> None:
        self._rules = rules
        self.also = frozenset(phrase for phrase in rules.also if " " not in phrase)
        self._known: dict[str, bool] = {}

    def __call__(self, word: str) -> bool:
        """True for a word that ordinary talk seldom holds."""
        known = self._known.get(word)
        if known is None:
            rules = self._rules
            lay = len(word) < _SHORTEST_WORD or word in rules.words["lay"] or word in rules.words["chat"]
            lay = lay or rules.is_everyday(word)
            known = word in rules.sounds or word in self.also or not lay
            self._known[word] = known
        return known


_ENDINGS = (
    *(
        ("'s", ""),
        ("s", ""),
        ("es", ""),
        ("ies", "y"),
        ("ing", ""),
        ("ing", "e"),
        ("ed", ""),
        ("ed", "e"),
        ("ied", "y"),
    ),
    *(("ly", ""), ("ily", "y"), ("er", ""), ("ers", ""), ("ier", "y"), ("est", ""), ("iest", "y"), ("ness", "")),
)


def _stems(word: str) -> Iterator[str]:
    for ending, instead in _ENDINGS:
        if word.endswith(ending) and len(word) > len(ending) + 2:
            yield word[: -len(ending)] + instead


def load_rules(base: Path | None = None) -> Rules:
    """Load repair.yaml and english.txt of vocab/ (or of ``base``). Raises VocabularyError holding every fault."""
    return _load(base or data_path("vocab"))


@lru_cache(maxsize=2)
def _load(base: Path) -> Rules:
    faults: list[str] = []
    common = less_common = rare = frozenset[str]()
    try:
        common, less_common, rare = english_words(base)
    except (OSError, UnicodeDecodeError) as error:
        faults.append(f"vocab/english.txt: not readable ({error})")
    path = base / "repair.yaml"
    state = state_of(str(base), path, *program_files("repair/rules.py"))
    rows = kept("repair-rules", state, lambda: _rows(path, faults), _ROWS.dump_json, _ROWS.validate_json)
    figures = rows["figures"].figures
    if faults or figures is None:
        raise _faulty(faults)
    opposites: dict[str, frozenset[str]] = {}
    for pair in rows["opposites"].pairs:
        for one, other in (pair, pair[::-1]):
            opposites[one] = opposites.get(one, frozenset()) | {other}
    return Rules(
        words=MappingProxyType({name: frozenset(rows[name].words.split()) for name in _WORD_LISTS}),
        also=rows["also"].phrases,
        opposites=MappingProxyType(opposites),
        sounds=MappingProxyType(own_sounds()),
        figures=figures,
        weights=rows["weights"].weights,
        common=common,
        less_common=less_common,
        rare=rare,
    )


_ROWS = TypeAdapter(dict[str, Row])


def _rows(path: Path, faults: list[str]) -> dict[str, Row]:
    """The rows of repair.yaml by id. Raises VocabularyError holding every fault, those found before among them."""
    rows = {row.id: row for _, row in read_rows(path, Row, faults)}
    wanted = {*_WORD_LISTS, *_OTHERS}
    faults += [f"vocab/repair.yaml: the row {name!r} is missing" for name in sorted(wanted - rows.keys())]
    faults += [f"vocab/repair.yaml: the program knows no row {name!r}" for name in sorted(rows.keys() - wanted)]
    if "figures" not in rows or rows["figures"].figures is None:
        faults.append("vocab/repair.yaml: the row 'figures' holds no figures")
    if faults:
        raise _faulty(faults)
    return rows


def _faulty(faults: list[str]) -> VocabularyError:
    return VocabularyError("The rules of repair have faults:\n  " + "\n  ".join(faults))
