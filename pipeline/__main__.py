"""``python -m pipeline`` is the command ``gapstrain``."""

from pipeline.cli import main

main()
