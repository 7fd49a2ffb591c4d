"""How words sound, and how far two sounds are apart.

A sound is a string with one character a phoneme (``encode``), so that rapidfuzz can sift thousands of them; the finer
weighted likeness is for those that stay. Pronunciations come from our own list (vocab/pronunciations.txt), then from
the CMU Pronouncing Dictionary (Carnegie Mellon University, BSD licence; vocab/pronunciations.gz, searched as it
stands: parsing it whole would cost more than a second), then from letter-to-sound rules. Stress is dropped.
"""

import gzip
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from rapidfuzz.distance import Levenshtein
from rapidfuzz.process import cdist

from pipeline.phonemes import PHONEMES, VOWELS
from pipeline.resources import data_path

_CHAR = {phoneme: chr(ord("A") + i) for i, phoneme in enumerate(PHONEMES)}
_FILLING = chr(ord("A") + len(PHONEMES))

# Costs of taking one phoneme for another: 0 = same, 1 = unlike. The order follows the places and manners of
# articulation of the IPA chart (2020); the figures are our own, set on the tuning half of benchmarks/repair.py.
_VOICED = ("P B", "T D", "K G", "F V", "TH DH", "S Z", "SH ZH", "CH JH")
_NEAR = {
    0.15: ("AH AX", "ER AXR", "AH IH", "AX IH"),
    0.25: ("AA AO", "AA AH", "EH IH", "IH IY", "UH UW", "AH UH", "AE EH", "AH EH", "ER AH", "ER AX", "AX EH", "AX AA"),
    0.3: ("EY EH", "OW AO", "AY AA", "AW AA", "OW UH", "AH AE", "AO AH", "EY AE", "OW AH", "AX AE", "ER AO", "OY AO"),
    0.35: ("M N", "N NG", "TH F", "DH V", "CH SH", "JH ZH", "TH T", "DH D", "S TH", "Z DH", "DH L"),
    0.4: ("S SH", "Z ZH", "ER R", "AXR R", "IY Y", "UW W", "T CH", "D JH", "B V", "L OW", "L UH", "DH T", "TH D"),
    0.5: ("L R", "W R", "W L", "S CH", "Z JH", "V W", "P F", "T K", "D G", "M NG", "D N", "B M", "HH F", "L N", "D L"),
    0.6: ("P T", "P K", "B D", "B G", "Z TH", "Y JH", "S F", "HH K", "D R", "T S", "D Z", "K HH", "TH V", "G NG"),
}
_UNLIKE, _VOWEL_VOWEL, _VOWEL_CONSONANT, _VOICE = 0.8, 0.45, 1.2, 0.25
_LOST = {"AH": 0.35, "AX": 0.35, "IH": 0.4, "HH": 0.4, "Y": 0.45, "AXR": 0.5, "ER": 0.55, "R": 0.55, "T": 0.55}
_LOST["D"], _LOST_VOWEL, _LOST_CONSONANT = 0.55, 0.65, 0.8

# One sign for phonemes that a recogniser takes for one another: sifting needs no more.
_CLASSES = ("B P F V", "D T DH TH", "S Z SH ZH CH JH", "G K", "M N NG", "L R", "W Y HH", " ".join(VOWELS))
_SIEVE = 0.1  # how much less alike two coarse sounds may be than the finely compared ones need to be
_COARSE = {ord(_CHAR[p]): _CHAR[group.split()[0]] for group in _CLASSES for p in group.split()}


