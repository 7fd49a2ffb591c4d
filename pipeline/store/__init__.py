"""The record on this computer: events and blobs, and the tables derived from them.

Loaded when first asked for: reading the record (``reading``, ``find``) needs none of what writes it.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pipeline.store.store import Store, Writing, new_id

__all__ = ["Store", "Writing", "new_id"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(name)
    from pipeline.store import store

    return getattr(store, name)
