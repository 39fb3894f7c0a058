"""Rigs for tests: devices nobody has, and a recipe of a few seconds."""

from charprobe.bench.devices import Patch, SoundDevice

SHORT = """schema = "charprobe.recipe/1"
name = "short"
summary = "a few steps"
[[segment]]
kind = "silence"
name = "idle"
length_s = 0.5
[[segment]]
kind = "level_steps"
name = "steps"
frequency_hz = 997
from_dbfs = -40
to_dbfs = -4
step_db = 12
step_s = 0.2
"""
STRIP = SoundDevice(2, "strip", "made up", 2, 2, 48_000)


def patch(**other):
    """Both channels of one device at 48 kHz."""
    known = {"play": STRIP, "record": STRIP, "rate_hz": 48_000, "outputs": (1, 2), "inputs": (1, 2)}
    return Patch(**(known | other))


def no_meter(*, left_s, peaks):
    """Look away."""
