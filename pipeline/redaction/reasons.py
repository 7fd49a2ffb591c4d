"""Why a stretch may be destroyed: the reasons of vocab/redaction.yaml."""

from functools import lru_cache

from pipeline.errors import InputError, VocabularyError
from pipeline.resources import data_path
from pipeline.vocabulary import Entry, read_rows


class Reason(Entry):
    """``id``: what is typed; ``say``: how the tombstone words it."""

    id: str
    say: str


@lru_cache(maxsize=1)
def reasons() -> dict[str, Reason]:
    """All reasons by id. Raises VocabularyError."""
    faults: list[str] = []
    rows = read_rows(data_path("vocab") / "redaction.yaml", Reason, faults)
    if faults:
        raise VocabularyError("The vocabulary has faults:\n  " + "\n  ".join(faults))
    return {reason.id: reason for _, reason in rows}


def reason(key: str) -> Reason:
    """The reason of this id. Raises InputError."""
    known = reasons()
    if key not in known:
        raise InputError(f'reason "{key[:40]}" is none; give one of {", ".join(known)}.')
    return known[key]
