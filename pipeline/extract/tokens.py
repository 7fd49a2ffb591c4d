"""Words -> tokens: lower case, clitics apart, punctuation folded into the token before it, inflection cut off."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from pipeline.extract.splitting import Splitting
from pipeline.model import Word
from pipeline.vocabulary import Vocabulary

Stop = Literal["", ",", ".", "?"]
_STOPS: dict[str, Stop] = {",": ",", ";": ".", ":": ",", ".": ".", "!": ".", "?": "?", "…": ",", "–": ",", "—": ","}
_PIECE = re.compile(
    r"\d+(?:,\d{3})+(?:\.\d+)?(?!\d)"  # 3,400
    r"|\d+(?:\.\d+)*(?:(?:st|nd|rd|th)(?![^\W_]))?"  # 38.2, 6th; "5lb" is two pieces
    r"|'(?:s|re|ve|ll|d|m)(?![^\W_])"
    r"|[^\W\d_](?:[^\W_]|'(?=[^\W_]))*"
    r"|[°%]"
)
_CLITIC = re.compile(r"(.+?)(n't|'(?:s|re|ve|ll|d|m))")
_SYMBOLS = {"°": "degrees", "%": "percent"}
_VOWEL = re.compile(r"[aeiouy]")
_LETTERS = re.compile(r"[a-z]+")
_MAX_CACHE = 50_000


@dataclass(frozen=True, slots=True)
class Token:
    """One token of an utterance. ``word`` indexes the transcript; ``stop`` is the punctuation that follows."""

    text: str
    stem: str
    word: int
    stop: Stop
    start_ms: int
    end_ms: int
    gap_ms: int  # silence before it, 0 where the times are not the words' own


@dataclass
class Tokeniser:
    """Splits words by spaCy's blank English rules, and what those leave together ("t4-t6", "3,400", "5lb").

    The pieces of a word are cached, for speech repeats itself.
    """

    vocab: Vocabulary
    _cache: dict[str, tuple[tuple[str, ...], Stop]] = field(default_factory=dict)
    _stems: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._split = Splitting()
        together = (say.split() for say in self.vocab.listed("run_together"))
        self._together = {"".join(parts).replace("'", ""): parts for parts in together}  # "dont", "cannot"
        self._keep = self.vocab.listed("uncut")
        self._forms = {say: cue.gives for cue in self.vocab.cues.get("forms", ()) for say in cue.say}

    def __call__(self, words: Sequence[Word]) -> list[Token]:
        """Tokens of consecutive words, in order; a word without letters or digits only leaves its punctuation."""
        out: list[Token] = []
        before: Word | None = None
        for word in words:
            pieces, stop = self._pieces(word.text)
            if not pieces:
                if stop and out:
                    out[-1] = _with_stop(out[-1], stop)
                continue
            gap = word.start_ms - before.end_ms if before is not None and word.timing == "word" else 0
            for k, piece in enumerate(pieces):
                last = k == len(pieces) - 1
                out.append(
                    Token(
                        piece,
                        self.stem(piece),
                        word.i,
                        stop if last else "",
                        word.start_ms,
                        word.end_ms,
                        gap if k == 0 else 0,
                    )
                )
            before = word
        return out

    def of_text(self, text: str) -> list[Token]:
        """Tokens of a vocabulary phrase; it has no times."""
        return self([Word(i, part, i, i + 1) for i, part in enumerate(text.split())])

    def phrase(self, text: str) -> list[str]:
        """The token texts of a vocabulary phrase."""
        return [piece for part in text.split() if part != "~" for piece in self._pieces(part)[0]]

    def _pieces(self, text: str) -> tuple[tuple[str, ...], Stop]:
        cached = self._cache.get(text)
        if cached is not None:
            return cached
        if len(text) < 40 and text.isascii() and text.isalpha() and text.islower() and text not in self._together:
            return (text,), ""  # most words: no need to ask
        whole = text[:200].encode(errors="ignore").decode()  # half a surrogate pair is no letter
        clean = whole.replace("’", "'").replace("ʼ", "'").lower()
        stop: Stop = ""
        for mark in reversed(clean):
            if mark.isalnum() or mark == "'":
                break
            stop = _STOPS.get(mark, stop)
        rough = [clean] if clean.startswith("'") else self._split(clean)  # "'m" of a cue
        found = (piece for token in rough for piece in _PIECE.findall(token))
        pieces = tuple(part for piece in found for part in self._parts(piece))
        if len(self._cache) < _MAX_CACHE:
            self._cache[text] = pieces, stop
        return pieces, stop

    def _parts(self, piece: str) -> list[str]:
        """One piece between spaces, hyphens and the like, its clitics apart."""
        if piece in self._together:
            return self._together[piece]
        if piece[0].isdigit():
            return [piece.replace(",", "")]
        clitics: list[str] = []
        while match := _CLITIC.fullmatch(piece):
            piece = match[1]
            clitics.insert(0, match[2])
        return [_SYMBOLS.get(piece, piece), *clitics]

    def stem(self, text: str) -> str:
        """The word without its inflection (clunk, clunks, clunking -> clunk): a key to compare by, not a word."""
        known = self._stems.get(text)
        if known is None:
            base = self._forms.get(text, text)
            known = base if base in self._keep or not _LETTERS.fullmatch(base) else _cut(base)
            if len(self._stems) < _MAX_CACHE:
                self._stems[text] = known
        return known


def _with_stop(token: Token, stop: Stop) -> Token:
    return Token(token.text, token.stem, token.word, stop, token.start_ms, token.end_ms, token.gap_ms)


def _cut(w: str) -> str:
    if len(w) <= 3:
        return w
    if w.endswith(("ies", "ied")):
        return w[:-3] + ("y" if len(w) > 4 else "ie")
    if w.endswith("ing") and len(w) >= 5 and _VOWEL.search(w[:-3]):
        w = _single(w[:-3])
    elif w.endswith("ed") and not w.endswith("eed") and _VOWEL.search(w[:-2]):
        w = _single(w[:-2])
    elif w.endswith(("sses", "shes", "ches", "xes", "zes")):
        w = w[:-2]
    elif w.endswith("s") and not w.endswith(("ss", "us", "is")):
        w = w[:-1]
    return w[:-1] if len(w) > 3 and w.endswith("e") else w


def _single(w: str) -> str:
    """Undo the doubled consonant of "spitting"; "rolling" and "pressing" keep theirs."""
    return w[:-1] if len(w) > 3 and w[-1] == w[-2] and w[-1] not in "aeioulsz" else w
