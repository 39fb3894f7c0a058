"""Phase sets: one burst repeated at other carrier phases, solved for the carrier at every sample."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array, Complex, Index
from charprobe.values.cut import Cut
from charprobe.values.errors import CharprobeError, SegmentTooShortError
from charprobe.values.wording import number_text

FADE_S = 0.006  # a burst's last tone fades out within its last 5 ms
GUARD_S = 0.002  # left out beside an edge: the path rings there
WINDOW_S = 0.1  # longest stretch the carrier is fitted in, at the end of each tone
MIN_PERIODS = 4
CLEAR = 5.0  # standard uncertainties that a carrier's amplitude must exceed


class NoCarrierError(CharprobeError):
    """The bursts do not stand out of the noise, or are not in the capture at all."""

    def __init__(self, *, level_dbfs: float) -> None:
        super().__init__(
            f"no carrier where the bursts of {number_text(level_dbfs, 0)} dBFS should be: only noise or "
            "silence there; check the path, raise the level, or close what mutes it, and retake"
        )


@dataclass(frozen=True)
class Burst:
    """One repetition: low lead, high hold, low release, phase-continuous."""

    lead: Tone
    hold: Tone
    release: Tone

    @property
    def tones(self) -> tuple[Tone, Tone, Tone]:
        """The three tones in playing order."""
        return (self.lead, self.hold, self.release)


@dataclass(frozen=True)
class CarrierFit:
    """Carrier of a phase set where its gain is constant.

    Attributes
    ----------
    low_rad, high_rad : float
        Phase of the capture against the stimulus, in the low and in the high tones, at `origin`.
    slope : float
        Radians per stimulus sample by which that phase runs: what the alignment left of the drift.
    origin : float
        Stimulus position in samples.
    gains : tuple of float
        Amplitude over stimulus amplitude at the end of lead, hold and release, mean of all repetitions.
    """

    low_rad: float
    high_rad: float
    slope: float
    origin: float
    gains: tuple[float, float, float]

    def at(self, position: Array, *, high: bool) -> Array:
        """Return the phase in radians at stimulus positions."""
        return (self.high_rad if high else self.low_rad) + self.slope * (position - self.origin)


@dataclass(frozen=True)
class CarrierGain:
    """Carrier solved on a common grid around one edge.

    `grid` counts capture samples from the edge, `time_s` is the x² weighted mean time of the samples that
    made each point, and `gain` the complex gain: real part in phase with the carrier.
    """

    grid: Index
    time_s: Array
    gain: Complex


def bursts_of(tones: Sequence[Tone]) -> tuple[Burst, ...]:
    """Collect tones in playing order into bursts, three tones of one group each.

    Raises
    ------
    ValueError
        If the tones of a group are not low, high, low.
    """
    groups: dict[int, list[Tone]] = {}
    for tone in tones:
        groups.setdefault(tone.group, []).append(tone)
    for group in groups.values():
        if len(group) != 3 or not group[0].level_dbfs < group[1].level_dbfs > group[2].level_dbfs:
            raise ValueError("a burst is three tones of one group: low, high, low")
    return tuple(Burst(*group) for group in groups.values())


def amplitude(tone: Tone) -> float:
    """Return the amplitude of a tone, full scale = 1."""
    return float(10 ** (tone.level_dbfs / 20))


def carrier_phase(tone: Tone, position: Array, *, rate_hz: float) -> Array:
    """Return the phase of a tone's carrier in radians at stimulus positions, inside or outside the tone."""
    turns = tone.frequency_hz / rate_hz * (position - tone.start)
    return np.asarray(2 * np.pi * (turns % 1.0) + tone.phase_rad)


def usable_stop(tone: Tone, *, last: bool, rate_hz: float) -> int:
    """Return the stimulus position up to which a tone can be judged.

    The last tone of a burst fades out; before any other end the path already rings with the edge to come.
    """
    return tone.stop - round(FADE_S * rate_hz if last else min(GUARD_S * rate_hz, 0.1 * tone.length))


def fit_carrier(cut: Cut, bursts: Sequence[Burst]) -> CarrierFit:
    """Fit phase, residual drift and settled gains of a phase set at the ends of its tones.

    Raises
    ------
    SegmentTooShortError
        If a tone holds fewer than four carrier periods of the cut.
    NoCarrierError
        If a tone does not stand out of the noise.
    """
    amplitudes = np.empty((3, len(bursts)), complex)
    centres = np.empty((3, len(bursts)))
    for k, burst in enumerate(bursts):
        for i, tone in enumerate(burst.tones):
            stop = usable_stop(tone, last=i == 2, rate_hz=cut.rate_hz)
            length = min(WINDOW_S * cut.rate_hz, 0.4 * tone.length)
            piece = cut.between(stop - max(length, MIN_PERIODS * cut.rate_hz / tone.frequency_hz), stop)
            needed = MIN_PERIODS / tone.frequency_hz
            if piece.samples.size < 0.9 * needed * cut.rate_hz:
                raise SegmentTooShortError(found_s=piece.samples.size / cut.rate_hz, needed_s=needed)
            position = piece.position()
            theta = carrier_phase(tone, position, rate_hz=cut.rate_hz)
            basis = np.stack([np.cos(theta), -np.sin(theta), np.ones_like(theta)])
            fitted = np.linalg.solve(basis @ basis.T, basis @ piece.samples)
            re, im, _ = fitted
            rest = float(np.mean((piece.samples - fitted @ basis) ** 2))
            if np.hypot(re, im) <= CLEAR * np.sqrt(2 * rest / theta.size):
                raise NoCarrierError(level_dbfs=tone.level_dbfs)
            amplitudes[i, k] = complex(re, im) / amplitude(tone)
            centres[i, k] = position.mean()
    return _phase_line(amplitudes, centres)


