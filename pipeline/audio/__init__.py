"""Any audio file in, 16 kHz mono samples out; and a small copy for the note."""

from pipeline.audio.compact import CompactCopy, compact_copy
from pipeline.audio.silence import FLAC_TYPE, silenced
from pipeline.audio.source import RATE, Sound, open_sound

__all__ = ["FLAC_TYPE", "RATE", "CompactCopy", "Sound", "compact_copy", "open_sound", "silenced"]
