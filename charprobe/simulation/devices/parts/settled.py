"""Settled gain of a device that has no closed form: run on a steady sine until it rests."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from charprobe.simulation.devices.stage import amplitude
from charprobe.values.arrays import Array

RATE_HZ = 48_000.0
AVERAGED_S = 0.1


def settled_gain_db(
    output_of: Callable[[Array, float], Array], level_dbfs: Array, *, frequency_hz: float, settle_s: float
) -> Array:
    """Gain of the fundamental once the answer to a steady sine repeats; shape of `level_dbfs`, dB.

    `output_of` gives the device's output for a sine, shape (n,), and its rate in Hz; `settle_s` is the time
    after which it is periodic. Read with a Hann window over whole periods: other orders and the slow rest of
    settling leave no trace.
    """
    averaged = max(1, round(AVERAGED_S * frequency_hz)) / frequency_hz
    n = np.arange(int(np.ceil((settle_s + averaged) * RATE_HZ)))
    used = slice(n.size - round(averaged * RATE_HZ), n.size)
    carrier = np.exp(2j * np.pi * frequency_hz / RATE_HZ * n)
    weight = np.hanning(round(averaged * RATE_HZ)) * carrier[used].conj()
    gains = np.empty(np.shape(level_dbfs))
    for index, level in np.ndenumerate(np.asarray(level_dbfs, dtype=float)):
        tone = amplitude(level) * carrier.real
        out = output_of(tone, RATE_HZ)[used]
        gains[index] = 20 * np.log10(abs(weight @ out) / abs(weight @ tone[used]))
    return gains
