"""From a spoken infant examination to a chart note in which every line plays its second of audio."""

__version__ = "0.1.0"
