"""Noise in a band: unweighted and weighted levels from one spectrum, mains lines told apart."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from charprobe.values.arrays import Array, Flags
from charprobe.values.chi_square import chi_square_95
from charprobe.values.cut import Cut
from charprobe.values.errors import SegmentTooShortError
from charprobe.values.fast_length import fast_length
from charprobe.values.hann import hann_within
from charprobe.values.quantity import DB_PER_NEPER, Quantity

FROM_HZ, TO_HZ = 20.0, 20_000.0
MIN_LENGTH_S = 0.15
MAINS_HZ = (50.0, 60.0)
MAINS_OFF = 0.004  # mains frequency strays by less than this share of itself
MAINS_ORDERS, LOW_ORDERS = 20, 6
BELOW_DB = 30.0  # a line that outdoes the low orders of its family by more is none of them
LEAST_MAINS_DBFS = -130.0  # lines below are rounding of a digital path, or far below any converter's noise
MUTED_RUN = 64  # equal samples; of the dither of a converter's last step, chance has so many once in 10**12
PARTS, UNSTEADY = (
    4,
    21.1,
)  # of a stretch; and chi-squared of their levels that steady noise exceeds once in 10**4
HANN_PARTS = (0.0378, 0.4622, 0.4622, 0.0378)  # of the power of a stretch that its window heeds
LINE_BINS = 2.0  # half width of a line in a Hann-windowed spectrum
FALSE_LINES = 3e-5  # chance of naming a line where there is only noise; 40 places are looked at
HANN_CORRELATION = 35 / 18  # sum of squared correlations between neighbouring bins of a Hann window


def a_weighting(frequency_hz: Array) -> Array:
    """Amplitude weight of the A curve (IEC 61672-1), 1 at 1 kHz; frequencies in Hz, 0 allowed.

    Examples
    --------
    >>> [round(float(x), 1) for x in 20 * np.log10(a_weighting(np.array([100.0, 1000.0, 10_000.0])))]
    [-19.1, 0.0, -2.5]
    """
    f2 = frequency_hz**2
    f1, f3, f4, f5 = (x**2 for x in (20.598997, 107.65265, 737.86223, 12194.217))
    shape = f5 * f2**2 / ((f2 + f1) * np.sqrt((f2 + f3) * (f2 + f4)) * (f2 + f5))
    return np.asarray(shape * 10 ** (1.99968 / 20))


def ccir_rms_weighting(frequency_hz: Array) -> Array:
    """Amplitude weight of the BS.468-4 curve shifted by -5.63 dB, so 1 at 2 kHz; used with an RMS detector.

    Notes
    -----
    The curve is the rational form in circulation for the network that ITU-R BS.468-4 defines (+18.2 dB
    normaliser, 0 dB at 1 kHz). It was taken from secondary sources and agrees with the tabulated responses to
    0.1 dB; it has not been read against the Recommendation itself.

    Examples
    --------
    >>> [round(float(x), 1) for x in 20 * np.log10(ccir_rms_weighting(np.array([1000.0, 2000.0, 6300.0])))]
    [-5.7, -0.0, 6.5]
    """
    f = frequency_hz
    even = -4.737338981378384e-24 * f**6 + 2.043828333606125e-15 * f**4 - 1.363894795463638e-7 * f**2 + 1
    odd = 1.306612257412824e-19 * f**5 - 2.118150887518656e-11 * f**3 + 5.559488023498642e-4 * f
    shape = 1.246332637532143e-4 * f / np.hypot(even, odd)
    return np.asarray(shape * 10 ** ((18.2 - 5.63) / 20))


@dataclass(frozen=True)
class Line:
    """A steady tone in noise: its frequency and level (full-scale sine = 0 dBFS)."""

    frequency_hz: float
    level_dbfs: float


@dataclass(frozen=True)
class Noise:
    """Noise of one stretch, 20 Hz to 20 kHz (or 0.47 of the rate), mains lines left out.

    Attributes
    ----------
    band_hz, band_power : ndarray, shape (n,)
        Frequency and power of each bin; a sine of full scale sums to 1.
    part_hz, part_power : ndarray, shape (m,) and (`PARTS`, m)
        The same of equal parts of the stretch, with the mains lines in them.
    mains : tuple of Line
        Lines of the 50 Hz or 60 Hz family that stand out of the noise; empty if none does.
    spectrum_hz, spectrum_dbfs_per_hz, spectrum_std_db : ndarray, shape (n,)
        Noise density by third octaves, in dBFS per Hz of bandwidth, mains lines left out, and its standard
        uncertainty.
    muted : bool
        Whether the stretch holds runs of exact digital zeros such as an idle mute leaves.
    """

    band_hz: Array
    band_power: Array
    part_hz: Array
    part_power: Array
    mains: tuple[Line, ...]
    spectrum_hz: Array
    spectrum_dbfs_per_hz: Array
    spectrum_std_db: Array
    muted: bool

    @cached_property
    def unweighted(self) -> Quantity:
        """Level in dBFS, a full-scale sine being 0."""
        return _level(self.band_power, self.part_power)

    @cached_property
    def a_weighted(self) -> Quantity:
        """Level through the A curve, in dBFS."""
        return self._weighted(a_weighting)

    @cached_property
    def ccir_rms(self) -> Quantity:
        """Level through the BS.468-4 curve shifted by -5.63 dB, in dBFS."""
        return self._weighted(ccir_rms_weighting)

    def _weighted(self, curve: Callable[[Array], Array]) -> Quantity:
        return _level(self.band_power * curve(self.band_hz) ** 2, self.part_power * curve(self.part_hz) ** 2)

    @property
    def mains_dbfs(self) -> float | None:
        """Power sum of the mains lines in dBFS, None if there is none."""
        power = sum(10 ** (line.level_dbfs / 10) for line in self.mains)
        return 10 * math.log10(power) if power else None


def is_muted(samples: Array) -> bool:
    """Tell whether more than half of the samples lie in long runs of one value: a mute, whatever its offset.

    The dither of a 16-bit converter repeats a value more often than not, but never for long.
    """
    moves = np.flatnonzero(np.diff(samples))
    runs = np.diff(np.concatenate([[-1], moves, [samples.size - 1]]))
    still = int(runs[runs >= MUTED_RUN].sum())
    return still > samples.size / 2


def measure_noise(cut: Cut) -> Noise:
    """Measure the noise of a stretch that holds nothing else (fit any tone out first).

    Parameters
    ----------
    cut : Cut
        At least 0.15 s of noise, full scale = 1.

    Raises
    ------
    SegmentTooShortError
        If the cut is shorter.
    ValueError
        If every sample is the same (then there is no noise to measure: see `is_muted`).

    Notes
    -----
    One Hann-windowed periodogram covers the stretch; each level is the weighted sum of its bins between
    20 Hz and 20 kHz, with the curves' analogue magnitudes. In Gaussian noise such a sum has a chi-squared
    distribution with ``2 (sum w P)**2 / (35/18 sum (w P)**2 / 2)`` effective degrees of freedom (35/18 for
    the correlation between bins; ``P**2`` averages twice its mean squared); the interval is its 95 % range.
    A stray line raises ``sum P**2`` and so widens the interval. Where the levels of four parts differ by
    more than such noise lets them, the interval reaches over all of them. Bins of mains lines are left out
    and the gap is filled with the mean of their neighbours.
    """
    duration_s = cut.samples.size * cut.step / cut.rate_hz
    if duration_s < MIN_LENGTH_S:
        raise SegmentTooShortError(found_s=duration_s, needed_s=MIN_LENGTH_S)
    if np.ptp(cut.samples) == 0:
        raise ValueError("every sample is the same: no noise to measure")
    power, bin_hz = _periodogram(cut)
    frequency = np.arange(power.size, dtype=np.float64) * bin_hz
    lines, covered = _mains_lines(power, bin_hz)
    power = _filled(power, covered)
    band = _band(frequency, cut.rate_hz)
    inside, at = power[band], frequency[band]
    part_hz, part_power = _parts(cut)
    return Noise(
        at,
        inside,
        part_hz,
        part_power,
        lines,
        *_third_octaves(inside, at, bin_hz),
        is_muted(cut.samples),
    )


def _band(frequency: Array, rate_hz: float) -> Flags:
    return np.asarray((frequency >= FROM_HZ) & (frequency <= min(TO_HZ, 0.47 * rate_hz)))


def _parts(cut: Cut) -> tuple[Array, Array]:
    """Frequency and power of the bins of equal parts of a cut."""
    size = cut.samples.size // PARTS
    found = [_periodogram(replace(cut, samples=cut.samples[at * size :][:size])) for at in range(PARTS)]
    frequency = np.arange(found[0][0].size, dtype=np.float64) * found[0][1]
    band = _band(frequency, cut.rate_hz)
    return frequency[band], np.stack([power[band] for power, _ in found])


def _periodogram(cut: Cut) -> tuple[Array, float]:
    """Power of each bin, so that a sine of full scale sums to 1 (0 dBFS), and the bin spacing in Hz."""
    n = cut.samples.size
    window, size = hann_within(n), fast_length(n)
    spectrum = np.fft.rfft(window * (cut.samples - cut.samples.mean()), size)
    # twice for the negative frequencies and twice because a sine of full scale has power 1/2
    power = 4 * np.abs(spectrum) ** 2 / (size * float(window @ window))
    return np.asarray(power), cut.rate_hz / cut.step / size


def _level(weighted: Array, parts: Array) -> Quantity:
    total = float(weighted.sum())
    freedom = _freedom(weighted)
    high, low = (10 * math.log10(total * freedom / quantile) for quantile in chi_square_95(freedom))
    value = 10 * math.log10(total)
    power = parts.sum(axis=1)
    if power.all():
        off_db = 10 * np.log10(power / (np.array(HANN_PARTS) @ power))
        var = np.array([2 * (DB_PER_NEPER / 2) ** 2 / _freedom(part) for part in parts])
        if np.sum((off_db - np.average(off_db, weights=1 / var)) ** 2 / var) > UNSTEADY:
            low, high = min(low, value + float(off_db.min())), max(high, value + float(off_db.max()))
    return Quantity(value, min(low, value), max(high, value), "dBFS")


def _freedom(weighted: Array) -> float:
    """Effective degrees of freedom of a sum of bins."""
    return 2 * float(weighted.sum()) ** 2 / (HANN_CORRELATION * float(weighted @ weighted) / 2)


def _mains_lines(power: Array, bin_hz: float) -> tuple[tuple[Line, ...], Array]:
    """Find the stronger mains family; return its lines and the mask of the bins they cover."""
    best: tuple[float, tuple[Line, ...], Array] = (0.0, (), np.zeros(power.size, dtype=bool))
    for mains_hz in MAINS_HZ:
        covered = np.zeros(power.size, dtype=bool)
        near = {n: _line_near(power, n * mains_hz, bin_hz) for n in range(1, MAINS_ORDERS + 1)}
        found = {order: line for order, line in near.items() if line is not None}
        most_dbfs = family_limit_dbfs((n, line) for n, (line, _) in found.items())
        lines = []
        for line, bins in found.values():
            if line.level_dbfs <= most_dbfs:
                lines.append(line)
                covered[bins] = True
        strength = sum(10 ** (line.level_dbfs / 10) for line in lines)
        if strength > best[0]:
            best = (strength, tuple(lines), covered)
    return best[1], best[2]


def family_limit_dbfs(lines: Iterable[tuple[int, Line]]) -> float:
    """Level above which a line is none of a mains family, from its lines, each with its order."""
    low = (line.level_dbfs for order, line in lines if order <= LOW_ORDERS)
    return max(low, default=-math.inf) + BELOW_DB


def _line_near(power: Array, centre_hz: float, bin_hz: float) -> tuple[Line, slice] | None:
    """Return a line within the mains tolerance of `centre_hz`, if one stands out of the noise beside it."""
    reach = max(1, math.ceil(MAINS_OFF * centre_hz / bin_hz))
    middle = round(centre_hz / bin_hz)
    width = math.ceil(LINE_BINS) + 1
    first, last = middle - reach, middle + reach + 1
    beside = max(8, 2 * width)
    low, high = first - width - beside, last + width + beside
    if low < 1 or high > power.size:
        return None
    peak = first + int(np.argmax(power[first:last]))
    around = np.concatenate([power[low : low + beside], power[high - beside : high]])
    floor = float(np.mean(around))
    tries = last - first
    # one bin of noise exceeds x times its mean with probability exp(-x); the floor itself is uncertain
    count = around.size / HANN_CORRELATION
    threshold = count * ((FALSE_LINES / tries) ** (-1 / count) - 1)
    if power[peak] <= threshold * floor:
        return None
    covered = slice(peak - width, peak + width + 1)
    line = float(power[covered].sum()) - floor * (2 * width + 1)
    offset = hann_offset(power[peak - 1 : peak + 2])
    return Line((peak + offset) * bin_hz, 10 * math.log10(max(line, floor))), covered


def hann_offset(three: Array) -> float:
    """Offset in bins of a Hann-windowed line from the middle of three bins around its peak."""
    left, middle, right = np.sqrt(three)
    side, sign = (right, 1.0) if right > left else (left, -1.0)
    ratio = side / middle
    return float(sign * np.clip((2 * ratio - 1) / (1 + ratio), 0.0, 0.5))


def _filled(power: Array, covered: Array) -> Array:
    """Put the neighbours' mean where lines were taken out."""
    out = power.copy()
    edges = np.flatnonzero(np.diff(covered.astype(int)))
    for first, last in zip(edges[::2] + 1, edges[1::2] + 1, strict=True):
        around = np.concatenate([power[max(1, first - 8) : first], power[last : last + 8]])
        lines = np.concatenate([covered[max(1, first - 8) : first], covered[last : last + 8]])
        clean = around[np.logical_not(lines)]
        out[first:last] = clean.mean() if clean.size else 0.0
    return out


def _third_octaves(power: Array, frequency: Array, bin_hz: float) -> tuple[Array, Array, Array]:
    """Middles, densities and standard uncertainties in dB."""
    centres = 1000 * 2.0 ** (np.arange(-17, 14) / 3)
    centres = centres[(centres >= 1.12 * frequency[0]) & (centres <= frequency[-1] / 1.12)]
    edge = 2.0 ** (1 / 6)
    bands = [power[(frequency >= c / edge) & (frequency < c * edge)] for c in centres]
    means = np.array([band.mean() for band in bands])
    # a few bins may look more even than they are, and none can be more so than equal ones
    most = [2 * band.size / HANN_CORRELATION for band in bands]
    freedom = np.array([min(_freedom(b), m) if b.any() else m for b, m in zip(bands, most, strict=True)])
    std_db = DB_PER_NEPER / 2 * np.sqrt(2 / freedom)
    return centres, 10 * np.log10(np.maximum(means / bin_hz, 1e-40)), std_db
