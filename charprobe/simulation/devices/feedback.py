"""Feedback loops without delay: the detector hears the output of the same sample."""

from __future__ import annotations

import numpy as np

from charprobe.simulation.devices.gain_computer import Bend
from charprobe.simulation.devices.kernel import compiled
from charprobe.values.arrays import Array

MAX_FEEDBACK_RATIO = 1e6


def solve_feedback(
    level_dbfs: Array, *, bend: Bend, loop_gain: float, attack_s: float, release_s: float, rate_hz: float
) -> Array:
    """Reduction of a loop that smooths ``loop_gain * overshoot(level - reduction)``; shape (n,), dB.

    Parameters
    ----------
    level_dbfs : ndarray, shape (n,)
        Level at the stage's input; the loop hears this less the reduction of the same sample.
    bend : Bend
        Threshold and knee, both on the *output* axis; its slope is not used.
    loop_gain : float >= 0
        k: dB of reduction per dB of output overshoot; the settled ratio is 1 + k.
    attack_s, release_s : float >= 0
        Time constants of the open loop. Closed, both shorten to 1/(1 + k) beyond the knee.
    rate_hz : float > 0
        Sampling rate.

    Notes
    -----
    Per sample the implicit equation ``r = r' + c (k overshoot(level - r) - r)`` has one root, since its right
    side falls with r; Newton's method kept inside a shrinking bracket finds it. c is such that the pole
    equals the continuous one, exp(-(1 + k s)/(tau rate)), where the local slope s of the overshoot is
    constant. No setting of time, ratio and rate is unstable, unlike a loop that is closed with one sample of
    delay.
    """
    times = [1 / (time_s * rate_hz) if time_s > 0 else 700.0 for time_s in (attack_s, release_s)]
    return _solve(level_dbfs, bend.threshold_dbfs, bend.knee_db, loop_gain, times[0], times[1])


@compiled
def _overshoot(level: float, threshold: float, knee: float) -> tuple[float, float]:
    """Overshoot behind a quadratic knee, and its slope."""
    over = level - threshold
    if over <= -knee / 2:
        return 0.0, 0.0
    if over >= knee / 2:
        return over, 1.0
    inside = over + knee / 2
    return inside * inside / (2 * knee), inside / knee


@compiled
def _solve(level: Array, threshold: float, knee: float, k: float, attack: float, release: float) -> Array:
    out = np.empty_like(level)
    r = 0.0
    for n in range(level.size):
        over, slope = _overshoot(level[n] - r, threshold, knee)
        pace = attack if k * over > r else release
        rate = (1 + k * slope) * pace
        c = (np.exp(min(rate, 700.0)) - 1) / (1 + k * slope)
        low, high = min(r, k * over), max(r, k * over)
        before, root = r, r
        for _ in range(60):
            over, slope = _overshoot(level[n] - root, threshold, knee)
            error = root - before - c * (k * over - root)
            if error > 0:
                high = min(high, root)
            else:
                low = max(low, root)
            step = error / (1 + c * (1 + k * slope))
            root = root - step
            if root < low or root > high:
                root = 0.5 * (low + high)
            if abs(step) < 1e-12 * (1 + abs(root)):
                break
        r = root
        out[n] = r
    return out
