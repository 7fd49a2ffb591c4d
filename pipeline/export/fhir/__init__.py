"""FHIR R4 documents."""

from pipeline.export.fhir.bundle import document_bundle

__all__ = ["document_bundle"]
