"""The way out into open formats: a module a format. Takes visits as drafted or signed, gives bytes; knows no store."""

from pipeline.export.fhir import document_bundle
from pipeline.export.nameless import Nameless
from pipeline.export.tables import csv_blocks, parquet
from pipeline.export.tracks import lines_track
from pipeline.export.visit import Addition, ConsentTold, Signature, VisitDocument

__all__ = [
    "Addition",
    "ConsentTold",
    "Nameless",
    "Signature",
    "VisitDocument",
    "csv_blocks",
    "document_bundle",
    "lines_track",
    "parquet",
]
