"""Static laws of the held-out stages: reduction in dB over level in dB."""

from __future__ import annotations

import numpy as np

from tests.benchmarks.zoo.stage import Array


def corner(level: Array, *, threshold: float, slope: float, knee: float = 0.0) -> Array:
    """Reduction above a threshold; the bend is a parabola `knee` dB wide."""
    over = level - threshold
    share = 1 - slope
    if knee <= 0:
        return np.asarray(share * np.maximum(over, 0.0))
    bent = share * np.square(np.clip(over + knee / 2, 0.0, knee)) / (2 * knee)
    return np.asarray(bent + share * np.maximum(over - knee / 2, 0.0))


def gradual(level: Array, *, threshold: float, slope: float, width: float) -> Array:
    """Reduction whose slope passes over smoothly and never ends passing: the integral of a logistic curve."""
    return np.asarray((1 - slope) * width * np.logaddexp(0.0, (level - threshold) / width))


def below(level: Array, *, threshold: float, slope: float) -> Array:
    """Reduction under a threshold, where the output falls by `slope` dB for each dB of input."""
    return np.asarray((slope - 1) * np.clip(threshold - level, 0.0, 60.0))
