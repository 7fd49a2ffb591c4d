"""Looks for words in every file of a folder, in whatever form they may stand there."""

import base64
from pathlib import Path


def _forms(word: str) -> list[bytes]:
    """A word as it may stand in a file: in several encodings, and in base64 at each of three places."""
    plain = [word.encode(code) for code in ("utf-8", "utf-16-le", "utf-16-be")]
    shifted = [base64.b64encode(b"\0" * n + word.encode())[4 * (n > 0) : -4] for n in range(3)]
    assert min(map(len, shifted)) >= 8, "a longer word"
    return plain + shifted


def found_in(folder: Path, *words: str) -> list[str]:
    """The files under a folder that hold one of the words; of a word, its end alone (an index shares beginnings)."""
    wanted = [form.lower() for word in words for form in _forms(word[2:])]
    files = [path for path in folder.rglob("*") if path.is_file()]
    assert files
    return [path.name for path in files if any(form in path.read_bytes().lower() for form in wanted)]
