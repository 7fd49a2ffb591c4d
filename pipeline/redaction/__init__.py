"""A stretch of a recording destroyed for a stated reason, wherever it is kept; a tombstone says so."""

from pipeline.redaction.job import Entry, Goes, Where, destroy_again, preview, redact, redactions, resume
from pipeline.redaction.reasons import Reason, reasons
from pipeline.redaction.wipe import finish, note_due, signed_files

__all__ = [
    "Entry",
    "Goes",
    "Reason",
    "Where",
    "destroy_again",
    "finish",
    "note_due",
    "preview",
    "reasons",
    "redact",
    "redactions",
    "resume",
    "signed_files",
]
