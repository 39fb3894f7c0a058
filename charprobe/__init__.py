"""Measure the colour and dynamics stages built into a recording path from captures of known stimuli."""

__version__ = "0.1.0"
