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

__all__ = [
    "NOTE_PAGE",
    "done_lines",
    "explained_lines",
    "finding_lines",
    "found_json",
    "found_lines",
    "item_line",
    "item_lines",
    "link_lines",
    "plays",
]
