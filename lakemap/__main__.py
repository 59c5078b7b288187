"""``python -m lakemap`` is the command ``lakemap``."""

from lakemap.cli.main import main

main()
