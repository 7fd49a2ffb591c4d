"""Sound to words, offline: chunks by voice activity, the recogniser, guards against invented speech."""

from pipeline.hear.chunks import Cutter, SoundChunk
from pipeline.hear.fetch import fetch_model, fetchable
from pipeline.hear.hearer import Hearer, Preview
from pipeline.hear.keep import ChunkResult, forget_chunks
from pipeline.hear.models import EMBEDDED_NAME, ModelFiles, embedded_model, model_at
from pipeline.hear.pieces import Pieces
from pipeline.hear.shelf import Shelf, chosen_model
from pipeline.hear.words import utterances

__all__ = [
    "EMBEDDED_NAME",
    "ChunkResult",
    "Cutter",
    "Hearer",
    "ModelFiles",
    "Pieces",
    "Preview",
    "Shelf",
    "SoundChunk",
    "chosen_model",
    "embedded_model",
    "fetch_model",
    "fetchable",
    "forget_chunks",
    "model_at",
    "utterances",
]
