"""Rigs for tests: devices nobody has."""

from charprobe.bench.devices import Patch, SoundDevice

STRIP = SoundDevice(2, "strip", "made up", 2, 2, 48_000)


def patch(**other):
    """Both channels of one device at 48 kHz."""
    known = {"play": STRIP, "record": STRIP, "rate_hz": 48_000, "outputs": (1, 2), "inputs": (1, 2)}
    return Patch(**(known | other))


def no_meter(*, left_s, peaks):
    """Look away."""
