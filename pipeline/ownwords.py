"""The clinician's own words: "heard X, meant Y", as a personal layer over vocab/ in the vocabulary's own form.

They stand in ``concepts/heard.yaml`` and ``sites.yaml`` of ``vocab/`` in the data folder; those of a practitioner who
has signed in, in a folder of their own under it. Hearing and repair use them from the next start on. What the person
wrote into these files by hand stays, but for remarks.
"""

import json
from pathlib import Path
from typing import Any

from rapidfuzz import process

from pipeline.config import Config
from pipeline.errors import InputError, NotFoundError, VocabularyError
from pipeline.files import write_atomic
from pipeline.model import Frozen
from pipeline.safe import clean
from pipeline.vocabulary import Concept, Site, Vocabulary, read_rows

NOTE = "own words"
LONGEST = 80
_HEAD = "# The clinician's own words over the shipped vocabulary; handspoken words lists, adds and removes them.\n"


class OwnWord(Frozen):
    """Heard as ``heard``, meant as ``meant``: a term of the concept or site ``id``."""

    heard: str
    meant: str
    id: str


def own_words(config: Config) -> list[OwnWord]:
    """The own words of whoever is at work, by what is heard. Raises VocabularyError where a file has faults."""
    found = []
    for path, kind in _files(config):
        for row in _rows(path, kind):
            for heard, note in row.misheard.items():
                found.append(
                    OwnWord(heard=heard, meant=note.split('"')[1] if note.count('"') > 1 else row.label, id=row.id)
                )
    return sorted(found, key=lambda word: word.heard)


def add_own_word(config: Config, vocab: Vocabulary, heard: str, meant: str) -> OwnWord:
    """Keep that ``heard`` means ``meant``, a term that the vocabulary knows; one kept before is replaced.

    Raises InputError where there is nothing to learn or the term is not known (it names the nearest), VocabularyError.
    """
    heard, meant = _tidy(heard), _tidy(meant)
    if not heard or not meant or max(len(heard), len(meant)) > LONGEST:
        raise InputError(f"give what was heard and what was meant, each of 1 to {LONGEST} characters.")
    if heard == meant:
        raise InputError("what was heard and what was meant are the same.")
    entry = _entry(vocab, meant)
    if any(heard == term.casefold() for term, _ in vocab.terms()):
        raise InputError(f"“{heard}” is a term of the vocabulary itself; it cannot stand for another one.")
    rows = {path: _rows(path, kind) for path, kind in _files(config)}
    path = _files(config)[0 if isinstance(entry, Concept) else 1][0]
    kept = {p: [_without(row, heard) for row in r] for p, r in rows.items()}
    mine = next((row for row in kept[path] if row.id == entry.id), None)
    own = (
        mine if mine is not None else entry.model_copy(update={"misheard": {}, "sound": (), "say": (), "source": NOTE})
    )
    fresh = own.model_copy(update={"misheard": {**own.misheard, heard: f'heard for "{meant}"'}})
    kept[path] = [*(row for row in kept[path] if row.id != entry.id), fresh]
    _write(kept)
    return OwnWord(heard=heard, meant=meant, id=entry.id)


def own_word(config: Config, heard: str) -> OwnWord:
    """What is kept for ``heard``. Raises NotFoundError, VocabularyError."""
    heard = _tidy(heard)
    found = next((word for word in own_words(config) if word.heard == heard), None)
    if found is None:
        raise NotFoundError(f"“{heard}”: nothing is kept for that; handspoken words list shows what is.")
    return found


def remove_own_word(config: Config, heard: str) -> None:
    """Forget what was kept for ``heard``. Raises NotFoundError, VocabularyError."""
    heard = own_word(config, heard).heard
    _write({path: [_without(row, heard) for row in _rows(path, kind)] for path, kind in _files(config)})


def _tidy(text: str) -> str:
    return " ".join(clean(text).casefold().split()).strip(' .,;:!?"“”')


def _entry(vocab: Vocabulary, meant: str) -> Concept | Site:
    terms = {term.casefold(): key for term, key in vocab.terms() if "~" not in term}
    key = terms.get(meant)
    if key is None:
        near = ", ".join(f"“{form}”" for form, *_ in process.extract(meant, terms.keys(), limit=3))
        raise InputError(f"“{meant}” is no term of the vocabulary; near it are {near}.")
    return vocab.concepts[key] if key in vocab.concepts else vocab.sites[key]


def _files(config: Config) -> tuple[tuple[Path, type[Concept] | type[Site]], ...]:
    folder = config.own_words[-1]
    return (folder / "concepts" / "heard.yaml", Concept), (folder / "sites.yaml", Site)


def _rows(path: Path, kind: type[Concept] | type[Site]) -> list[Concept | Site]:
    if not path.is_file():
        return []
    faults: list[str] = []
    rows: list[Concept | Site] = [row for _, row in read_rows(path, kind, faults)]
    if faults:
        raise VocabularyError("Your own words have faults:\n  " + "\n  ".join(faults))
    return rows


def _without(row: Concept | Site, heard: str) -> Concept | Site:
    return row.model_copy(update={"misheard": {key: note for key, note in row.misheard.items() if key != heard}})


def _write(kept: dict[Path, list[Concept | Site]]) -> None:
    """Rows as YAML, one a line (JSON is YAML); a row that says nothing any more goes."""
    for path, rows in kept.items():
        telling = [row for row in rows if row.misheard or row.say or row.off or row.source != NOTE]
        lines = [f"- {json.dumps(_plain(row), ensure_ascii=False)}\n" for row in telling]
        if lines or path.is_file():
            write_atomic(path, (_HEAD + "".join(lines or ["[]\n"])).encode())


def _plain(row: Concept | Site) -> dict[str, Any]:
    return row.model_dump(mode="json", exclude_defaults=True)
