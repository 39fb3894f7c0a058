"""What the level probe plays: soft sweeps, output by output, before and after a tone and a burst."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.values.arrays import Array
from charprobe.values.fade import faded_ends

LEVELS_DBFS = (-40.0, -30.0, -20.0, -12.0, -6.0, -3.0, -1.0)
TONE_HZ, TONE_S, REST_S, SWEEP_S, RAMP_S = 997.0, 0.7, 0.5, 0.15, 0.02
SWEEP_HZ, SWEEP_DBFS = (200.0, 8000.0), -40.0
BURST_HZ, BURST_S = 4093.0, 0.05  # begins at full height, as a recipe's may: it passes before a stage acts


@dataclass(frozen=True)
class ProbePlan:
    """When what sounds in one step, in samples; the step is the same for every level.

    Sweeps go to one of the outputs played to after the other, tone and burst to all.
    """

    rate_hz: int
    outputs: int

    @property
    def rest(self) -> int:
        """Silence before and after everything: latency may be so long."""
        return round(REST_S * self.rate_hz)

    @property
    def before(self) -> tuple[int, ...]:
        """Start of the first sweep on each output."""
        return tuple(self.rest + index * self._place for index in range(self.outputs))

    @property
    def tone(self) -> int:
        """Start of the tone."""
        return self.rest + self.outputs * self._place

    @property
    def burst(self) -> int:
        """Start of the burst."""
        return self.tone + round(TONE_S * self.rate_hz) + self.rest

    @property
    def after(self) -> tuple[int, ...]:
        """Start of the second sweep on each output."""
        start = self.burst + round(BURST_S * self.rate_hz) + self.rest
        return tuple(start + index * self._place for index in range(self.outputs))

    @property
    def _place(self) -> int:
        return round(SWEEP_S * self.rate_hz) + self.rest


def probe_sound(level_dbfs: float, plan: ProbePlan) -> Array:
    """Render one step, shape (n, outputs)."""
    one, height = sweep(plan.rate_hz), 10 ** (level_dbfs / 20)
    sound = np.zeros((plan.after[-1] + len(one) + plan.rest, plan.outputs))
    for starts in (plan.before, plan.after):
        for output, start in enumerate(starts):
            sound[start : start + len(one), output] = one
    tone = height * _tone(plan.rate_hz)
    sound[plan.tone : plan.tone + len(tone)] = tone[:, None]
    burst = np.cos(2 * np.pi * BURST_HZ / plan.rate_hz * np.arange(round(BURST_S * plan.rate_hz)))
    sound[plan.burst : plan.burst + len(burst)] = height * burst[:, None]
    return sound


def sweep(rate_hz: int) -> Array:
    """A quiet sweep whose phase grows with the square of time."""
    time_s = np.arange(round(SWEEP_S * rate_hz)) / rate_hz
    low, high = SWEEP_HZ
    phase = 2 * np.pi * (low * time_s + (high - low) * time_s**2 / (2 * SWEEP_S))
    return np.asarray(10 ** (SWEEP_DBFS / 20) * np.sin(phase) * np.sin(np.pi * time_s / SWEEP_S) ** 2)


def _tone(rate_hz: int) -> Array:
    count, ramp = round(TONE_S * rate_hz), round(RAMP_S * rate_hz)
    tone = np.sin(2 * np.pi * TONE_HZ / rate_hz * np.arange(count))
    return np.asarray(tone * faded_ends(count, ramp))