def _phase_line(amplitudes: Complex, centres: Array) -> CarrierFit:
    """Fit one drift slope and a phase per state to the phases of all windows, unwrapped in playing order."""
    low, high = amplitudes[[0, 2]].T.ravel(), amplitudes[1]
    at_low, at_high = centres[[0, 2]].T.ravel(), centres[1]
    origin = float(centres.mean())
    ones, zeros = np.ones(low.size), np.zeros(high.size)
    basis = np.block([[ones[:, None], 0 * ones[:, None], (at_low - origin)[:, None]],
                      [zeros[:, None], (zeros + 1)[:, None], (at_high - origin)[:, None]]])  # fmt: skip
    basis[:, 2] /= max(1.0, float(np.ptp(centres)))
    phases = np.concatenate([np.unwrap(np.angle(low)), np.unwrap(np.angle(high))])
    low_rad, high_rad, run = np.linalg.lstsq(basis, phases, rcond=None)[0]
    slope = float(run) / max(1.0, float(np.ptp(centres)))
    gains = tuple(float(np.mean(np.abs(row))) for row in amplitudes)
    return CarrierFit(float(low_rad), float(high_rad), slope, origin, (gains[0], gains[1], gains[2]))


def nearest(cut: Cut, position: float) -> tuple[int, float]:
    """Return the index of the sample of `cut` nearest to a stimulus position, and how far behind it lies."""
    index = round((position - cut.start) / cut.step)
    return index, cut.start + cut.step * index - position


def solve_edge(
    samples: Sequence[Array],
    offsets: Sequence[float],
    pairs: Sequence[tuple[Tone, Tone]],
    *,
    grid: Index,
    step: float,
    rate_hz: float,
    carrier: CarrierFit,
) -> CarrierGain:
    """Solve the complex gain at every grid point around an edge by least squares over all repetitions.

    Parameters
    ----------
    samples : sequence of ndarray, each shape (n,)
        Per repetition, its capture samples on `grid`.
    offsets : sequence of float
        Per repetition, stimulus samples by which its grid point 0 lies after the edge.
    pairs : sequence of (Tone, Tone)
        Per repetition, the tones before and after the edge.
    grid : ndarray of int, shape (n,)
        Capture samples counted from the edge, contiguous.
    step : float
        Stimulus samples per capture sample.
    rate_hz : float
        Sampling rate of the stimulus.
    carrier : CarrierFit
        Phase of this capture.
    """
    sums = np.zeros((6, grid.size))  # cc, cs, ss, cy, sy, cc * offset
    for y, offset, pair in zip(samples, offsets, pairs, strict=True):
        c, s, normal = against_carrier(
            y, offset, pair, grid=grid, step=step, rate_hz=rate_hz, carrier=carrier
        )
        for i, term in enumerate((c * c, c * s, s * s, c * normal, s * normal, c * c * offset)):
            sums[i] += term
    if len(samples) == 1:
        sums = _over_a_period(sums, rate_hz / pairs[0][1].frequency_hz / step)
    cc, cs, ss, cy, sy, late = sums
    determinant = cc * ss - cs * cs
    gain = np.empty(grid.size, complex)
    gain.real, gain.imag = (ss * cy - cs * sy) / determinant, (cc * sy - cs * cy) / determinant
    return CarrierGain(grid, (grid * step + late / cc) / rate_hz, gain)


def against_carrier(
    y: Array,
    offset: float,
    pair: tuple[Tone, Tone],
    *,
    grid: Index,
    step: float,
    rate_hz: float,
    carrier: CarrierFit,
) -> tuple[Array, Array, Array]:
    """Return cosine and minus sine of one repetition's carrier on the grid, and its sound over amplitude."""
    before, after = pair
    position: Array = after.start + offset + step * grid.astype(float)
    early = position < after.start - 1e-6
    normal, theta = np.empty(grid.size), np.empty(grid.size)
    for part, tone in ((early, before), (~early, after)):
        high = tone.level_dbfs > min(before.level_dbfs, after.level_dbfs)
        theta[part] = carrier_phase(tone, position[part], rate_hz=rate_hz)
        theta[part] += carrier.at(position[part], high=high)
        normal[part] = y[part] / amplitude(tone)
    return np.cos(theta), -np.sin(theta), normal


def _over_a_period(sums: Array, period: float) -> Array:
    """Replace each point by the sum over one carrier period around it."""
    half = max(1, round(period / 2))
    padded = np.pad(sums, ((0, 0), (half + 1, half)), mode="edge")
    total = np.cumsum(padded, axis=1)
    width = 2 * half + 1
    return np.asarray((total[:, width:] - total[:, :-width])[:, : sums.shape[1]])
