"""``python -m pipeline`` is ``handspoken``."""

from pipeline.cli import main

main()
