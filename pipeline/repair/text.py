"""A word's letters, without what writing puts around them."""

from functools import lru_cache


@lru_cache(maxsize=65536)
def plain(text: str) -> str:
    """A word without case, without punctuation at its ends, with straight apostrophes."""
    return text.lower().replace("’", "'").strip(".,;:!?\"'()[]{}…–—-*<>/\\")
