"""The record's way out into open formats, and in again."""

from pipeline.exchange.intake import Imported, import_file
from pipeline.exchange.out import Exported, Wish, export

__all__ = ["Exported", "Imported", "Wish", "export", "import_file"]
