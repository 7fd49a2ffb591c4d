"""Sound to words, offline: chunks by voice activity, the recogniser, guards against invented speech."""

from pipeline.hear.chunks import Cutter, SoundChunk
from pipeline.hear.hearer import Hearer, Preview
from pipeline.hear.keep import ChunkResult
from pipeline.hear.models import ModelFiles, cache_folder, chosen_model, embedded_model, model_at
from pipeline.hear.pieces import Pieces

__all__ = [
    "ChunkResult",
    "Cutter",
    "Hearer",
    "ModelFiles",
    "Pieces",
    "Preview",
    "SoundChunk",
    "cache_folder",
    "chosen_model",
    "embedded_model",
    "model_at",
]
