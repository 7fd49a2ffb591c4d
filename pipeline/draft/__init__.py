"""Items, remarks and words -> the drafted note, in the order of the hands."""

from pipeline.draft.note import draft_note
from pipeline.draft.wording import Wording, load_wording

__all__ = ["Wording", "draft_note", "load_wording"]