def _cost_table() -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Costs of taking one phoneme for another, and of leaving one out; the last row and column are the filling."""
    size = len(PHONEMES)
    index = {phoneme: i for i, phoneme in enumerate(PHONEMES)}
    table = np.full((size + 1, size + 1), _UNLIKE, np.float32)
    vowels = slice(0, len(VOWELS))
    table[vowels, :] = table[:, vowels] = _VOWEL_CONSONANT
    table[vowels, vowels] = _VOWEL_VOWEL
    for cost, pairs in (*sorted(_NEAR.items(), reverse=True), (_VOICE, _VOICED)):
        for pair in pairs:
            i, k = (index[p] for p in pair.split())
            table[i, k] = table[k, i] = cost
    np.fill_diagonal(table, 0.0)
    table[size, :] = table[:, size] = 9.0
    lost = [_LOST.get(p, _LOST_VOWEL if p in VOWELS else _LOST_CONSONANT) for p in PHONEMES]
    return table, np.array([*lost, 0.0], np.float32)


_COST, _GAP = _cost_table()


def encode(arpabet: str) -> str:
    """ARPAbet with blanks (stress digits allowed) as one character a phoneme. Raises KeyError for an unknown one."""
    return "".join(_CHAR[p.rstrip("012")] for p in arpabet.split())


def coarse(sound: str) -> str:
    """The same sound in eight classes, character for character."""
    return sound.translate(_COARSE)


@dataclass(frozen=True, slots=True)
class SoundTable:
    """Sounds as phoneme numbers, one row each, filled up with a number that costs nothing to leave out."""

    codes: NDArray[np.intp]
    lengths: NDArray[np.intp]

    def take(self, rows: NDArray[np.intp]) -> "SoundTable":
        """The sounds of some rows, in their order, as narrow as the longest of them."""
        lengths = self.lengths[rows]
        return SoundTable(self.codes[rows, : int(lengths.max(initial=0))], lengths)


def table_of(sounds: Sequence[str]) -> SoundTable:
    """Encoded sounds as a table."""
    lengths = np.array([len(sound) for sound in sounds], np.intp)
    width = int(lengths.max(initial=0))
    filled = "".join(sound.ljust(width, _FILLING) for sound in sounds)
    codes = np.frombuffer(filled.encode("ascii"), np.uint8).reshape(len(sounds), width) - ord("A")
    return SoundTable(codes.astype(np.intp), lengths)


def similarities(left: SoundTable, right: SoundTable) -> NDArray[np.float32]:
    """How alike row n of both tables is, for all n at once: 1 for equal sounds down to 0, 0 for an empty one.

    One minus the weighted edit distance over the longer length. All pairs go through the same steps together.
    """
    a, b = left.codes, right.codes
    a_gaps, b_gaps = _GAP[a], _GAP[b]
    row = [np.zeros(len(a), np.float32)]
    for k in range(b.shape[1]):
        row.append(row[-1] + b_gaps[:, k])
    for i in range(a.shape[1]):
        at, lost = a[:, i], a_gaps[:, i]
        diagonal, row[0] = row[0], row[0] + lost
        for k in range(b.shape[1]):
            best = np.minimum(diagonal + _COST[at, b[:, k]], row[k + 1] + lost)
            diagonal = row[k + 1]
            row[k + 1] = np.minimum(best, row[k] + b_gaps[:, k])
    longest = np.maximum(left.lengths, right.lengths)
    alike = np.maximum(1.0 - row[-1] / np.maximum(longest, 1), 0.0)
    return np.where((left.lengths > 0) & (right.lengths > 0), alike, 0.0).astype(np.float32)


def likenesses(sound: str, others: Sequence[str]) -> list[float]:
    """The same of one encoded sound and each of ``others``."""
    return [float(alike) for alike in similarities(table_of([sound] * len(others)), table_of(others))]


def similarity(a: str, b: str) -> float:
    """The same for one pair of encoded sounds."""
    return likenesses(a, [b])[0]


class SoundIndex:
    """Sounds that others are looked up among: sifted by coarse sound first (rapidfuzz), then compared finely."""

    def __init__(self, sounds: Sequence[str]) -> None:
        self._coarse = [coarse(sound) for sound in sounds]
        self._table = table_of(sounds)

    def near(self, sounds: Sequence[str], least: float) -> Iterator[tuple[int, int, float]]:
        """Pairs (number of the asked sound, number of the one kept here) at least so alike, and how alike."""
        if not sounds or not self._coarse:
            return
        rough = cdist(
            [coarse(sound) for sound in sounds],
            self._coarse,
            scorer=Levenshtein.normalized_similarity,
            score_cutoff=least - _SIEVE,
            dtype=np.float32,
        )
        rows, columns = np.nonzero(rough)
        alike = similarities(table_of(sounds).take(rows), self._table.take(columns))
        for row, column, score in zip(rows.tolist(), columns.tolist(), alike.tolist(), strict=True):
            if score >= least:
                yield row, column, score


# ---------------------------------------------------------------- words

_LONGEST_INITIALS = 4


@lru_cache(maxsize=65536)
def sounds_of(word: str) -> tuple[str, ...]:
    """Encoded pronunciations of one lower-case word, the commonest first; () where it holds no letter.

    Our own; else those of the dictionary (at most two); else the parts of a hyphened word, a possessive or plural of a
    known word, or the letter-to-sound rules.
    """
    letters = re.sub(r"[^a-z'-]", "", word.replace("’", "'")).strip("-'")
    if not letters:
        return ()
    if own := own_sounds().get(letters):
        return (own,)
    known = dictionary_sounds(letters)
    if known:
        return known[:2]
    if "-" in letters:
        parts = [sounds_of(part) for part in letters.split("-") if part]
        return ("".join(part[0] for part in parts if part),)
    stem, ending = _stem(letters)
    if ending and (base := (own_sounds().get(stem, ""),) if stem in own_sounds() else dictionary_sounds(stem)):
        return (base[0] + encode(ending),)
    bare = letters.replace("'", "")
    if len(bare) <= _LONGEST_INITIALS and not set(bare) & set("aeiouy"):  # initials are spoken as letters
        return ("".join(dictionary_sounds(letter)[-1] for letter in bare),)
    return (spell_out(bare),)


def sound_of(word: str) -> str:
    """The commonest encoded sound of one lower-case word; "" where it holds no letter."""
    return next(iter(sounds_of(word)), "")


def is_known(word: str) -> bool:
    """True where the dictionary has the word, its stem without a plural or possessive ending, or all hyphened parts."""
    letters = word.replace("’", "'").strip("-'")
    if not letters:
        return False
    if "-" in letters:
        return all(is_known(part) for part in letters.split("-") if part)
    return bool(dictionary_sounds(letters) or dictionary_sounds(_stem(letters)[0]))


_ENDINGS = (("'s", "Z"), ("ies", "IY Z"), ("es", "AH Z"), ("s", "Z"), ("'", "Z"))


def _stem(word: str) -> tuple[str, str]:
    for ending, sound in _ENDINGS:
        if word.endswith(ending) and len(word) > len(ending) + 2:
            return word[: -len(ending)] + ("y" if ending == "ies" else ""), sound
    return word, ""


@lru_cache(maxsize=1)
def own_sounds() -> dict[str, str]:
    """Our own pronunciations by word, encoded. Raises KeyError for an unknown phoneme."""
    lines = data_path("vocab/pronunciations.txt").read_text(encoding="utf-8").splitlines()
    rows = (line.partition(" ") for line in lines if line and not line.startswith("#"))
    return {word: encode(sound) for word, _, sound in rows}


@lru_cache(maxsize=1)
def _dictionary() -> bytes:
    """The CMU dictionary: lines ``word PH ON EMES`` in byte order of the word, one line a pronunciation."""
    return gzip.decompress(data_path("vocab/pronunciations.gz").read_bytes())


@lru_cache(maxsize=65536)
def dictionary_sounds(word: str) -> tuple[str, ...]:
    """Encoded pronunciations that the CMU dictionary gives for a lower-case word; () where it has none.

    Found by bisection.
    """
    if not word.isascii() or not word:
        return ()
    data, wanted = _dictionary(), word.encode()
    low, high = 0, len(data)
    while low < high:
        middle = (low + high) // 2
        start = data.rfind(b"\n", 0, middle) + 1
        end = data.find(b"\n", start)
        if data[start : data.find(b" ", start)] < wanted:
            low = end + 1
        else:
            high = start
    found: list[str] = []
    while low < len(data):
        end = data.find(b"\n", low)
        name, _, sound = data[low:end].partition(b" ")
        if name != wanted:
            break
        found.append(encode(sound.decode("ascii")))
        low = end + 1
    return tuple(found)


# Letter-to-sound rules, first match wins at each place: letters=PHONEMES, ^ at the start of a word, $ at its end.
_RULES = """
    ^ps=S ^pt=T ^kn=N ^gn=N ^wr=R ^mn=N ^x=Z rh=R sch=S-K tch=CH dge=JH ngue$=NG tion=SH-AH-N sion=ZH-AH-N
    cious=SH-AH-S tious=SH-AH-S ture=CH-ER sure=ZH-ER ous=AH-S ough=AO augh=AO igh=AY eigh=EY eau=OW ph=F th=TH
    sh=SH ch=CH ck=K qu=K-W wh=W ng$=NG zz=T-S sce=S-EH sci=S-IH cc=K ce$=S ge$=JH gue$=G ce=S-EH ci=S-IH cy=S-IY
    ge=JH-EH gi=JH-IH gy=JH-IY ae=IY oe=IY ee=IY ea=IY oo=UW eu=Y-UW ew=UW ou=AW ow$=OW ow=AW ai=EY ay=EY oi=OY
    oy=OY au=AO aw=AO ie=IY ei=IY ey$=IY oa=OW ia=IY-AH io=IY-OW ium$=IY-AH-M ius$=IY-AH-S us$=AH-S um$=AH-M
    is$=AH-S le$=AH-L er=ER ir=ER ur=ER ar=AA-R or=AO-R ^y=Y y$=IY y=IH i$=IY o$=OW a$=AH u$=UW es$=AH-Z ed$=D e$=
    x=K-S a=AE e=EH i=IH o=AA u=AH b=B c=K d=D f=F g=G h=HH j=JH k=K l=L m=M n=N p=P q=K r=R s=S t=T v=V w=W z=Z
