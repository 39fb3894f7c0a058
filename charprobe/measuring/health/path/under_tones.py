"""What lies under steady tones: the noise between their harmonics and beside them, as a capture holds it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from charprobe.measuring.health.file.sample_facts import gather_sample_facts
from charprobe.measuring.health.pauses.quiet import QuietSpectrum
from charprobe.placing.take import Take, once
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array, Complex, Index
from charprobe.values.cut import Cut
from charprobe.values.median import median_over
from charprobe.values.phasor import phasor

SETTLED_FROM, BEFORE_END_S, LEAST_S = 0.4, 0.01, 0.05
SOUND_FROM_HZ = 150.0  # hum lies below
LOWEST_HZ = 300.0  # the harmonics of lower tones leave no room between them
KAISER, LINE_BINS = 20.0, 8  # side lobes 150 dB down, at the cost of so many bins on each side of a line
BANDS_HZ = ((4000.0, 8000.0), (8000.0, 14_000.0), (14_000.0, 19_000.0))
MEDIAN_OF_POWER = math.log(2)  # median of an exponential distribution over its mean
HANN_NOISE_BINS = 1.5
BESIDE_BINS = 7  # on each side of a line and its window, where coders spread the errors of a tone
FOLDS_SHARE = 0.3  # of the rate: what folds back is weaker than harmonics from there on


@dataclass(frozen=True)
class UnderTone:
    """What lies under one steady tone.

    Attributes
    ----------
    tone : Tone
        As played.
    gain_db : float
        Of the path and the stage at this tone.
    density_db : ndarray, shape (3,)
        Noise in `BANDS_HZ` between the tone's harmonics, in dBFS per Hz.
    near_db : float
        Noise close to the tone itself, on both sides, in dBFS per Hz.
    beside_dbfs : float
        Level of all that is no harmonic, from `SOUND_FROM_HZ` on.
    harmonics_dbfs, folding_dbfs : float
        Level of all harmonics, and of those in the topmost band: what folds back is no louder.
    power : ndarray, shape (n,)
        Spectrum, in dBFS per Hz as a power ratio.
    bin_hz : float
        Spacing of its bins.
    """

    tone: Tone
    gain_db: float
    density_db: Array
    near_db: float
    beside_dbfs: float
    harmonics_dbfs: float
    folding_dbfs: float
    power: Array
    bin_hz: float


@once
def under_tones(take: Take) -> list[UnderTone]:
    """Read the noise under every steady tone of a capture that is long and high enough for it."""
    return [
        found
        for tone in take.single_tones()
        if tone.frequency_hz > LOWEST_HZ and (found := _under(take, tone)) is not None
    ]


def _under(take: Take, tone: Tone) -> UnderTone | None:
    rate_hz = take.stimulus.rate_hz
    cut = take.cut(tone.start + SETTLED_FROM * tone.length, tone.stop - BEFORE_END_S * rate_hz)
    count = cut.samples.size
    if count < LEAST_S * rate_hz or not np.all(np.isfinite(cut.samples)):
        return None
    window = line_window(count)
    power = np.abs(np.fft.rfft(cut.samples * window)) ** 2 * (4 / rate_hz)
    bin_hz = rate_hz / cut.step / count
    bins = _bins(power.size, bin_hz, tone.frequency_hz, rate_hz)
    # a line of amplitude 1 has the sum 1 over its bins, each bin_hz wide
    middle = round(tone.frequency_hz / bin_hz)
    level = 10 * math.log10(
        max(float(power[middle - LINE_BINS : middle + LINE_BINS + 1].sum()) * bin_hz, 1e-30)
    )
    if not all(inside.size for inside in bins.bands):
        return None
    density = [
        10 * math.log10(float(median_over(power[inside], axis=0)) / MEDIAN_OF_POWER + 1e-30)
        for inside in bins.bands
    ]
    beside, harmonics, folds = (
        10 * math.log10(float(power[inside].sum()) * bin_hz + 1e-30)
        for inside in (bins.beside, bins.harmonics, bins.folding)
    )
    near = 10 * math.log10(float(np.median(_ring(power, middle))) / MEDIAN_OF_POWER + 1e-30)
    return UnderTone(
        tone, level - tone.level_dbfs, np.array(density), near, beside, harmonics, folds, power, bin_hz
    )


@dataclass(frozen=True)
class _Bins:
    """Bins between harmonics, in each of `BANDS_HZ` and above hum; those of harmonics, and of high ones."""

    bands: tuple[Index, ...]
    beside: Index
    harmonics: Index
    folding: Index


@lru_cache(maxsize=16)  # tones of a run share frequency and length
def _bins(count: int, bin_hz: float, tone_hz: float, rate_hz: float) -> _Bins:
    frequency = np.arange(count) * bin_hz
    orders = np.round(frequency / tone_hz)
    between = np.abs(frequency - orders * tone_hz) > LINE_BINS * bin_hz
    bands = (
        between & (frequency > low_hz) & (frequency < min(high_hz, 0.43 * rate_hz))
        for low_hz, high_hz in BANDS_HZ
    )
    high = ~between & (orders > 1)
    chosen = (between & (frequency > SOUND_FROM_HZ), high, high & (frequency > FOLDS_SHARE * rate_hz))
    return _Bins(tuple(map(np.flatnonzero, bands)), *map(np.flatnonzero, chosen))


def _ring(power: Array, middle: int) -> Array:
    """Bins on both sides of a line, beyond those its window spreads it over."""
    first, last = LINE_BINS + 1, LINE_BINS + 1 + BESIDE_BINS
    return np.concatenate(
        [power[max(0, middle - last) : middle - first], power[middle + first : middle + last]]
    )


@lru_cache(maxsize=16)
def line_window(count: int) -> Array:
    """Window of power 1 that spreads a line over `LINE_BINS` on each side; not to be changed."""
    window = np.kaiser(count, KAISER)
    return np.asarray(window / np.sqrt(float(window @ window)))


def turned_still(cut: Cut, tone: Tone, window: Array, *, rate_hz: int) -> Complex:
    """A tone against its own carrier, its mean in `window` real: gain moves the real part, phase not."""
    per_sample = tone.frequency_hz / rate_hz
    turns = phasor(per_sample * (cut.start - tone.start), per_sample * cut.step, cut.samples.size)
    turned: Complex = cut.samples * turns.conj()
    return np.asarray(turned * np.exp(-1j * np.angle(turned @ window)))


def moves(take: Take, tone: Tone) -> tuple[Array, Array, float]:
    """Spectra of what moves a tone's gain and of what moves its phase, as power, and their bins' width in Hz.

    A stage moves one of the two, ripple in its supply included, and so does a clock; what is added to the
    tone moves both alike.
    """
    rate_hz = take.stimulus.rate_hz
    cut = take.cut(tone.start + SETTLED_FROM * tone.length, tone.stop - BEFORE_END_S * rate_hz)
    window = line_window(cut.samples.size)
    turned = turned_still(cut, tone, window, rate_hz=rate_hz)
    gain, phase = (np.abs(np.fft.rfft(part * window)) ** 2 for part in (turned.real, turned.imag))
    return gain, phase, rate_hz / cut.step / cut.samples.size


def pause_db(spectrum: QuietSpectrum) -> Array:
    """Density of noise in the pauses by `BANDS_HZ`, in dBFS per Hz."""
    frequency = np.arange(spectrum.power.size) * spectrum.bin_hz
    bands = [spectrum.power[(frequency > low_hz) & (frequency < high_hz)] for low_hz, high_hz in BANDS_HZ]
    per_hz = HANN_NOISE_BINS * spectrum.bin_hz * MEDIAN_OF_POWER
    return np.array([10 * math.log10(float(np.median(band)) / per_hz + 1e-30) for band in bands])


def bits_of(take: Take) -> int:
    """Bits that a capture uses; 24 where they cannot be counted."""
    return take.source.once(gather_sample_facts)[take.channel].bits_used or 24


def rounding_db(bits: float, rate_hz: float) -> float:
    """Density of the noise of rounding to so many bits, in dBFS per Hz."""
    return -6.0206 * bits - 1.7609 - 10 * math.log10(rate_hz / 2)
