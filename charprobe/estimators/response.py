"""Complex response from a synchronised sweep: linear part, and each harmonic order on its own."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from charprobe.values.arrays import Array, Complex
from charprobe.values.cut import Cut
from charprobe.values.errors import SegmentTooShortError
from charprobe.values.fast_length import fast_length
from charprobe.values.quantity import DB_PER_NEPER, Z95

MIN_SWEEP_S = 0.5
DROWNED = 0.99  # most of a magnitude that may be noise
WEAKEST = 1e-6  # of the in-band power: below it the sweep holds too little to divide by
HIGHEST_KEPT_ORDER = 10  # orders up to here lie apart from the stretch the noise is read from
MOST_NOISE_WINDOWS = 12
BLOCK, PART = 1024, 32  # samples whose phasors are laid out at once, each as a product of two
LEAD_PERIODS = 8.0  # of the output frequency before a harmonic's arrival: fewer let its neighbours in


@dataclass(frozen=True)
class Response:
    """Complex response at each frequency of a grid, on the stimulus clock.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        Frequencies of the output, ascending.
    value : ndarray of complex, shape (n,)
        Output over input as complex amplitudes, with the delay of the cut's placement.
    std : ndarray, shape (n,)
        Standard uncertainty of the real part, and of the imaginary part, of `value`.
    group_delay_s, group_delay_std_s : ndarray, shape (n,)
        Minus the slope of the phase over angular frequency, and its standard uncertainty, in s.
    """

    frequency_hz: Array
    value: Complex
    std: Array
    group_delay_s: Array
    group_delay_std_s: Array

    @property
    def magnitude_db(self) -> Array:
        """Magnitude in dB."""
        return np.asarray(20 * np.log10(np.abs(self.value)))

    @property
    def magnitude_std_db(self) -> Array:
        """Standard uncertainty of the magnitude, in dB: noise may have made it so much larger."""
        share = np.minimum(Z95 * self.std / np.abs(self.value), DROWNED)
        return np.asarray(-DB_PER_NEPER / Z95 * np.log1p(-share))

    @property
    def phase_deg(self) -> Array:
        """Phase in degrees, unwrapped along the grid and nearest to zero at its middle."""
        phase = np.degrees(np.unwrap(np.angle(self.value)))
        return np.asarray(phase - 360 * np.round(phase[phase.size // 2] / 360))

    @property
    def phase_std_deg(self) -> Array:
        """Standard uncertainty of the phase, in degrees; first order."""
        return np.degrees(self.std / np.abs(self.value))

    def relative_to(self, other: Response) -> Response:
        """Return this response over `other`, taken on the same grid, with both uncertainties."""
        if not np.array_equal(self.frequency_hz, other.frequency_hz):
            raise ValueError("both responses must be on one frequency grid")
        value = self.value / other.value
        std = np.abs(value) * np.hypot(self.std / np.abs(self.value), other.std / np.abs(other.value))
        return Response(
            self.frequency_hz,
            value,
            std,
            self.group_delay_s - other.group_delay_s,
            np.hypot(self.group_delay_std_s, other.group_delay_std_s),
        )


def octave_grid(*, from_hz: float, to_hz: float, per_octave: int) -> Array:
    """Frequencies 1000 Hz * 2**(k / per_octave) within the limits, both limits included; ascending."""
    first = int(np.ceil(per_octave * np.log2(from_hz / 1000) + 1e-9))
    last = int(np.floor(per_octave * np.log2(to_hz / 1000) - 1e-9))
    inner = 1000 * 2.0 ** (np.arange(first, last + 1) / per_octave)
    return np.concatenate([[from_hz], inner, [to_hz]])


@dataclass(frozen=True)
class Deconvolution:
    """A sweep capture divided by the sweep itself: impulse responses, one per order, apart in time.

    The linear response starts at time 0; that of harmonic order m starts ``rate_s * ln(m)`` earlier.

    Attributes
    ----------
    quotient, flatness : ndarray of complex, shape (size // 2 + 1,)
        Regularised quotient of the spectra, and the same for the sweep itself: one wherever it can divide.
    size : int
        Samples of the transform.
    step_s : float
        Time between samples on the stimulus clock.
    rate_s : float
        ``L`` of the sweep: time in which its frequency grows by a factor of e.
    from_hz, to_hz : float
        Ends of the sweep.
    """

    quotient: Complex
    flatness: Complex
    size: int
    step_s: float
    rate_s: float
    from_hz: float
    to_hz: float

    @cached_property
    def _impulse(self) -> Array:
        return np.asarray(np.fft.irfft(self.quotient, self.size), dtype=np.float64)

    @cached_property
    def _reference(self) -> Array:
        return np.asarray(np.fft.irfft(self.flatness, self.size), dtype=np.float64)

    def linear(self, grid_hz: Array) -> Response:
        """Linear response at `grid_hz`, each within the sweep's range.

        Notes
        -----
        The impulse response is windowed, longer at low frequencies: from a quarter of the way to the second
        order before time zero (at most 0.1 s) to a quarter of the record after it (at most 0.6, 0.25 and
        0.1 s below 150 Hz, below 1.5 kHz and above). A response that rings on for longer is smoothed. A gain
        that still moves while the sweep is low reaches far before time zero: half of what half the window
        before it makes of the lowest band is doubt.
        """
        before_s = min(0.1, 0.25 * self.rate_s * np.log(2))
        parts = []
        for low_hz, high_hz, after_s in ((0, 150, 0.6), (150, 1500, 0.25), (1500, np.inf, 0.1)):
            chosen = grid_hz[(grid_hz >= low_hz) & (grid_hz < high_hz)]
            if chosen.size:
                reach = min(after_s, 0.25 * self.size * self.step_s)
                part = self._window(chosen, 0.0, before_s, reach)
                if low_hz == 0:
                    part = _doubted(part, self._window(chosen, 0.0, before_s / 2, reach))
                parts.append(part)
        return _joined(parts)

    def harmonic(self, order: int, grid_hz: Array) -> Response:
        """Response of harmonic `order` at *output* frequencies `grid_hz`, over the sweep's amplitude.

        Sine over sine: for a drive ``A sin(u)`` the output holds ``A |value| sin(order u + arg(value))``.
        The drive's frequency is ``grid_hz / order``; it and `grid_hz` must lie within the sweep's range.
        """
        arrival_s = -self.rate_s * np.log(order)
        to_previous_s = self.rate_s * np.log(order / (order - 1))
        return self._window(grid_hz, arrival_s, self._harmonic_lead_s(order), min(0.2, 0.7 * to_previous_s))

    def harmonic_from_hz(self, order: int) -> float:
        """Lowest output frequency at which the window around harmonic `order` is long enough."""
        return max(order * self.from_hz, LEAD_PERIODS / self._harmonic_lead_s(order))

    def _harmonic_lead_s(self, order: int) -> float:
        """Window before an order's arrival: a quarter of the way to the next order, at most 0.1 s."""
        return min(0.1, 0.25 * self.rate_s * math.log((order + 1) / order))

    def _window(self, grid_hz: Array, arrival_s: float, before_s: float, after_s: float) -> Response:
        """Windowed transform of the impulse response around `arrival_s`, and of stretches without signal."""
        before, after = round(before_s / self.step_s), round(after_s / self.step_s)
        window = np.concatenate([_falling_half(before)[::-1], _falling_half(after)])
        centre = round(arrival_s / self.step_s)
        starts = [centre, *self._quiet_centres(before, after)]
        rows = np.empty((2 * len(starts) + 1, window.size))
        for row, at in zip(rows, starts, strict=False):
            np.multiply(_turned_round(self._impulse, at - before, window.size), window, out=row)
        # t h(t)
        np.multiply(rows[: len(starts)], np.arange(-before, after) * self.step_s, out=rows[len(starts) : -1])
        np.multiply(_turned_round(self._reference, -before, window.size), window, out=rows[-1])
        found = _transform(rows, -before, grid_hz * self.step_s)
        spectrum, slope = found[:, : len(starts)], found[:, len(starts) : -1]
        flat = np.abs(found[:, -1])
        shift_s = centre * self.step_s - arrival_s  # the part of a sample that rounding moved the window by
        value = spectrum[:, 0] / flat * np.exp(-2j * np.pi * grid_hz * shift_s)
        std = np.sqrt(_pooled(np.mean(np.abs(spectrum[:, 1:]) ** 2, axis=1)) / 2) / flat
        delay = np.real(slope[:, 0] / spectrum[:, 0])
        scatter = slope[:, 1:] - delay[:, None] * spectrum[:, 1:]
        delay_std = np.sqrt(_pooled(np.mean(np.abs(scatter) ** 2, axis=1)) / 2) / np.abs(spectrum[:, 0])
        return Response(grid_hz, value, std, delay + shift_s, delay_std)

    def _quiet_centres(self, before: int, after: int) -> list[int]:
        """Window centres in the stretch where neither the linear response nor a low order arrives."""
        length = before + after
        first = round(min(0.6 / self.step_s, 0.25 * self.size))
        last = self.size - round(self.rate_s * np.log(HIGHEST_KEPT_ORDER) / self.step_s) - length
        room = max(last - first, length)
        count = int(np.clip(room // length, 2, MOST_NOISE_WINDOWS))
        return [first + before + round(i * (room - length) / max(count - 1, 1)) for i in range(count)]


def _turned_round(values: Array, first: int, count: int) -> Array:
    """So many values from place `first` on, which may lie before the first or go on beyond the last."""
    begin = first % values.size
    if begin + count <= values.size:
        return values[begin : begin + count]
    return np.take(values, np.arange(begin, begin + count), mode="wrap")


def _transform(rows: Array, first: int, turns: Array) -> Complex:
    """Transform of rows that count from `first`, at frequencies in turns per sample; shape (turns, rows)."""
    count, length = rows.shape
    blocks = -(-length // BLOCK)
    padded = np.pad(rows, ((0, 0), (0, blocks * BLOCK - length))).reshape(-1, BLOCK)
    near, far, starts = (
        np.exp(-2j * np.pi * (np.outer(turns, places) % 1.0))
        for places in (np.arange(PART), np.arange(0, BLOCK, PART), first + BLOCK * np.arange(blocks))
    )
    inside = np.multiply(far[:, :, None], near[:, None, :]).reshape(-1, BLOCK)
    within = np.empty((padded.shape[0], turns.size), complex)
    within.real, within.imag = padded @ inside.real.T, padded @ inside.imag.T
    return np.asarray(np.einsum("cbg,gb->gc", within.reshape(count, blocks, -1), starts))


def _falling_half(length: int) -> Array:
    """Flat for the first half, then a raised cosine to zero."""
    flat = length // 2
    fall = length - flat
    return np.concatenate([np.ones(flat), 0.5 + 0.5 * np.cos(np.pi * (np.arange(fall) + 0.5) / fall)])


def _pooled(power: Array) -> Array:
    """Mean over each point and up to two neighbours either side: few quiet windows fit into a short sweep."""
    width = np.ones(5)
    return np.convolve(power, width, "same") / np.convolve(np.ones(power.size), width, "same")


def _doubted(part: Response, nearer: Response) -> Response:
    """A response doubted by half of what another window makes of it."""
    moved, late_s = np.abs(part.value - nearer.value), part.group_delay_s - nearer.group_delay_s
    return replace(
        part,
        std=np.hypot(part.std, moved / 2),
        group_delay_std_s=np.hypot(part.group_delay_std_s, late_s / 2),
    )


def _joined(parts: list[Response]) -> Response:
    names = ("frequency_hz", "value", "std", "group_delay_s", "group_delay_std_s")
    return Response(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def deconvolve_sweep(
    cut: Cut, *, excitation: Array, from_hz: float, to_hz: float, length_s: float
) -> Deconvolution:
    """Divide a sweep capture by the sweep evaluated at the same positions.

    Parameters
    ----------
    cut : Cut
        Capture of the whole sweep with some silence around it; never resampled.
    excitation : ndarray, shape (n,)
        Value of the played sweep, its fades included, at the stimulus position of each sample of `cut`.
    from_hz, to_hz : float > 0
        Ends of the sweep, ascending.
    length_s : float >= 0.5
        Length of the sweep.

    Raises
    ------
    SegmentTooShortError
        If the sweep, or the cut, is shorter than needed.

    Notes
    -----
    For ``x = A sin(2 pi f1 L exp(t/L))``, ``L = T / ln(f2/f1)``, a memoryless harmonic of order m is the
    sweep itself ``L ln m`` earlier (Novak, Lotton & Simon, JAES 63(10), 2015). Because the sweep
    is evaluated where the capture was sampled, a drifting recorder needs no resampling: both spectra are on
    its grid, whose frequencies are known on the stimulus clock. The division is regularised 60 dB
    below the median in-band power and normalised by what the same division makes of the sweep itself. An
    offset, as silence beside the sweep has it, would be a step at either end of the cut and is taken off.
    Products that a digital device folds back may cross the window of an order near the top of the band.
    """
    duration_s = cut.samples.size * cut.step / cut.rate_hz
    if length_s < MIN_SWEEP_S or duration_s < length_s:
        raise SegmentTooShortError(found_s=min(duration_s, length_s), needed_s=max(length_s, MIN_SWEEP_S))
    size = fast_length(cut.samples.size)
    step_s = cut.step / cut.rate_hz
    silent = cut.samples[excitation == 0]
    offset = float(silent.mean()) if silent.size else 0.0
    sweep, capture = np.fft.rfft(excitation, size), np.fft.rfft(cut.samples - offset, size)
    power = np.abs(sweep) ** 2
    frequency = np.arange(power.size) / (size * step_s)
    in_band = (frequency >= from_hz) & (frequency <= to_hz)
    floor = WEAKEST * float(np.median(power[in_band]))
    inverse = np.conj(sweep) / (power + floor)
    rate_s = length_s / float(np.log(to_hz / from_hz))
    return Deconvolution(capture * inverse, sweep * inverse, size, step_s, rate_s, from_hz, to_hz)