"""
_LONG = {"a": "EY", "e": "IY", "i": "AY", "o": "OW", "u": "UW", "y": "AY"}
_MAGIC_E = re.compile(r"([aeiouy])(?=[bcdfgklmnpstvz]e$)")


@lru_cache(maxsize=1)
def _rules_by_letter() -> dict[str, list[tuple[str, str, str]]]:
    table: dict[str, list[tuple[str, str, str]]] = {}
    for rule in _RULES.split():
        letters, _, phonemes = rule.partition("=")
        place = "^" if letters[0] == "^" else "$" if letters[-1] == "$" else ""
        bare = letters.strip("^$")
        table.setdefault(bare[0], []).append((bare, encode(phonemes.replace("-", " ")), place))
    return table


def spell_out(word: str) -> str:
    """The encoded sound of a word by spelling rules alone (English with the Latin and Greek of anatomy)."""
    rules, out, at = _rules_by_letter(), "", 0
    word = "".join(c for c, after in pairwise(word[:64] + " ") if c != after or c in "eoz")
    long_at = m.start() if (m := _MAGIC_E.search(word)) and m.start() > 0 else -1
    while at < len(word):
        if at == long_at:
            out, at = out + encode(_LONG[word[at]]), at + 1
            continue
        for letters, sound, place in rules.get(word[at], ()):
            end = at + len(letters)
            if word.startswith(letters, at) and (place != "^" or at == 0) and (place != "$" or end == len(word)):
                out, at = out + sound, end
                break
        else:
            at += 1
    return out
