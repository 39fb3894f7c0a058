"""A cubic played tones at three frequencies, its harmonics in closed form, and a compressor that only ripples."""

import numpy as np
from scipy.signal import lfilter
from taken import NoReduction

from charprobe.stimulus.kinds.steady import Tones
from charprobe.stimulus.kinds.two_tone import TwoTone

LEVELS = (-50.0, -30.0, -22.0, -16.0, -10.0, -6.0, -3.0)


TONES = [Tones("harmonics", (110.0, 997.0, 5003.0), LEVELS, 0.25, gap_s=0.3)]


A2, A3 = 0.004, -0.03


def cubic(samples):
    return samples + A2 * samples**2 + A3 * samples**3


def ratios(level_dbfs):
    """H2 and H3 of the cubic over its fundamental: multiple-angle formulas."""
    a = 10 ** (np.asarray(level_dbfs) / 20)
    fundamental = a + 0.75 * A3 * a**3
    return A2 * a**2 / 2 / fundamental, A3 * a**3 / 4 / fundamental


def thd_db(level_dbfs):
    return 10 * np.log10(sum(ratio**2 for ratio in ratios(level_dbfs)))


class Squarer(NoReduction):
    """A 2:1 compressor on the mean square, in closed form for a steady tone: gain ripples at twice its frequency.

    ``g = (1 + m cos(2 u + psi))`` with the one-pole's complex size, so H3 over H1 is ``m / 2`` to first order.
    """

    def __init__(self, tau_s):
        self.tau_s = tau_s

    def reduction_db_at(self, input_dbfs):
        return 3.0

    def __call__(self, samples):
        power = samples**2
        pole = np.exp(-1 / (48_000 * self.tau_s))
        mean = lfilter([1 - pole], [1, -pole], power)
        return samples * (mean + 1e-7) ** -0.25 * 0.3  # slope 1/2


PAIRS = [
    TwoTone("low-and-high", 61.0, 7001.0, 4.0, (-30.0, -10.0), 0.4),
    TwoTone("close-pair", 9001.0, 10_007.0, 1.0, (-30.0, -10.0), 0.4),
]
