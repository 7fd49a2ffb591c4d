"""Where spaCy's blank English rules cut a word.

spaCy takes most of a second to load, and most words are cut nowhere that matters but before the stops behind
them: letters, numbers, both in hyphened parts. These need only the list of its special cases ("dont", "y'all"), which
is kept in the cache folder. For all other words spaCy is loaded and asked.
"""

import json
import re
from functools import cached_property
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from pipeline.kept import kept, program_files, state_of

_PART = r"(?:[a-z]+\d*|\d+[a-z]*)"
_WORD = re.compile(rf"(\d+(?:[.,]\d+)*|{_PART}(?:-{_PART})*(?:'[a-z]+)?)[.,?!;:…]*")
_PARTS = re.compile(r"[-']")
_TABLES = ("about.py", "lang/en/tokenizer_exceptions.py", "lang/tokenizer_exceptions.py")


class Splitting:
    """Cuts lower-case words; apostrophes are straight."""

    def __call__(self, text: str) -> list[str]:
        """The pieces of one word without a blank in it; a stop at its end may stay on the last or be left out."""
        if text in self._special:
            return self._special[text]
        plain = _WORD.fullmatch(text)
        if plain is None:
            return self._asked(text)
        word = plain[1]
        if word in self._special:
            return self._special[word]
        if any(part in self._special for part in _PARTS.split(word)[:-1]):
            return self._asked(text)
        return [word[:-2], "'s"] if word.endswith("'s") else [word]

    @cached_property
    def _special(self) -> dict[str, list[str]]:
        return kept("special-words", rules_state(), self._read, lambda cases: json.dumps(cases).encode(), json.loads)

    def _read(self) -> dict[str, list[str]]:
        """spaCy's own list of words that it cuts as the list says."""
        known = [word for word in self._spacy.rules if word == word.lower() and not word.isspace()]
        return {word: self._asked(word) for word in known}

    def _asked(self, text: str) -> list[str]:
        return [token.text for token in self._spacy(text)]

    @cached_property
    def _spacy(self) -> Any:  # compiled code without types
        import spacy

        return spacy.blank("en").tokenizer


def rules_state() -> str:
    """Names the rules of the installed spaCy without loading it."""
    spec = find_spec("spacy")
    folder = Path(spec.origin).parent if spec and spec.origin else Path()
    return state_of(*(folder / name for name in _TABLES), *program_files("extract/splitting.py"))
