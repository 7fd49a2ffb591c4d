"""What the terminal shows, a module a topic."""

from pipeline.show.batch import outcome_line, summary_lines
from pipeline.show.custody import (
    backup_lines,
    destroyed_lines,
    rebuilt_json,
    rebuilt_lines,
    redactions_lines,
    restored_lines,
    retention_lines,
    verified_lines,
)
from pipeline.show.disclosures import copied_json, copied_lines, disclosed_line
from pipeline.show.earlier import stood_lines
from pipeline.show.exchange import exported_json, exported_lines, imported_json, imported_lines
from pipeline.show.keeping import (
    contact_lines,
    infant_lines,
    infants_lines,
    moved_lines,
    opened_lines,
    parts_lines,
    proposed_lines,
    redrafted_lines,
    visits_lines,
    written_lines,
)
from pipeline.show.lines import (
    NOTE_PAGE,
    done_lines,
    explained_lines,
    finding_lines,
    item_line,
    item_lines,
    link_lines,
    own_word_lines,
)
from pipeline.show.practitioners import log_lines, practitioner_line, practitioner_lines
from pipeline.show.recording import FAULTS, KEYS, STATES, RecordingScreen, device_lines, drafted_lines, left_open_lines
from pipeline.show.speechmodels import kept_lines, model_lines

__all__ = [
    "FAULTS",
    "KEYS",
    "NOTE_PAGE",
    "STATES",
    "RecordingScreen",
    "backup_lines",
    "contact_lines",
    "copied_json",
    "copied_lines",
    "destroyed_lines",
    "device_lines",
    "disclosed_line",
    "done_lines",
    "drafted_lines",
    "explained_lines",
    "exported_json",
    "exported_lines",
    "finding_lines",
    "imported_json",
    "imported_lines",
    "infant_lines",
    "infants_lines",
    "item_line",
    "item_lines",
    "kept_lines",
    "left_open_lines",
    "link_lines",
    "log_lines",
    "model_lines",
    "moved_lines",
    "opened_lines",
    "outcome_line",
    "own_word_lines",
    "parts_lines",
    "practitioner_line",
    "practitioner_lines",
    "proposed_lines",
    "rebuilt_json",
    "rebuilt_lines",
    "redactions_lines",
    "redrafted_lines",
    "restored_lines",
    "retention_lines",
    "stood_lines",
    "summary_lines",
    "verified_lines",
    "visits_lines",
    "written_lines",
]
