"""A second copy of the sound behind the first: direct monitoring, or a parallel path."""

from __future__ import annotations

import numpy as np

from charprobe.placing.take import Take
from charprobe.profile.entry import Health
from charprobe.stimulus.kinds.segment import Span
from charprobe.stimulus.marker import Marker, sync_value
from charprobe.values.arrays import Array

WITHHELD = ("static", "attack", "release", "colour", "response", "detector")
LEAD_S, TAIL_S = 0.01, 0.08
FIRST_S, LAST_S = 0.0005, 0.06  # delays of a copy that can be told from a stage's own filters
FLOOR = 10 ** (-45 / 20)  # a weaker copy combs the response by less than 0.05 dB
CLEAR = (
    8.0  # times the median of the response in that range; the largest of 2000 noise values is 3.3 times it
)
LOW_HZ, HIGH_HZ = 500.0, 15_000.0
SAME_S = 1e-4  # by which the delays that both markers show may differ
FINE = 1e-3  # of the strongest line of the marker's spectrum, below which it says nothing


def check_second_path(take: Take) -> list[Health]:
    """Look for a delayed copy of both markers: code ``two-paths``.

    The markers are quiet and stand in silence, so no tone hides a copy and no compressor moves. A filter or
    a saturator of the stage leaves nothing compact half a millisecond behind the sound; a copy that only one
    marker shows is none.
    """
    stimulus = take.stimulus
    markers: tuple[tuple[Marker, Span], ...] = (("opening", stimulus.opening), ("closing", stimulus.closing))
    seen = [_copy(take, marker, span) for marker, span in markers]
    if any(copy is None for copy in seen):
        return []
    (first_s, first), (second_s, second) = (copy for copy in seen if copy is not None)
    if abs(first_s - second_s) > SAME_S:
        return []
    level_db = 20 * np.log10((first + second) / 2)
    message = (
        f"Two copies {1e3 * (first_s + second_s) / 2:.1f} ms apart, the second {-level_db:.0f} dB lower "
        f"({take.label}): direct monitoring or a parallel path. They comb "
        "every level and response. Mute the second path and retake. Noise is kept, everything else withheld"
    )
    return [Health("two-paths", "stop", message, channel=take.channel, withholds=WITHHELD)]


def _copy(take: Take, marker: Marker, span: Span) -> tuple[float, float] | None:
    """Delay in s and amplitude over the first of a copy of one marker; None where there is none."""
    rate_hz = take.stimulus.rate_hz
    cut = take.cut(span.start - LEAD_S * rate_hz, span.stop + TAIL_S * rate_hz)
    if cut.samples.size < 0.9 * (span.length + TAIL_S * rate_hz) or not np.all(np.isfinite(cut.samples)):
        return None
    played = sync_value(marker, cut.position() - span.start, rate_hz=rate_hz)
    answer = _answer(cut.samples, played, rate_hz)
    near, first, last = (round(time_s * rate_hz) for time_s in (0.002, FIRST_S, LAST_S))
    direct = float(max(answer[:near].max(), answer[-near:].max()))
    behind = answer[first:last]
    at = int(np.argmax(behind))
    if direct <= 0 or behind[at] < max(FLOOR * direct, CLEAR * float(np.median(behind))):
        return None
    return (first + at) / rate_hz, float(behind[at]) / direct


def _answer(samples: Array, played: Array, rate_hz: float) -> Array:
    """Envelope of the impulse response in the middle of the band, by division of spectra; delay 0 first."""
    size = 2 * samples.size
    spectrum, reference = np.fft.fft(samples, size), np.fft.fft(played, size)
    frequency = np.fft.fftfreq(size, 1 / rate_hz)
    high = min(HIGH_HZ, 0.4 * rate_hz)
    inside = (frequency > LOW_HZ) & (frequency < high)
    window = np.zeros(size)
    window[inside] = np.sin(np.pi * (frequency[inside] - LOW_HZ) / (high - LOW_HZ)) ** 2
    power = np.abs(reference) ** 2
    response = window * spectrum * reference.conj() / (power + FINE * float(power.max()))
    return np.asarray(np.abs(np.fft.ifft(response)))
