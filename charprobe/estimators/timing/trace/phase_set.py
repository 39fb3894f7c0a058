"""Phase sets: one burst repeated at other carrier phases, solved for the carrier at every sample."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array, Complex, Index
from charprobe.values.cut import Cut
from charprobe.values.errors import CharprobeError, SegmentTooShortError
from charprobe.values.phasor import phasor
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
    amplitudes, centres = np.empty((3, len(bursts)), complex), np.empty((3, len(bursts)))
    for i, tones in enumerate(zip(*(burst.tones for burst in bursts), strict=True)):
        tone = tones[0]  # all are like it but for their start and phase
        length = max(
            min(WINDOW_S * cut.rate_hz, 0.4 * tone.length), MIN_PERIODS * cut.rate_hz / tone.frequency_hz
        )
        stops = [usable_stop(each, last=i == 2, rate_hz=cut.rate_hz) for each in tones]
        pieces = [cut.between(stop - length, stop) for stop in stops]
        size, needed = min(piece.samples.size for piece in pieces), MIN_PERIODS / tone.frequency_hz
        if size < 0.9 * needed * cut.rate_hz:
            raise SegmentTooShortError(found_s=size / cut.rate_hz, needed_s=needed)
        rows, starts = np.array([piece.samples[:size] for piece in pieces]), [piece.start for piece in pieces]
        wave = phasor(0.0, tone.frequency_hz / cut.rate_hz * cut.step, size)
        basis = np.array([wave.real, -wave.imag, np.ones(size)])
        along = basis @ rows.T
        fitted = np.linalg.solve(basis @ basis.T, along)
        rest = np.maximum(np.einsum("ij,ij->i", rows, rows) - np.sum(fitted * along, axis=0), 0.0) / size
        if np.any(np.hypot(fitted[0], fitted[1]) <= CLEAR * np.sqrt(2 * rest / size)):
            raise NoCarrierError(level_dbfs=tone.level_dbfs)
        phases = [
            carrier_phase(each, np.array(start), rate_hz=cut.rate_hz)
            for each, start in zip(tones, starts, strict=True)
        ]
        amplitudes[i] = (fitted[0] + 1j * fitted[1]) * np.exp(-1j * np.array(phases)) / amplitude(tone)
        centres[i] = np.array(starts) + cut.step * (size - 1) / 2
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


@dataclass(frozen=True)
class EdgeCarriers:
    """Carriers of all repetitions around one edge: all turn alike, each from a phase of its own.

    Attributes
    ----------
    grid : ndarray of int, shape (n,)
        Capture samples counted from the edge, contiguous, holding 0.
    step, rate_hz : float
        Stimulus samples per capture sample; sampling rate of the stimulus.
    offsets : ndarray, shape (k,)
        Per repetition, stimulus samples by which its grid point 0 lies after the edge.
    period : float
        Carrier period in capture samples.
    turned : ndarray of complex, shape (n,)
        Phasor by which every carrier has turned since grid point 0.
    starts : ndarray of complex, shape (3, k)
        Phasor of each carrier at grid point 0, for the points before it, itself, and the points after it.
    levels : ndarray, shape (3, k)
        Amplitude of the tone there.
    """

    grid: Index
    step: float
    rate_hz: float
    offsets: Array
    period: float
    turned: Complex
    starts: Complex
    levels: Array

    @property
    def sides(self) -> tuple[slice, slice, slice]:
        """The grid before point 0, that point, and the grid after it."""
        edge = -int(self.grid[0])
        return slice(0, edge), slice(edge, edge + 1), slice(edge + 1, None)

    def by_side(self, values: Complex, wave: Complex) -> Complex:
        """Return a wave over the grid times one value for each of the three sides."""
        out = np.empty(self.grid.size, complex)
        for side, value in zip(self.sides, values, strict=True):
            np.multiply(wave[side], value, out=out[side])
        return out

    def of_repetitions(self, index: Index) -> Iterator[tuple[Array, Array]]:
        """Iterate over cosine and amplitude of each repetition's carrier at some places of the grid."""
        side, turned = np.sign(self.grid[index]) + 1, self.turned[index]
        for starts, levels in zip(self.starts.T, self.levels.T, strict=True):
            yield (starts[side] * turned).real, levels[side]


