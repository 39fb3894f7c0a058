"""Proof of a replica: measured against predicted on sound that no fit has heard."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.placing.take import held
from charprobe.replica.chain import play_take
from charprobe.replica.fitting.heard import weigh
from charprobe.replica.fitting.pair import Noise, Pair, Sides
from charprobe.replica.fitting.quiet_bypass import read_quiet
from charprobe.replica.model import BandProof, Proof
from charprobe.replica.parts import Chain
from charprobe.stimulus.kinds.programme import Programme
from charprobe.values.arrays import Array
from charprobe.values.quantity import Z95

WINDOW_S = 0.01  # over which a gain is read
CLEAR_DB = 40.0  # of dry sound over the noise, for a gain to be read
WARM_S = 1.0, 30.0  # of what comes before the programme, at least and at most; else nine release times
LOWEST_HZ = 31.25
MOMENT_S = 0.25
LOUD = 0.01  # of the mean energy: moments with sound
SURELY = 2.0  # times the energy that noise leaves: more is an error of the model's own


@dataclass(frozen=True)
class GainCompared:
    """Measured and predicted gain over time, window by window; shapes (n,)."""

    time_s: Array
    measured_db: Array
    predicted_db: Array

    @property
    def error_db(self) -> float:
        """Root-mean-square difference."""
        return float(np.sqrt(np.mean((self.measured_db - self.predicted_db) ** 2)))

    @property
    def explained(self) -> float:
        """Share of the variance of the measured gain that the prediction explains, at most 1."""
        spread = float(np.var(self.measured_db))
        return 1 - float(np.mean((self.measured_db - self.predicted_db) ** 2)) / max(spread, 1e-12)


@dataclass(frozen=True)
class Proved:
    """A proof, the gains it rests on, and 95 % intervals from how its seconds scatter.

    `score` is the root-mean-square error weighted as a fit weighs it: 1 or less where noise explains it.
    """

    proof: Proof
    gains: GainCompared
    residual_interval_db: tuple[float, float]
    gain_error_interval_db: tuple[float, float]
    score: float


def prove_on_programme(chain: Chain, pair: Pair, *, noise: Noise) -> Proved | None:
    """Play the programme of a pair that is not sealed through a replica; None where there is none."""
    segments = held(pair.wet, Programme)
    if not segments:
        return None
    span, rate_hz = segments[0].span, pair.rate_hz
    smoothing = chain.cell.smoothing
    warm_s = min(max(9 * smoothing.remembered_s, WARM_S[0]), WARM_S[1])
    begin = max(0.0, span.start - warm_s * rate_hz)
    sides = read_quiet(pair, begin, span.stop, noise=noise)
    first = round(span.start - begin)
    made = play_take(chain, sides.dry, rate_hz=rate_hz).sound[first:, 0]
    return compare(
        Sides(sides.dry[first:], sides.wet[first:]),
        made * chain.polarity,
        rate_hz=rate_hz,
        noise=noise,
        material="programme of the stimulus, which the fit did not hear",
    )


def compare(sides: Sides, made: Array, *, rate_hz: int, noise: Noise, material: str) -> Proved:
    """Compare what a replica made of dry sound with what the stage made of it.

    The gain of both is read over the same dry sound, in windows of `WINDOW_S` whose dry sound stands
    `CLEAR_DB` above the noise: so colour and filters shift both alike.
    """
    error = sides.wet - made
    whole = _ratio_db(error, sides.wet)
    weighed = weigh(sides, noise=noise, rate_hz=rate_hz)
    gains = _gains(sides, made, rate_hz, noise.wet)
    seconds = max(1, sides.wet.size // rate_hz)
    parts = list(zip(np.array_split(error, seconds), np.array_split(sides.wet, seconds), strict=True))
    loud = LOUD * float(np.mean(sides.wet**2))
    worst = max((_ratio_db(e, w) for e, w in parts if float(np.mean(w**2)) > loud), default=whole)
    energies = np.array([float(np.sum(e**2)) for e, _ in parts])
    squares = (gains.measured_db - gains.predicted_db) ** 2
    pieces = np.array([float(np.mean(part)) for part in np.array_split(squares, min(seconds, squares.size))])
    proof = Proof(
        material,
        residual_db=whole,
        gain_error_db=gains.error_db,
        explained=gains.explained,
        bands=_bands(error, sides.wet, rate_hz),
        worst_residual_db=worst,
        noise_db=_ratio_db(weighed.left, sides.wet),
        worst_own_db=own_db(error, weighed.left, sides.wet, rate_hz=rate_hz),
    )
    off = 10 * np.log10(np.array(_around(energies)) / max(float(np.mean(energies)), 1e-30))
    reach = np.sqrt(np.array(_around(pieces)) / max(float(np.mean(pieces)), 1e-30))
    return Proved(
        proof,
        gains,
        (whole + float(off[0]), whole + float(off[1])),
        (gains.error_db * float(reach[0]), gains.error_db * float(reach[1])),
        float(np.sqrt(np.mean((error * weighed.weight) ** 2))),
    )


def own_db(error: Array, left: Array, sound: Array, *, rate_hz: int) -> float:
    """The greatest error, re the sound, of a moment with sound that noise does not explain; shapes (n,)."""
    count = max(1, round(sound.size / (MOMENT_S * rate_hz)))
    energies = [[float(np.sum(part**2)) for part in np.array_split(x, count)] for x in (error, left, sound)]
    off, noise, there = np.array(energies)
    own = np.maximum(off - SURELY * noise, 0.0) / np.maximum(there, 1e-30)
    return float(10 * np.log10(max(float(own[there >= LOUD * np.mean(there)].max(initial=0.0)), 1e-40)))


def _around(values: Array) -> tuple[float, float]:
    """95 % interval of a mean of positive values; at the low end not below a tenth of it."""
    mean = float(np.mean(values))
    reach = Z95 * float(np.std(values)) / np.sqrt(values.size)
    return max(mean - reach, 0.1 * mean, 1e-30), max(mean + reach, 1e-30)


def _ratio_db(error: Array, sound: Array) -> float:
    energy = float(np.sum(sound**2))
    return float(10 * np.log10(max(float(np.sum(error**2)), 1e-30) / max(energy, 1e-30)))


def _gains(sides: Sides, made: Array, rate_hz: int, noise: float) -> GainCompared:
    size = round(WINDOW_S * rate_hz)
    count = sides.dry.size // size
    dry, wet, model = (x[: count * size].reshape(count, size) for x in (sides.dry, sides.wet, made))
    power = np.sum(dry**2, axis=1)
    measured, predicted = np.sum(dry * wet, axis=1), np.sum(dry * model, axis=1)
    floor = size * (10 ** (CLEAR_DB / 20) * max(noise, 1e-7)) ** 2
    clear = (power > floor) & (measured > 0) & (predicted > 0)
    time_s = (np.arange(count) + 0.5) * size / rate_hz
    if not clear.any():
        return GainCompared(time_s[:1], np.zeros(1), np.zeros(1))
    levels = [20 * np.log10(g[clear] / power[clear]) for g in (measured, predicted)]
    return GainCompared(time_s[clear], *levels)


def _bands(error: Array, sound: Array, rate_hz: int) -> tuple[BandProof, ...]:
    """Residual by octave; bands in which the sound has less than a millionth of its energy are left out."""
    hz = np.fft.rfftfreq(sound.size, 1 / rate_hz)
    powers = [np.abs(np.fft.rfft(x)) ** 2 for x in (error, sound)]
    bands, low = [], LOWEST_HZ
    while low < 0.45 * rate_hz:
        inside = (hz >= low) & (hz < 2 * low)
        off, there = (float(power[inside].sum()) for power in powers)
        if there > 1e-6 * float(powers[1].sum()):
            bands.append(BandProof(low, 2 * low, float(10 * np.log10(max(off, 1e-30) / there))))
        low *= 2
    return tuple(bands)
