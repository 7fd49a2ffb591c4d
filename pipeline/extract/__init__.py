"""Transcript -> items: a fold over utterances (findings contract, version 1)."""

from pipeline.extract.fold import Extractor
from pipeline.extract.state import State

__all__ = ["Extractor", "State"]
