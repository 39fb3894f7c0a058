"""What a fitted tone leaves over: the residual, and lines in it that are no harmonics."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import fft

from charprobe.cut import Cut
from charprobe.estimators.tone import ToneFit

FALSE_LINES = 1e-3  # chance of naming any line where there is only noise
APART_BINS = 3  # a line this near an order of the tone is a skirt of it, no line of its own
FLOOR_BINS = 40  # half width of the stretch whose median is the floor beside a bin
LOWEST_HZ = 20.0


@dataclass(frozen=True)
class StrayLine:
    """A steady line that is no harmonic: aliasing, hum, a spur. Level over the fundamental, in dBc."""

    frequency_hz: float
    level_dbc: float


def subtract_tone(cut: Cut, tone: ToneFit) -> Cut:
    """Return the cut without the fitted constant, tone and harmonics."""
    seconds = (cut.position() - tone.phase_origin) / cut.rate_hz
    # the turns are reduced before they meet the exponential, so that long tones lose no precision
    carrier = np.exp(2j * np.pi * ((tone.frequency_hz * seconds) % 1.0))
    model = np.full(cut.samples.size, tone.amplitudes[-1])
    for amplitude in tone.amplitudes[-2::-1]:
        model *= carrier
        model += amplitude
    model *= carrier
    return Cut(cut.samples - tone.dc - model.real, cut.start, cut.step, cut.rate_hz)


def stray_lines(cut: Cut, tone: ToneFit) -> tuple[StrayLine, ...]:
    """Find lines that stand out of the residual of a tone, strongest first.

    Parameters
    ----------
    cut : Cut
        The stretch the tone was fitted to.
    tone : ToneFit
        Its fit.

    Notes
    -----
    Hann-windowed periodogram of the residual; a bin is a line when it exceeds the median of its
    neighbourhood by what noise would reach once in 1000 cuts. Bins within three of an order are left out:
    there the skirts of gain movement lie.
    """
    residual = subtract_tone(cut, tone).samples
    n = residual.size
    window = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(n) + 0.5) / n)
    power = np.abs(fft.rfft(window * residual)) ** 2 * (2 / float(window.sum())) ** 2
    bin_hz = cut.rate_hz / cut.step / n
    count = power.size // (2 * FLOOR_BINS)
    if count < 2:
        return ()
    blocks = power[: count * 2 * FLOOR_BINS].reshape(count, -1)
    # the median of exponentially distributed powers is ln 2 of their mean
    middles = (np.arange(count) + 0.5) * 2 * FLOOR_BINS
    floor = np.interp(np.arange(power.size), middles, np.median(blocks, axis=1) / math.log(2))
    threshold = math.log(power.size / FALSE_LINES)
    peaks = power[1:-1] > np.maximum(power[:-2], power[2:])
    index = 1 + np.flatnonzero(peaks & (power[1:-1] > 1.5 * threshold * np.maximum(floor[1:-1], 1e-32)))
    orders = index * bin_hz / tone.frequency_hz
    apart = np.abs(orders - np.round(orders)) * tone.frequency_hz / bin_hz > APART_BINS
    chosen = index[apart & (index * bin_hz > LOWEST_HZ)]
    reference = float(abs(tone.amplitudes[0]))
    lines = [
        StrayLine(float(i * bin_hz), 10 * math.log10(float(power[i])) - 20 * math.log10(reference))
        for i in chosen
    ]
    return tuple(sorted(lines, key=lambda line: -line.level_dbc))
