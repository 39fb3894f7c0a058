"""What a fitted tone leaves over: lines that are no harmonics, and the noise that plays beside the tone."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from charprobe.estimators.noise import HANN_CORRELATION
from charprobe.estimators.tone import ToneAndRest, ToneFit
from charprobe.values.arrays import Array, Index
from charprobe.values.cut import Cut
from charprobe.values.hann import hann_within
from charprobe.values.median import median_over
from charprobe.values.orders import orders_of
from charprobe.values.quantity import DB_PER_NEPER, Quantity

FALSE_LINES = 1e-3  # chance of naming any line where there is only noise
SIDEBAND_HZ, ALIKE_DB = 120.0, 6.0  # lines so near an order, mirrored by others as strong, are the gain's
APART_BINS = 3  # a line this near an order of the tone is a skirt of it, no line of its own
FLOOR_BINS = 40  # half width of the stretch whose median is the floor beside a bin
LOWEST_HZ, HIGHEST_HZ = 20.0, 20_000.0
HANN_BANDWIDTH = 1.5  # equivalent noise bandwidth of a Hann window, in bins
# the median of exponentially distributed powers is ln 2 of their mean, and a little more where they are few
MEDIAN = math.log(2) + HANN_CORRELATION / (4 * FLOOR_BINS)
MEDIAN_STD = 0.23  # relative standard uncertainty of a floor from the median of one stretch, Hann window


@dataclass(frozen=True)
class StrayLine:
    """A steady line that is no harmonic: aliasing, hum, a spur. Level over the fundamental, in dBc.

    Both with standard uncertainties.
    """

    frequency_hz: float
    level_dbc: float
    frequency_std_hz: float
    level_std_db: float


def subtract_tone(cut: Cut, tone: ToneFit) -> Cut:
    """Return the cut without the fitted constant, tone and harmonics."""
    per_sample = tone.frequency_hz / cut.rate_hz
    carrier = orders_of(
        (cut.start - tone.phase_origin) * per_sample,
        cut.step * per_sample,
        count=cut.samples.size,
        highest=tone.orders,
    )
    model = carrier.wave(np.concatenate([[tone.dc], tone.amplitudes]))
    return Cut(cut.samples - model, cut.start, cut.step, cut.rate_hz)


@dataclass(frozen=True)
class NoiseBeside:
    """What sounds beside a tone and its harmonics: lines, strongest first, and noise, unweighted, in dBFS.

    `noise` is None where the cut is too short to tell it.
    """

    lines: tuple[StrayLine, ...]
    noise: Quantity | None


def beside_tone(cut: Cut, found: ToneAndRest) -> NoiseBeside:
    """Find what sounds beside a tone: lines that are no harmonics of it, and noise.

    Parameters
    ----------
    cut : Cut
        The stretch the tone was fitted to.
    found : ToneAndRest
        Its fit, and what that leaves over.

    Notes
    -----
    Hann-windowed periodogram of the residual, in stretches of 80 bins; the median of a stretch is its
    floor, which lines and the skirts of the tone hardly move. A bin is a line when it exceeds the floor by
    what noise would reach once in 1000 cuts; bins within three of an order are left out: there the skirts of
    gain movement lie. Lines up to 120 Hz off an order on both sides, about as strong, are the sidebands of a
    gain that moves, not lines. The noise is the sum of the floor from 20 Hz to 20 kHz (or 0.47 of the rate).
    """
    tone, residual = found.fit, found.rest
    n = residual.size
    window = hann_within(n)
    power = np.abs(np.fft.rfft(window * residual)) ** 2 * (2 / float(window.sum())) ** 2
    bin_hz = cut.rate_hz / cut.step / n
    count = power.size // (2 * FLOOR_BINS)
    if count < 2:
        return NoiseBeside((), None)
    blocks = power[: count * 2 * FLOOR_BINS].reshape(count, -1)
    middles = (np.arange(count) + 0.5) * 2 * FLOOR_BINS
    floors = median_over(blocks, axis=1) / MEDIAN
    floor = np.interp(np.arange(power.size), middles, floors)
    threshold = math.log(power.size / FALSE_LINES)
    peaks = power[1:-1] > np.maximum(power[:-2], power[2:])
    index = 1 + np.flatnonzero(peaks & (power[1:-1] > 1.5 * threshold * np.maximum(floor[1:-1], 1e-32)))
    orders = index * bin_hz / tone.frequency_hz
    apart = np.abs(orders - np.round(orders)) * tone.frequency_hz / bin_hz > APART_BINS
    chosen = index[apart & (index * bin_hz > LOWEST_HZ)]
    lines = _read(np.sqrt(power), chosen, np.sqrt(floor / 2), tone=tone, bin_hz=bin_hz)
    at_hz = bin_hz * np.arange(power.size)
    lines = [line for line in lines if not _mirrored(line, lines, tone.frequency_hz, 1.5 * bin_hz)]
    heard = (at_hz >= LOWEST_HZ) & (at_hz <= min(HIGHEST_HZ, 0.47 * cut.rate_hz / cut.step))
    return NoiseBeside(tuple(sorted(lines, key=lambda line: -line.level_dbc)), _noise(floor[heard], floors))


def _read(size: Array, at: Index, std: Array, *, tone: ToneFit, bin_hz: float) -> list[StrayLine]:
    """Place and level of a line between the bins `at`, from the bins beside it, as a Hann window spreads it.

    `std` is the standard uncertainty of the noise in each part of a bin. Each neighbour tells the place by
    its share of the middle bin; where the two differ by more than noise lets them, it is no one steady line,
    and half of that is doubt.
    """
    middle, noise = size[at], std[at] / size[at]
    share = np.stack([size[at - 1], size[at + 1]]) / middle
    places = np.array([[-1.0], [1.0]]) * (2 * share - 1) / (1 + share)
    # noise of neighbouring bins of a Hann window is correlated by 2/3, along a line's own phases
    stds = 3 / (1 + share) ** 2 * noise * np.sqrt(1 + share**2 - 4 / 3 * share)
    weights = stds**-2 / np.sum(stds**-2, axis=0)
    off = np.clip(np.sum(weights * places, axis=0), -0.5, 0.5)
    unlike = np.maximum(0.0, (places[1] - places[0]) ** 2 - np.sum(stds**2, axis=0)) / 4
    off_std = np.sqrt(np.sum((weights * stds) ** 2, axis=0) + unlike)
    fall = np.where(np.abs(off) < 1e-6, 0.0, np.pi / np.tan(np.pi * off + 1e-12) - 1 / (off + 1e-12 / np.pi))
    steep = fall + 2 * off / (1 - off**2)
    own = float(tone.stds[0] / abs(tone.amplitudes[0]))
    level_db = DB_PER_NEPER * np.log(middle * (1 - off**2) / np.sinc(off) / abs(tone.amplitudes[0]))
    level_std_db = DB_PER_NEPER * np.sqrt(noise**2 + (steep * off_std) ** 2 + own**2)
    rows = np.stack([(at + off) * bin_hz, level_db, off_std * bin_hz, level_std_db], axis=1)
    return [StrayLine(*row) for row in rows.tolist()]


def _mirrored(line: StrayLine, lines: list[StrayLine], tone_hz: float, within_hz: float) -> bool:
    """Whether another line stands as far on the other side of the nearest order, about as strong."""
    order_hz = tone_hz * max(1, round(line.frequency_hz / tone_hz))
    off_hz = line.frequency_hz - order_hz
    return abs(off_hz) <= SIDEBAND_HZ and any(
        abs(other.frequency_hz - order_hz + off_hz) < within_hz
        and abs(other.level_dbc - line.level_dbc) < ALIKE_DB
        for other in lines
    )


def _noise(floor: Array, floors: Array) -> Quantity | None:
    """Level of the noise, a full-scale sine being 0 dBFS; as uncertain as the floors of the stretches."""
    # a line's power is read at its peak, so a bin of noise counts 1.5 times: the Hann window's bandwidth
    total = float(floor.sum()) / HANN_BANDWIDTH
    if total <= 0:
        return None
    std = MEDIAN_STD * float(np.sqrt(np.sum(floors**2)) / np.sum(floors))
    return Quantity.from_std(10 * math.log10(total), DB_PER_NEPER / 2 * std, "dBFS")
