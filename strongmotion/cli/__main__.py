"""Run the command line as ``python -m strongmotion.cli``."""

from . import main

main()
