"""A piece of one capture channel that knows the stimulus clock at each of its samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.values.arrays import Array


@dataclass(frozen=True)
class Cut:
    """Samples of one channel as recorded, never resampled, placed on the stimulus clock.

    Attributes
    ----------
    samples : ndarray, shape (n,)
        One channel, full scale = 1, polarity as recorded.
    start : float
        Stimulus position, in stimulus samples from its first sample, of ``samples[0]``; fractional.
    step : float
        Stimulus samples per capture sample: 1 on one clock, ``1 - 1e-6 * ppm`` to first order otherwise.
    rate_hz : float
        Sampling rate of the stimulus: ``position / rate_hz`` is stimulus time in seconds.
    """

    samples: Array
    start: float
    step: float
    rate_hz: float

    def position(self) -> Array:
        """Stimulus position of each sample, in stimulus samples; shape (n,)."""
        return self.start + self.step * np.arange(self.samples.size, dtype=np.float64)

    def between(self, start: float, stop: float) -> Cut:
        """Return the samples whose stimulus position lies in ``[start, stop)``; empty if there are none."""
        first = max(0, int(np.ceil((start - self.start) / self.step)))
        last = max(first, min(self.samples.size, int(np.ceil((stop - self.start) / self.step))))
        return Cut(self.samples[first:last], self.start + self.step * first, self.step, self.rate_hz)
