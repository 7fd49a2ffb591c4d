"""The commands: read what was typed, call a job, show what came back. No logic.

One module a topic; each adds its commands to ``app`` when it is imported, in the order of the help.
"""

from pipeline.cli.app import app, main

from pipeline.cli import notes, recording, pages, keeping, asking, over_time  # isort: skip
from pipeline.cli import exchange, custody, safe, practitioners, disclosures, words, machine, speechmodels  # isort: skip

__all__ = [
    "app",
    "asking",
    "custody",
    "disclosures",
    "exchange",
    "keeping",
    "machine",
    "main",
    "notes",
    "over_time",
    "pages",
    "practitioners",
    "recording",
    "safe",
    "speechmodels",
    "words",
]
