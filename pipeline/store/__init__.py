"""The record on this computer: events and blobs, and the tables derived from them."""

from pipeline.store.store import Store, Writing, new_id

__all__ = ["Store", "Writing", "new_id"]
