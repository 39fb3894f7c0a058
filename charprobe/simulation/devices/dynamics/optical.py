"""A leveller of foreign physics: a lamp, a light-dependent cell and a divider, around its own output."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from charprobe.simulation.devices.parts.settled import settled_gain_db
from charprobe.simulation.devices.stage import REFERENCE_HZ, StageOutput, TrueValue, gain_truth
from charprobe.values.arrays import Array
from charprobe.values.compiled import compiled


@dataclass(frozen=True)
class OpticalLeveller:
    """Feedback leveller with no threshold, ratio or release parameter of its own.

    The rectified output drives a lamp; its light L follows the power with `lamp_s`. The cell's free carriers
    c are made by light and vanish by recombination, slowly when few; traps t fill while it is lit and feed
    carriers back in the dark, which is its memory:

        dc/dt = sensitivity L - c (c + leak) / cell_s + depth (t / detrap_s - c (1 - t) / trap_s)
        dt/dt = c (1 - t) / trap_s - t / detrap_s

    The conductance shunts a series resistor: gain = 1 / (1 + c). Integrated implicitly (backward Euler) in c.

    Attributes
    ----------
    lamp_s, cell_s, trap_s, detrap_s : float > 0
        Time constants of lamp, recombination at unit density, trapping and release from traps.
    sensitivity : float > 0
        Carriers made per second by a full-scale sine's power.
    leak : float > 0
        Recombination that remains at low density.
    depth : float >= 0
        Carriers all traps together can hold.
    lamp_bias : float >= 0
        Amplitude the rectified output must exceed to light the lamp.
    makeup_db : float
        Gain behind the divider.
    """

    name: str
    summary: str
    lamp_s: float = 0.004
    cell_s: float = 0.08
    trap_s: float = 1.5
    detrap_s: float = 0.8
    sensitivity: float = 6000.0
    leak: float = 0.05
    depth: float = 30.0
    lamp_bias: float = 0.02
    makeup_db: float = 6.0

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Send one channel through the stage, from the dark; see `Stage`."""
        gain = self._gain(samples, rate_hz) * 10 ** (self.makeup_db / 20)
        return StageOutput(samples * gain, 20 * np.log10(gain))

    def _gain(self, samples: Array, rate_hz: float) -> Array:
        return _divider_gain(
            samples, 1 / rate_hz, _Physics(*(getattr(self, key) for key in _Physics._fields))
        )

    def static_gain_db(self, level_dbfs: Array, *, frequency_hz: float = REFERENCE_HZ) -> Array:
        """Settled gain: the device run until it rests, as its equations have no closed solution."""
        return self.makeup_db + settled_gain_db(
            lambda tone, rate_hz: tone * self._gain(tone, rate_hz),
            level_dbfs,
            frequency_hz=frequency_hz,
            settle_s=8 * self.detrap_s,
        )

    @property
    def truth(self) -> Mapping[str, TrueValue]:
        """Only what the equations say outright; see `Stage`."""
        return gain_truth(self.makeup_db)


class _Physics(NamedTuple):
    """What the loop needs of `OpticalLeveller`, in a form that compiled code takes."""

    lamp_s: float
    cell_s: float
    trap_s: float
    detrap_s: float
    sensitivity: float
    leak: float
    depth: float
    lamp_bias: float


@compiled
def _divider_gain(samples: Array, dt: float, physics: _Physics) -> Array:
    lamp_s, cell_s, trap_s, detrap_s, sensitivity, leak, depth, lamp_bias = physics
    out = np.empty_like(samples)
    light = carriers = traps = 0.0
    pole = np.exp(-dt / lamp_s)
    for n in range(samples.size):
        gain = 1 / (1 + carriers)
        drive = max(0.0, abs(samples[n]) * gain - lamp_bias)
        light = pole * light + (1 - pole) * 2 * drive * drive
        free = 1 - traps
        # root of dt/cell c^2 + (1 + dt leak/cell + dt depth free/trap) c = c' + dt (sensitivity L + depth
        # t/detrap)
        quadratic = dt / cell_s
        linear = 1 + dt * leak / cell_s + dt * depth * free / trap_s
        constant = carriers + dt * (sensitivity * light + depth * traps / detrap_s)
        carriers = 2 * constant / (linear + np.sqrt(linear * linear + 4 * quadratic * constant))
        traps += dt * (carriers * free / trap_s - traps / detrap_s)
        out[n] = 1 / (1 + carriers)
    return out
