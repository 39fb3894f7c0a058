"""What a take's first sweep says of its path at every frequency, free of noise and of what is bent."""

from __future__ import annotations

import numpy as np

from charprobe.placing.take import Take, held, once
from charprobe.placing.track import finite
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.values.arrays import Complex
from charprobe.values.fast_length import fast_length
from charprobe.values.hann import hann

FINE, FINEST_HZ, REACH_S = 1e-6, 2.5, 0.05  # share of the strongest line; steps; of what is answered


@once
def swept_answer(take: Take) -> tuple[Complex, float] | None:
    """Response by frequency against the stimulus, and the step in Hz; None where the take holds no sweep.

    Only what answers within `REACH_S` counts: noise, and what a stage bends, come at other times.
    """
    if not (segments := held(take, Sweep)):
        return None
    rate_hz, cut = take.stimulus.rate_hz, take.segment(segments[0])
    size = fast_length(cut.samples.size)
    played = np.fft.rfft(segments[0].spec.at((cut.position() - segments[0].span.start) / rate_hz), size)
    power = np.abs(played) ** 2
    response = np.fft.rfft(finite(cut.samples), size) * played.conj() / (power + FINE * power.max())
    answer = np.roll(np.fft.irfft(response, size), reach := round(REACH_S * rate_hz))[: 2 * reach]
    size = fast_length(round(rate_hz / FINEST_HZ))
    return np.fft.rfft(answer * hann(2 * reach), size), rate_hz / size
