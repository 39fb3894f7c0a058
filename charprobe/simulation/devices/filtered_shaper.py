"""Colour with memory: a curve between two filters, its harmonics still in closed form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from charprobe.simulation.devices.parts.filters import Filter
from charprobe.simulation.devices.shapers import Shaper, harmonics_dbc, harmonics_truth
from charprobe.simulation.devices.stage import REFERENCE_DBFS, REFERENCE_HZ, StageOutput, TrueValue
from charprobe.values.arrays import Array, Complex


@dataclass(frozen=True)
class FilteredShaper:
    """A filter, a memoryless curve and a filter in series.

    A bass lift in front and its opposite behind make a core that saturates in the bass and measures flat when
    driven little. A cosine of frequency f meets the curve with the amplitude and phase the first filter gives
    it, and order n of what the curve makes passes the second one at n f: see `lines`.
    """

    name: str
    summary: str
    front: Filter
    shaper: Shaper
    behind: Filter

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Send one channel through all three; the gain trace is the shaper's make-up."""
        driven = self.front.process(samples, rate_hz=rate_hz, rng=rng).samples
        shaped = self.shaper.process(driven, rate_hz=rate_hz, rng=rng)
        return StageOutput(
            self.behind.process(shaped.samples, rate_hz=rate_hz, rng=rng).samples, shaped.gain_db
        )

    def lines(self, level_dbfs: float, *, frequency_hz: float) -> Complex:
        """Complex amplitudes of orders 0 to 10 for a cosine of phase 0 at the input, in closed form.

        Returns
        -------
        ndarray, shape (11,), complex
            ``abs`` is the amplitude and ``angle`` the phase of ``cos(n w t + angle)``; order 0 is the offset.
        """
        front = self.front.response(np.array([frequency_hz]))[0]
        made = self.shaper.lines(level_dbfs + 20 * float(np.log10(abs(front))))
        order = np.arange(made.size, dtype=np.float64)
        turned = np.exp(1j * order * np.angle(front))
        return np.asarray(made * turned * self.behind.response(order * frequency_hz))

    def harmonics_dbc(self, level_dbfs: float, *, frequency_hz: float) -> Array:
        """Levels of orders 2 to 10 relative to the fundamental; see `shapers.harmonics_dbc`."""
        return harmonics_dbc(self.lines(level_dbfs, frequency_hz=frequency_hz))

    def static_gain_db(self, level_dbfs: Array, *, frequency_hz: float = REFERENCE_HZ) -> Array:
        """Gain of the fundamental, in closed form; see `Stage`."""
        gains = [
            20 * np.log10(abs(self.lines(float(level), frequency_hz=frequency_hz)[1])) - float(level)
            for level in np.ravel(level_dbfs)
        ]
        return np.array(gains).reshape(np.shape(level_dbfs))

    @property
    def truth(self) -> Mapping[str, TrueValue]:
        """Harmonics at the reference drive and frequency above -140 dBc; see `Stage`."""
        note = f"at {REFERENCE_DBFS:g} dBFS and {REFERENCE_HZ:g} Hz"
        harmonics = self.harmonics_dbc(REFERENCE_DBFS, frequency_hz=REFERENCE_HZ)
        known = {"path.latency": TrueValue(0.0, "s"), **harmonics_truth(harmonics, note=note)}
        total = float(10 * np.log10(np.sum(10 ** (harmonics / 10))))
        known["colour.thd_at_reference"] = TrueValue(total, "dBc", note=note)
        return known
