"""Where nothing is played: the pauses of a stimulus as a capture holds them, and the spectrum they share."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from charprobe.placing.take import Take, once
from charprobe.placing.track import finite
from charprobe.stimulus.kinds.steady import Silence
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.arrays import Array
from charprobe.values.fast_length import fast_length
from charprobe.values.hann import hann_within
from charprobe.values.median import median_over
from charprobe.values.running_median import running_median

LEAST_S = 0.25  # shorter pauses are left to the answer of the device
SKIPPED_S = 0.05  # after a sound, while filters ring out
EDGE_S = 0.005
FRAME_S = 0.2
AROUND_BINS = 61
MOVING_FROM_HZ = 200.0  # below, offsets die away and hum swings


@dataclass(frozen=True)
class QuietSpectrum:
    """Median over time of the power in the pauses of one channel.

    Attributes
    ----------
    power : ndarray, shape (n,)
        Of each bin, scaled so that a steady sine of full scale reaches 1 in its bin.
    bin_hz : float
        Spacing of the bins, in Hz of the capture.
    frames : int
        Frames the median is over.
    moving : float
        Power of the line that stands highest out of all this in a frame, the median of all frames.
    """

    power: Array
    bin_hz: float
    frames: int
    moving: float

    @cached_property
    def around(self) -> Array:
        """The same without lines: median of the bins around each one."""
        return running_median(self.power, width=AROUND_BINS, beyond="symmetric")


def pauses(stimulus: Stimulus) -> list[tuple[float, float]]:
    """Stretches of `LEAST_S` or more in which nothing is played: first and last stimulus sample, in order."""
    rate_hz = stimulus.rate_hz
    sounds = [(span.start, span.stop) for span in (stimulus.opening, stimulus.ident, stimulus.closing)]
    for segment in stimulus.segments:
        if segment.tones:
            sounds += [(tone.start, tone.stop) for tone in segment.tones]
        elif not isinstance(segment.spec, Silence):
            sounds.append((segment.span.start, segment.span.stop))
    found, sounded = [], 0.0
    for start, stop in [*sorted(sounds), (float(stimulus.length), float(stimulus.length))]:
        if start - sounded >= LEAST_S * rate_hz:
            found.append((float(sounded), float(start)))
        sounded = max(sounded, stop)
    return found


def quiet_samples(take: Take) -> list[Array]:
    """What a capture holds in each pause, less its edges; what is no number is 0."""
    after, ahead = (s * take.stimulus.rate_hz for s in (SKIPPED_S, EDGE_S))
    return [finite(take.cut(a + after, b - ahead).samples) for a, b in pauses(take.stimulus)]


@once
def quiet_spectrum(take: Take) -> QuietSpectrum | None:
    """Spectrum that all pauses of a capture share; None where it holds no pause.

    Frames of 0.2 s, half overlapped, Hann window. The median over frames leaves out what sounds in a few of
    them only: tails, bangs, a dropout.
    """
    rate_hz = take.stimulus.rate_hz
    size = fast_length(round(FRAME_S * rate_hz))
    window = hann_within(size)
    frames = []
    for samples in quiet_samples(take):
        if samples.size >= size:
            pieces = np.lib.stride_tricks.sliding_window_view(samples, size)[:: size // 2]
            pieces = pieces - pieces.mean(axis=1, keepdims=True)
            frames.append(np.abs(np.fft.rfft(pieces * window, axis=1)) ** 2)
    if not frames:
        return None
    peak = (2 / float(window.sum())) ** 2  # of a sine of amplitude 1
    power = peak * np.concatenate(frames)
    usual, low = median_over(power, axis=0), round(MOVING_FROM_HZ * size / rate_hz)
    highest = low + np.argmax(power[:, low:] / np.maximum(usual[low:], 1e-30), axis=1)
    moving = float(np.median(power[np.arange(highest.size), highest]))
    return QuietSpectrum(usual, rate_hz / size, power.shape[0], moving)
