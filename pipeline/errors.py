"""Every error a person can meet, as one tree.

    HandspokenError            exit code 1: what went wrong, where, what to do
    ├── InputError             a file, a date, an age or a word that cannot be used
    ├── VocabularyError        faults in vocab/ or in the clinician's own words (all at once)
    ├── ModelError             the speech model is missing, altered or cannot be loaded
    ├── StoreError             the database or a stored file is damaged, full or busy
    ├── LockedError            the record is encrypted and nobody has opened it
    ├── ConflictError          the record has changed since it was read: nothing was overwritten
    └── NotFoundError          an infant, a visit or a line that is not in the record

The command line prints ``str(error)`` as one line and sets ``error.exit_code``; the pages show the same line.
"""


class HandspokenError(Exception):
    """Base of all expected errors; the message says what, where and what to do."""

    exit_code = 1


class InputError(HandspokenError):
    """Something given by the person cannot be used."""


class VocabularyError(HandspokenError):
    """One or more faults in vocabulary data, each with file and line."""


class ModelError(HandspokenError):
    """The speech model is missing, altered, or refused by the recogniser."""


class StoreError(HandspokenError):
    """The record cannot be read or written; nothing was changed."""


class LockedError(HandspokenError):
    """The record is encrypted, and its keys are not at hand."""


class ConflictError(HandspokenError):
    """What was to be changed has changed meanwhile, in another window or by another program."""


class NotFoundError(HandspokenError):
    """The record holds no such infant, visit or line."""
