"""A person's edits, applied in the order they were made: words before extraction, lines after it."""

from pipeline.amend.lines import amend
from pipeline.amend.steps import standing
from pipeline.amend.words import correct

__all__ = ["amend", "correct", "standing"]
