"""What the terminal shows, a module a topic."""

from pipeline.show.lines import (
    NOTE_PAGE,
    done_lines,
    explained_lines,
    finding_lines,
    found_json,
    found_lines,
    item_line,
    item_lines,
    link_lines,
    plays,
)
from pipeline.show.speechmodels import kept_lines, model_lines

__all__ = [
    "NOTE_PAGE",
    "done_lines",
    "explained_lines",
    "finding_lines",
    "found_json",
    "found_lines",
    "item_line",
    "item_lines",
    "kept_lines",
    "link_lines",
    "model_lines",
    "plays",
]
