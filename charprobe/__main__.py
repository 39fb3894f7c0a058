"""Run the command line with ``python -m charprobe``."""

from charprobe.cli import main

main()