def carriers_around(
    pairs: Sequence[tuple[Tone, Tone]],
    offsets: Sequence[float],
    *,
    grid: Index,
    step: float,
    rate_hz: float,
    carrier: CarrierFit,
) -> EdgeCarriers:
    """Lay out the carriers of all repetitions of one burst around an edge.

    Parameters
    ----------
    pairs : sequence of (Tone, Tone)
        Per repetition, the tones before and after the edge, all of one frequency.
    offsets, grid, step, rate_hz
        As in `EdgeCarriers`.
    carrier : CarrierFit
        Phase of this capture.
    """
    starts, levels = np.empty((3, len(pairs)), complex), np.empty((3, len(pairs)))
    for k, ((before, after), offset) in enumerate(zip(pairs, offsets, strict=True)):
        position = np.array(after.start + offset)
        for side, tone in enumerate((before, before if offset < -1e-6 else after, after)):
            high = tone.level_dbfs > min(before.level_dbfs, after.level_dbfs)
            phase = carrier_phase(tone, position, rate_hz=rate_hz) + carrier.at(position, high=high)
            starts[side, k], levels[side, k] = np.exp(1j * phase), amplitude(tone)
    per_sample = step * (pairs[0][1].frequency_hz / rate_hz + carrier.slope / (2 * np.pi))
    turned = phasor(per_sample * int(grid[0]), per_sample, grid.size)
    period = rate_hz / pairs[0][1].frequency_hz / step
    return EdgeCarriers(grid, step, rate_hz, np.array(offsets), period, turned, starts, levels)


def solve_edge(samples: Sequence[Array], carriers: EdgeCarriers) -> CarrierGain:
    """Solve the complex gain at every grid point around an edge by least squares over all repetitions.

    Parameters
    ----------
    samples : sequence of ndarray, each shape (n,)
        Per repetition, its capture samples on the grid of `carriers`.

    Notes
    -----
    The phasors of the carriers are ``a_k w``, of which only the start ``a_k`` differs: a solution at one
    point of the grid is, turned by ``w``, one at every point. Beside the carrier stands what all
    repetitions share, as the thump of a gain or of even products: phases that a drifting clock has moved
    off their even spread would take it for a gain. A single repetition is solved over the carrier period
    around each point.
    """
    twice = carriers.turned**2
    gain, later = np.empty(carriers.grid.size, complex), np.empty(carriers.grid.size)
    if len(samples) > 1:
        weights = np.stack([_part_in_carrier(starts) for starts in carriers.starts])
        turning = weights * carriers.offsets  # what each adds to the time of the gain that it is part of
        late = [(turning * other).sum(axis=1) / 2 for other in (carriers.starts, carriers.starts.conj())]
        sound, turns = np.stack(samples), np.stack([twice.real, twice.imag])
        weights /= carriers.levels
        for side, weight, steady, by_twice in zip(carriers.sides, weights, *late, strict=True):
            gain.real[side], gain.imag[side] = np.stack([weight.real, weight.imag]) @ sound[:, side]
            later[side] = steady.real + np.array([by_twice.real, by_twice.imag]) @ turns[:, side]
        gain *= carriers.turned.conj()
    else:
        squares = carriers.starts[:, 0] ** 2
        along = carriers.by_side((carriers.starts.conj() / carriers.levels)[:, 0], carriers.turned.conj())
        both, by_offset, along = (
            _over_a_period(each, carriers.period)
            for each in (
                carriers.by_side(squares, twice),
                carriers.by_side(squares * carriers.offsets[0], twice),
                along * samples[0],
            )
        )
        gain = 2 * (along - np.conj(both * along)) / (1 - np.abs(both) ** 2)
        later = (carriers.offsets.sum() + by_offset.real) / (1 + both.real)
    time_s = (carriers.grid * carriers.step + later) / carriers.rate_hz
    return CarrierGain(carriers.grid, time_s, gain)


def _part_in_carrier(starts: Complex) -> Complex:
    """Weights, shape (k,), that make the carrier's own part of one sample per repetition: least squares."""
    shared = [np.ones(starts.size)] if starts.size > 2 else []
    cosine, sine = np.linalg.pinv(np.stack([starts.real, -starts.imag, *shared], axis=1))[:2]
    return np.asarray(cosine + 1j * sine)


def _over_a_period(values: Complex, period: float) -> Complex:
    """Mean over one carrier period around each point."""
    half = max(1, round(period / 2))
    total = np.cumsum(np.pad(values, (half + 1, half), mode="edge"))
    width = 2 * half + 1
    return np.asarray((total[width:] - total[:-width])[: values.size] / width)
