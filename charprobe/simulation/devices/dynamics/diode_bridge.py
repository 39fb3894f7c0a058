"""A leveller of foreign physics: diodes as a variable resistor, steered by a charged capacitor."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from charprobe.simulation.devices.parts.settled import settled_gain_db
from charprobe.simulation.devices.stage import REFERENCE_HZ, StageOutput, TrueValue, gain_truth
from charprobe.values.arrays import Array
from charprobe.values.compiled import compiled


@dataclass(frozen=True)
class DiodeBridge:
    """Feedback leveller whose gain element is a diode bridge, so that its colour grows with its reduction.

    The padded input u meets a series resistor and a bridge with bias current rho; its voltage v solves

        v + rho tanh(v) = u

    by Newton's method at each sample, which leaves gain 1/(1 + rho) for small signals and odd harmonics for
    large ones. The rectified output charges a capacitor through a diode (`attack_s`), which empties through a
    resistor (`release_s`), both at once while it charges, so that fast release keeps it from filling; the
    bias is ``steepness * (voltage - threshold)**1.5``.

    Attributes
    ----------
    pad_db : float
        Attenuation in front of the bridge, taken back behind it.
    attack_s, release_s : float > 0
        Time constants of charging and emptying.
    threshold : float >= 0
        Capacitor voltage at which the bridge begins to conduct, output full scale = 1.
    steepness : float > 0
        Bias per volt to the power of 1.5.
    makeup_db : float
        Gain behind all else, outside the loop.
    """

    name: str
    summary: str
    pad_db: float = 20.0
    attack_s: float = 0.002
    release_s: float = 0.3
    threshold: float = 0.06
    steepness: float = 60.0
    makeup_db: float = 8.0

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Send one channel through the stage, from rest; the gain trace is that for small signals."""
        return self._run(samples, rate_hz)

    def _run(self, samples: Array, rate_hz: float) -> StageOutput:
        pad = 10 ** (-self.pad_db / 20)
        out, bias = _bridge(
            samples,
            pad,
            1 / (self.attack_s * rate_hz),
            1 / (self.release_s * rate_hz),
            self.threshold,
            self.steepness,
        )
        return StageOutput(out * 10 ** (self.makeup_db / 20), self.makeup_db - 20 * np.log10(1 + bias))

    def static_gain_db(self, level_dbfs: Array, *, frequency_hz: float = REFERENCE_HZ) -> Array:
        """Settled gain of the fundamental: the device run until it rests; see `Stage`."""
        return settled_gain_db(
            lambda tone, rate_hz: self._run(tone, rate_hz).samples,
            level_dbfs,
            frequency_hz=frequency_hz,
            settle_s=20 * self.attack_s + 3 * self.release_s,
        )

    @property
    def truth(self) -> Mapping[str, TrueValue]:
        """Only what the equations say outright; see `Stage`."""
        return gain_truth(self.makeup_db)


@compiled
def _bridge(
    samples: Array, pad: float, charge: float, empty: float, threshold: float, steepness: float
) -> tuple[Array, Array]:
    out, bias = np.empty_like(samples), np.empty_like(samples)
    voltage = rho = 0.0
    for n in range(samples.size):
        u = pad * samples[n]
        v = u / (1 + rho)
        for _ in range(30):
            bent = np.tanh(v)
            step = (v + rho * bent - u) / (1 + rho * (1 - bent * bent))
            v -= step
            if abs(step) <= 1e-12 * abs(v):
                break
        out[n], bias[n] = v / pad, rho
        # backward Euler of charging through the diode and emptying through the resistor
        source = abs(out[n])
        through = charge if source > voltage else 0.0
        voltage = (voltage + through * source) / (1 + through + empty)
        over = max(0.0, voltage - threshold)
        rho = steepness * over * np.sqrt(over)
    return out, bias
