"""Sound to words, offline: chunks by voice activity, the recogniser, guards against invented speech."""

from pipeline.hear.hearer import Hearer
from pipeline.hear.models import ModelFiles, cache_folder, chosen_model, embedded_model, model_at

__all__ = ["Hearer", "ModelFiles", "cache_folder", "chosen_model", "embedded_model", "model_at"]
