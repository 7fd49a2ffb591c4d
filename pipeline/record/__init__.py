"""Recording: sound on disk within the second whatever it comes from, sealed when the visit is over.

source -> Recorder -> Writer -> rec.pcm + rec.log -> seal -> rec.flac
"""

from pipeline.record.folder import (
    FLAC,
    LOG,
    PCM,
    RATE,
    Ask,
    Log,
    ask,
    is_live,
    length_ms,
    read_log,
    read_sound,
    summed_up,
)
from pipeline.record.level import level_db
from pipeline.record.recorder import Recorder, Shown, check_room, minutes_of_room
from pipeline.record.run import record
from pipeline.record.seal import Sealed, destroy, seal
from pipeline.record.sources import Microphone, Played, Resampler, Source, SourceGoneError, look_again, microphones
from pipeline.record.writer import Writer

__all__ = [
    "FLAC",
    "LOG",
    "PCM",
    "RATE",
    "Ask",
    "Log",
    "Microphone",
    "Played",
    "Recorder",
    "Resampler",
    "Sealed",
    "Shown",
    "Source",
    "SourceGoneError",
    "Writer",
    "ask",
    "check_room",
    "destroy",
    "is_live",
    "length_ms",
    "level_db",
    "look_again",
    "microphones",
    "minutes_of_room",
    "read_log",
    "read_sound",
    "record",
    "seal",
    "summed_up",
]
