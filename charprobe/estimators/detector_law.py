"""The detector's law: which mean of a waveform the gain reduction answers to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from charprobe.estimators.tone import fit_tone
from charprobe.stimulus.kinds.segment import Segment, Tone
from charprobe.stimulus.kinds.waveforms import PER_FUNDAMENTAL, WAVEFORMS, Waveform
from charprobe.values.arrays import Array
from charprobe.values.cut import Cut
from charprobe.values.quantity import DB_PER_NEPER, Quantity, Reading, Unmeasured

LATE, GUARD_S = 0.5, 0.01
EXPONENTS = np.geomspace(0.3, 128.0, 6000)
COMPUTED = 300  # of them, the rest between: norms are smooth to 0.0001 dB at this spacing
FLOOR_DB = 0.05  # ripple of the reading at the repetition rate moves a settled gain by about this
SETTLED_DB = 0.05  # least that a p-norm's offsets are told apart by
HOLDS_DB = 0.5  # waveforms farther from any p-norm than this obey no such law
CHI2_95 = 3.84


@dataclass(frozen=True)
class PlayedWaveform:
    """One waveform at one level, as it came back.

    Attributes
    ----------
    waveform : Waveform
        What was played.
    peak_dbfs : float
        Peak of the stimulus, as the level of a sine of that peak.
    start : int
        First stimulus sample.
    amplitudes, stds : ndarray, shape (partials,)
        Amplitude of each partial in the capture and its standard uncertainty, full scale = 1.
    drift_db : float
        Change of gain from the third to the last quarter of the waveform.
    """

    waveform: Waveform
    peak_dbfs: float
    start: int
    amplitudes: Array
    stds: Array
    drift_db: float

    @property
    def settled(self) -> bool:
        """Whether the gain stood still over the late half."""
        return abs(self.drift_db) <= SETTLED_DB

    def gain_db(self, reference: Array) -> tuple[float, float]:
        """Gain over reference amplitudes of the partials, and its standard uncertainty, in dB."""
        along = float(self.amplitudes @ reference)
        std = float(np.sqrt(np.sum((reference * self.stds) ** 2)))
        return DB_PER_NEPER * float(np.log(along / float(reference @ reference))), DB_PER_NEPER * std / along

    @property
    def as_played(self) -> Array:
        """Amplitudes of the partials in the stimulus."""
        return np.abs(self.waveform.amplitudes) * 10 ** (self.peak_dbfs / 20)


@dataclass(frozen=True)
class Equivalent:
    """How much louder than a sine of its peak a waveform is to the detector, in dB."""

    waveform: Waveform
    offset_db: float
    std_db: float


def measure_waveforms(segment: Segment, cut: Cut) -> tuple[PlayedWaveform, ...]:
    """Measure the partials of every waveform of an `equal_peak` segment, over the late half of each.

    Raises
    ------
    SegmentTooShortError
        If a waveform holds fewer than two repetitions in its late half.
    """
    played = []
    for i, tone in enumerate(segment.tones):
        waveform = WAVEFORMS[i % len(WAVEFORMS)]
        begin, end = tone.start + LATE * tone.length, tone.stop - GUARD_S * cut.rate_hz
        middle = (begin + end) / 2
        whole, early, late = (
            _partials(cut.between(*ends), tone, waveform)
            for ends in ((begin, end), (begin, middle), (middle, end))
        )
        drift_db = DB_PER_NEPER * float(np.log((late[0] @ whole[0]) / (early[0] @ whole[0])))
        played.append(PlayedWaveform(waveform, tone.level_dbfs, tone.start, *whole, drift_db))
    return tuple(played)


def _partials(cut: Cut, tone: Tone, waveform: Waveform) -> tuple[Array, Array]:
    fit = fit_tone(
        cut,
        frequency_hz=tone.frequency_hz / PER_FUNDAMENTAL,
        phase_origin=float(tone.start),
        orders=max(waveform.multiples),
        refine=False,
    )
    index = np.array(waveform.multiples) - 1
    return np.abs(fit.amplitudes[index]), fit.stds[index]


def fit_exponent(equivalents: Sequence[Equivalent]) -> Reading:
    """Find the p of the p-norm that puts all waveforms on the sine's curve.

    Parameters
    ----------
    equivalents : sequence of Equivalent
        Of waveforms other than the sine.

    Returns
    -------
    Reading
        p with its interval from the likelihood; at least its lower end where the upper cannot be told
        from a peak detector.

    Notes
    -----
    A detector that takes the mean of ``|x|**p`` hears a waveform as loud as a sine of the same p-norm.
    Holds for averaging times long against the repetition of the waveforms; faster ones follow the
    wave and come out nearer to a peak detector.
    """
    unit = "1"
    if not equivalents:
        reason = "no waveform but the sine was reduced far enough to be placed on the static curve"
        return Unmeasured(unit, reason, "a recipe whose equal_peak levels lie higher above the threshold")
    offset = np.array([e.offset_db for e in equivalents])
    std = np.hypot([e.std_db for e in equivalents], FLOOR_DB)
    predicted = np.array([_norms_db(e.waveform) for e in equivalents])
    misfit = np.sum(((offset[:, None] - predicted) / std[:, None]) ** 2, axis=0)
    best = int(np.argmin(misfit))
    off = float(np.sqrt(np.mean((offset - predicted[:, best]) ** 2)))
    if off > HOLDS_DB:
        reason = f"no mean of the waveform explains the reductions: the best misses them by {off:.1f} dB"
        return Unmeasured(unit, reason, "a capture of steady waveforms longer than the stage's memory")
    dispersion = max(1.0, float(misfit[best]) / max(1, len(equivalents) - 1))
    inside = EXPONENTS[misfit <= misfit[best] + CHI2_95 * dispersion]
    value, low, high = float(EXPONENTS[best]), float(inside[0]), float(inside[-1])
    if high >= EXPONENTS[-1]:
        reason = "the reductions follow the peak: no finite exponent can be told from it"
        return Unmeasured(unit, reason, "nothing more: read it as a peak detector", at_least=low)
    return Quantity(value, low, high, unit)


@cache
def _norms_db(waveform: Waveform) -> Array:
    """Norm of a waveform for each of `EXPONENTS`, over that of a sine of its peak, in dB."""
    few = np.geomspace(EXPONENTS[0], EXPONENTS[-1], COMPUTED)
    norms = np.array([waveform.norm_db(float(p)) for p in few])
    return np.asarray(np.interp(np.log(EXPONENTS), np.log(few), norms))
