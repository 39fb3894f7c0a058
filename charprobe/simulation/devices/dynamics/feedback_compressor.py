"""A compressor whose detector hears its own output."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from charprobe.simulation.devices.dynamics.compressor_truth import timing_truth
from charprobe.simulation.devices.parts.detectors import sense, to_dbfs
from charprobe.simulation.devices.parts.gain_computer import Bend
from charprobe.simulation.devices.stage import REFERENCE_HZ, StageOutput, TrueValue, amplitude, gain_truth
from charprobe.values.arrays import Array
from charprobe.values.compiled import compiled

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


@dataclass(frozen=True)
class FeedbackCompressor:
    """Feedback compression around an envelope detector, the loop solved without delay.

    Attributes
    ----------
    threshold_dbfs, knee_db : float
        On the *output* axis before make-up; on the input axis a knee W spans T - W/2 to T + ratio W/2.
    ratio : float, 1 to 1e6
        Settled ratio beyond the knee; the loop gain is ratio - 1, so infinity cannot be reached.
    attack_s, release_s : float >= 0
        Time constants of the open loop; closed, both are shorter by the ratio.
    makeup_db : float
        Gain after the loop.
    """

    name: str
    summary: str
    threshold_dbfs: float
    ratio: float
    attack_s: float
    release_s: float
    knee_db: float = 0.0
    makeup_db: float = 0.0

    def __post_init__(self) -> None:
        if not 1 <= self.ratio <= MAX_FEEDBACK_RATIO:
            raise ValueError(
                f"a feedback loop reaches ratios from 1 to {MAX_FEEDBACK_RATIO:g}, found {self.ratio}"
            )

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Send one channel through the stage, from rest; see `Stage`."""
        reduction_db = solve_feedback(
            to_dbfs(sense(samples, "envelope", rate_hz=rate_hz), "envelope"),
            bend=Bend(self.threshold_dbfs, 1.0, self.knee_db),
            loop_gain=self.ratio - 1,
            attack_s=self.attack_s,
            release_s=self.release_s,
            rate_hz=rate_hz,
        )
        gain_db = self.makeup_db - reduction_db
        return StageOutput(samples * amplitude(gain_db), gain_db)

    def static_gain_db(self, level_dbfs: Array, *, frequency_hz: float = REFERENCE_HZ) -> Array:
        """Settled gain: the root of reduction = k overshoot(level - reduction), in closed form."""
        k, knee = self.ratio - 1, self.knee_db
        over = np.asarray(level_dbfs, dtype=float) - self.threshold_dbfs
        reduction = np.maximum(0, over) * k / self.ratio
        if knee > 0:
            # inside the knee: q = over - r + W/2 solves k q^2/(2W) + q - (over + W/2) = 0
            start = np.maximum(over + knee / 2, 0)
            inside = start if k == 0 else (np.sqrt(1 + 2 * k * start / knee) - 1) * knee / k
            reduction = np.where(inside < knee, k * inside**2 / (2 * knee), k * over / self.ratio)
        return np.asarray(self.makeup_db - reduction)

    @property
    def truth(self) -> Mapping[str, TrueValue]:
        """Closed forms; times hold while both ends of the step stay beyond the knee (see `Stage`)."""
        known = {
            **gain_truth(self.makeup_db),
            "static.threshold": TrueValue(self.threshold_dbfs, "dBFS"),
            "static.slope": TrueValue(1 / self.ratio, "dB/dB"),
            "static.ratio": TrueValue(self.ratio, ":1"),
        }
        slope = 1 - 1 / self.ratio
        if self.knee_db == 0:
            known["static.knee_width"] = TrueValue(0.0, "dB")
            if slope > 0:
                known["static.threshold_1db"] = TrueValue(self.threshold_dbfs + 1 / slope, "dBFS")
        attack = timing_truth(
            attack_s=self.attack_s / self.ratio, release_s=self.release_s, hold_s=0.0, form="smooth branching"
        )
        known |= {key: value for key, value in attack.items() if key.startswith("attack.")}
        return known
