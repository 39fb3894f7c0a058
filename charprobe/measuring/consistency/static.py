"""The static curve: its slope and its low-level gain against the steps that show them."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from charprobe.measuring.consistency.readings import SIGMAS, Contradiction, Readings

SLOPE = 0.05  # dB per dB by which a slope may miss the level steps it stands for
LOWEST = 5  # steps whose gain is that at low levels, though it may rise from there to the threshold
GAIN_DB = 0.1  # by which a low-level gain may miss the steps it stands for


def slope_of_steps(read: Readings) -> Iterator[Contradiction]:
    """Deny a slope that the highest level steps do not have, though no second bend parts them from it."""
    slope, threshold, knee = (read.number(f"static.{name}") for name in ("slope", "threshold", "knee_width"))
    if slope is None or threshold is None or read.number("static.second_threshold") is not None:
        return
    level, local, std = (read.column("static_slope", name) for name in ("input_dbfs", "slope", "slope_std"))
    begin = threshold.value + (knee.high / 2 if knee is not None else 0.0)
    if level.size < 2:
        return
    # the slope at a step is that between its neighbours: both must lie beyond the bend
    above = np.flatnonzero(level > begin + max(1.0, float(np.median(np.diff(level)))))[-3:]
    if above.size < 2:
        return
    weight = 1 / np.maximum(std[above], 1e-6) ** 2
    mean = float(weight @ local[above] / weight.sum())
    if abs(mean - slope.value) > SLOPE + SIGMAS * math.hypot(float(weight.sum()) ** -0.5, slope.std):
        yield Contradiction(
            ("static.slope", "static.ratio"),
            f"The highest level steps rise by {mean:.2f} dB per dB, the curve's straight part by "
            f"{slope.value:.2f}",
        )


def gain_of_steps(read: Readings) -> Iterator[Contradiction]:
    """Deny a low-level gain that the steps below the threshold do not have."""
    gain, threshold, knee = (
        read.number(f"static.{name}") for name in ("low_level_gain", "threshold", "knee_width")
    )
    if gain is None or threshold is None:
        return
    level, own, std = read.steps()
    low = level < threshold.value - (knee.high / 2 if knee is not None else 0.0) - 3.0
    low &= level > read.at_most("static.lower_threshold") + 3.0  # below that it expands
    if np.count_nonzero(low) < 2:
        return
    middle, spread = (float(np.median(each[low][:LOWEST])) for each in (own, std))
    if abs(middle - gain.value) > GAIN_DB + SIGMAS * math.hypot(spread, gain.std):
        yield Contradiction(
            ("static.low_level_gain", "static.makeup_gain", "static.max_reduction"),
            f"The steps below the threshold have a gain of {middle:.2f} dB, the curve {gain.value:.2f} dB",
        )
