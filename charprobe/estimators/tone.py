"""Steady tones: level, phase and harmonics by joint least squares on the stimulus clock."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from charprobe.values.arrays import Array, Complex, Index
from charprobe.values.cut import Cut
from charprobe.values.errors import SegmentTooShortError
from charprobe.values.orders import Orders, orders_of
from charprobe.values.quantity import DB_PER_NEPER, Quantity, Reading, Unmeasured, student_factor

BAND = 0.475  # orders above this share of the rate are left out: converter filters have begun there
MIN_PERIODS, LINE_PERIODS = 2.0, 6.0  # of a tone, and from which on it is told from a straight line
NEAREST_BIN, FARTHEST_BIN = 2, 9  # residual bins beside each order that its noise is read from
ITERATIONS = 6
ENTANGLED = 3.0  # spread of the variances of orders, times samples: 1 where many periods make them orthogonal
DETECTED_TONE = 3.0  # standard uncertainties; below `DETECTED`: known tones are read, not searched for


@dataclass(frozen=True)
class ToneFit:
    """A tone and its harmonics: order ``n`` is ``|a| cos(n 2 pi f (p - p0) / rate + angle(a))``.

    Attributes
    ----------
    frequency_hz : float
        Frequency on the stimulus clock, in Hz, after refinement if that was asked for.
    phase_origin : float
        Stimulus position ``p0``, in samples, to which the phases refer.
    dc : float
        Fitted offset at the middle of the stretch, full scale = 1.
    amplitudes : ndarray of complex, shape (orders,)
        Entry ``n - 1`` is the complex amplitude of order ``n`` (cosine convention), full scale = 1.
    stds : ndarray, shape (orders,)
        Standard uncertainty of the real and of the imaginary part of each amplitude, from the
        residual's own spectrum beside that order. The phase that a refined frequency turns between
        the middle of the cut and the origin comes on top (it cancels in ``angle(a_n) - n angle(a_1)``).
    """

    frequency_hz: float
    phase_origin: float
    dc: float
    amplitudes: Complex
    stds: Array

    @property
    def orders(self) -> int:
        """Highest order fitted."""
        return int(self.amplitudes.size)

    def level(self, order: int) -> Reading:
        """Return the level of one order in dBFS, or the bound below which it lies hidden.

        Parameters
        ----------
        order : int
            1 for the fundamental, up to `orders`.
        """
        amplitude, std = float(abs(self.amplitudes[order - 1])), float(self.stds[order - 1])
        if amplitude <= max(DETECTED_TONE * std, 1e-15):
            bound = DB_PER_NEPER * math.log(max(amplitude + DETECTED_TONE * std, 1e-15))
            reason = f"order {order} does not rise above the noise beside it"
            return Unmeasured("dBFS", reason, "raise the level or record with less noise", at_most=bound)
        return Quantity.from_std(DB_PER_NEPER * math.log(amplitude), DB_PER_NEPER * std / amplitude, "dBFS")


def fit_tone(cut: Cut, *, frequency_hz: float, phase_origin: float, orders: int, refine: bool) -> ToneFit:
    """Fit a straight line, a tone and its harmonics to a steady stretch of sound.

    Parameters
    ----------
    cut : Cut
        The stretch, at least two periods long and steady in level.
    frequency_hz : float
        Nominal frequency on the stimulus clock, above 0 and below 0.475 times the rate. With `refine`
        within half of one over the length of the cut.
    phase_origin : float
        Stimulus position, in samples, at which the tone's phase is counted as zero time.
    orders : int
        Orders to fit, at least 1; those above 0.475 times the rate are left out.
    refine : bool
        Whether to fit the frequency too.

    Returns
    -------
    ToneFit

    Raises
    ------
    SegmentTooShortError
        If the cut holds fewer than two periods or too few samples for that many unknowns.
    ValueError
        If no order lies inside the band.

    Notes
    -----
    All orders are solved jointly, so the tone need not sit on a DFT bin and few periods do not bias
    it. The normal matrix is known in closed form (sums of geometric series); only the projections
    touch the samples. The frequency follows by Gauss-Newton steps along the model's derivative,
    made orthogonal to the other unknowns; several orders share one offset. In white noise of variance
    ``s**2`` each part of an amplitude has variance ``2 s**2 / n``, the Cramer-Rao bound; the noise
    is read from the residual's spectrum within nine bins of each order, so hum and gain ripple there
    widen the interval. A line closer than about one over the cut's length to an order cannot be told from it.

    Examples
    --------
    >>> t = np.arange(4800)
    >>> tone = 0.5 * np.cos(2 * np.pi * 997 * t / 48_000 + 0.3) + 0.01 * np.cos(4 * np.pi * 997 * t / 48_000)
    >>> fit = fit_tone(Cut(tone, 0.0, 1.0, 48e3), frequency_hz=997, phase_origin=0.0, orders=3, refine=True)
    >>> [round(float(a), 9) for a in np.abs(fit.amplitudes)]
    [0.5, 0.01, 0.0]
    """
    if refine:
        frequency_hz *= 1 + common_offset(
            [cut], frequencies_hz=[frequency_hz], phase_origins=[phase_origin], orders=orders
        )
    return fit_known_tone(cut, frequency_hz=frequency_hz, phase_origin=phase_origin, orders=orders).fit


@dataclass(frozen=True)
class ToneAndRest:
    """A fitted tone, and what it leaves over of each sample."""

    fit: ToneFit
    rest: Array


def fit_known_tone(cut: Cut, *, frequency_hz: float, phase_origin: float, orders: int) -> ToneAndRest:
    """Fit a tone of known frequency as `fit_tone` does, and keep what is left over."""
    orders = orders_in_band(frequency_hz, rate_hz=cut.rate_hz, orders=orders)
    _require_length(cut, frequency_hz, orders)
    solved = _solve(cut, frequency_hz, phase_origin, orders)
    stds = order_stds(solved.residual, frequency_hz * cut.step / cut.rate_hz, orders)
    # the solution refers to the middle of the cut, where few periods and long times do no harm
    turn = np.exp(1j * solved.to_origin * np.arange(1, orders + 1))
    dc, amplitudes = float(solved.coefficients[0].real), solved.coefficients[1:] * turn
    return ToneAndRest(ToneFit(frequency_hz, phase_origin, dc, amplitudes, stds), solved.residual)


def common_offset(
    cuts: Sequence[Cut], *, frequencies_hz: Sequence[float], phase_origins: Sequence[float], orders: int
) -> float:
    """Fit one relative frequency offset to several steady tones, each with its own level and phase.

    Parameters
    ----------
    cuts : sequence of Cut
        Steady stretches of one capture, at least one.
    frequencies_hz, phase_origins : sequence of float
        Nominal frequency and phase origin of each, as in `fit_tone`.
    orders : int
        Orders to fit in each, at least 1.

    Returns
    -------
    float
        ``f = nominal (1 + offset)``; 0 for a set without any tone.
    """
    relative = 0.0
    for _ in range(ITERATIONS):
        slope = curvature = white = turned = 0.0
        for cut, nominal, origin in zip(cuts, frequencies_hz, phase_origins, strict=True):
            n_orders = orders_in_band(nominal, rate_hz=cut.rate_hz, orders=orders)
            _require_length(cut, nominal, n_orders)
            solved = _solve(cut, nominal * (1 + relative), origin, n_orders)
            derivative = _derivative(cut, solved, nominal)
            free = derivative - solved.basis.wave(solved.basis.amplitudes(derivative[None, :])[0])
            energy = float(free @ free)
            slope += float(solved.residual @ free)
            curvature += energy
            variance = float(solved.residual @ solved.residual) / max(1, cut.samples.size - 2 * n_orders - 2)
            white += energy * variance
            turned = max(turned, np.pi * nominal * n_orders * cut.samples.size * cut.step / cut.rate_hz)
        if curvature <= 0:
            return 0.0
        step = slope / curvature
        relative += step
        # what the step leaves goes with its square, once more by how far it turns the ends of a cut
        left = abs(step) * min(1.0, (turned * step) ** 2)
        if left < max(1e-3 * math.sqrt(white) / curvature, 1e-15):
            break
    return relative


def order_amplitudes(rows: Array, *, cycles_per_sample: float, orders: int) -> Array:
    """Fit each row by itself and return the amplitudes of its fundamental and harmonics.

    Parameters
    ----------
    rows : ndarray, shape (k, m)
        Short stretches of equal length, each at least two periods long.
    cycles_per_sample : float
        Frequency over the rate of the samples, above 0 and below 0.475.
    orders : int
        Orders fitted jointly, at least 1; those above 0.475 of the rate are left out.

    Returns
    -------
    ndarray, shape (k, m)
        Of orders 1 to `orders`, or as many of them as there are.
    """
    inside = orders_in_band(cycles_per_sample, rate_hz=1.0, orders=orders)
    turns = 2 * np.pi * cycles_per_sample
    return np.asarray(np.abs(_basis(turns, rows.shape[1], inside).amplitudes(rows)[:, 1:]))


def orders_in_band(frequency_hz: float, *, rate_hz: float, orders: int) -> int:
    """Return how many of the first `orders` multiples of a frequency lie below 0.475 times the rate."""
    inside = min(orders, int(BAND * rate_hz / frequency_hz))
    if inside < 1:
        raise ValueError(f"no order of {frequency_hz} Hz lies below {BAND * rate_hz:.0f} Hz")
    return inside


@dataclass(frozen=True)
class _ToneSolution:
    """A least-squares solution: complex amplitudes of orders 0, 1, ... with phases at mid-cut.

    `to_origin` moves the phase of order 1 to its origin.
    """

    coefficients: Complex
    residual: Array
    to_origin: float
    basis: _Basis


def _solve(cut: Cut, frequency_hz: float, phase_origin: float, orders: int) -> _ToneSolution:
    turns = 2 * np.pi * frequency_hz * cut.step / cut.rate_hz
    middle = cut.start + cut.step * (cut.samples.size - 1) / 2
    basis = _basis(turns, cut.samples.size, orders)
    coefficients = basis.amplitudes(cut.samples[None, :])[0]
    left = cut.samples - basis.wave(coefficients)
    to_origin = 2 * np.pi * frequency_hz * (phase_origin - middle) / cut.rate_hz
    if basis.entangled:  # one refinement: error down to rounding
        again = basis.amplitudes(left[None, :])[0]
        coefficients, left = coefficients + again, left - basis.wave(again)
    return _ToneSolution(coefficients, left, to_origin, basis)


@dataclass(frozen=True)
class _Basis:
    """Phasors of all orders over a stretch, phase 0 at its middle, and the inverse of their normal equations.

    Around the middle the sums of cosines against sines vanish: `even` and `odd` are small separate systems.
    What would be the sine of order 0 is a straight `line`, which an offset on the move leaves the tone for.
    """

    carrier: Orders
    line: Array
    even: Array
    odd: Array

    @cached_property
    def entangled(self) -> bool:
        """Whether few periods leave the orders so alike that solving for them costs digits."""
        apart = (
            float(np.ptp(np.linalg.eigvalsh(part) * self.carrier.count)) for part in (self.even, self.odd)
        )
        return max(apart) > ENTANGLED

    def amplitudes(self, rows: Array) -> Complex:
        """Least-squares amplitudes of orders 0, 1, ... of each row, phases at its middle; (k, orders + 1)."""
        sums = self.carrier.sums(rows)
        sums.imag[:, 0] = rows @ self.line
        amplitudes = (sums.real @ self.even).astype(np.complex128)
        amplitudes.imag = sums.imag @ self.odd
        return amplitudes

    def wave(self, amplitudes: Complex) -> Array:
        return np.asarray(self.carrier.wave(amplitudes) + amplitudes[0].imag * self.line)


@lru_cache(maxsize=64)  # tones of one run share frequency and length: small tables, the same for all of them
def _basis(turns: float, n: int, orders: int) -> _Basis:
    per_sample = turns / (2 * np.pi)
    carrier = orders_of(-per_sample * (n - 1) / 2, per_sample, count=n, highest=orders)
    index = np.arange(orders + 1)
    total, apart = index[:, None] + index, index[:, None] - index
    plus, minus = _dirichlet(total * turns / 2, n), _dirichlet(apart * turns / 2, n)
    line = np.linspace(-1, 1, n) * math.sqrt(1.5) * (per_sample * n > LINE_PERIODS)  # of the power of a sine
    odd = (minus - plus) / 2
    odd[0] = odd[:, 0] = carrier.sums(line[None]).imag[0]
    odd[0, 0] = max(float(line @ line), 1.0)
    even, odd = (np.asarray(np.linalg.inv(part), dtype=np.float64) for part in ((minus + plus) / 2, odd))
    return _Basis(carrier, line, even, odd)


def _dirichlet(half_angle: Array, n: int) -> Array:
    """Sum of ``cos(2 half_angle m)`` over `n` points spaced one apart around zero."""
    wrapped = half_angle - np.pi * np.round(half_angle / np.pi)
    turns = np.round(half_angle / np.pi)
    sign = np.where((turns * (n - 1)) % 2 == 0, 1.0, -1.0)
    small = np.abs(wrapped) < 1e-9
    safe = np.where(small, 1.0, wrapped)
    return sign * np.where(small, float(n), np.sin(n * safe) / np.sin(safe))


def _derivative(cut: Cut, solved: _ToneSolution, nominal_hz: float) -> Array:
    """Return the derivative of the model by the relative frequency offset, time taken from mid-cut."""
    n, orders = cut.samples.size, solved.coefficients.size - 1
    index = np.arange(n) - (n - 1) / 2
    weights = 1j * np.arange(orders + 1) * solved.coefficients
    slope = solved.basis.carrier.wave(weights)
    return np.asarray(slope * index * (2 * np.pi * nominal_hz * cut.step / cut.rate_hz))


def order_stds(residual: Array, cycles_per_sample: float, orders: int) -> Array:
    """Return the standard uncertainty of the amplitude parts of a tone and its harmonics; shape (orders,)."""
    n = residual.size
    spacing = cycles_per_sample * n
    farthest = min(FARTHEST_BIN, int(spacing / 2))
    if farthest < NEAREST_BIN + 1:
        white = float(residual @ residual) / max(1, n - 2 * orders - 2)
        return np.full(orders, math.sqrt(2 * white / n))
    at = np.asarray(cycles_per_sample * np.arange(1, orders + 1), dtype=np.float64)
    return stds_beside(residual, at, farthest=farthest)


def stds_beside(residual: Array, cycles_per_sample: Array, *, farthest: int) -> Array:
    """Return the standard uncertainty of the amplitude parts of fitted lines from the noise beside them.

    Parameters
    ----------
    residual : ndarray, shape (n,)
        What the fit of the lines left over.
    cycles_per_sample : ndarray, shape (k,)
        Where the lines lie.
    farthest : int > NEAREST_BIN
        Bins on either side that are still read.

    Notes
    -----
    The noise of a line is known from a few bins only, so its standard uncertainty is raised by Student's
    factor: 1.96 of them hold 95 %. A fitted line takes with it ``sinc(d)**2`` of the noise ``d`` bins away.
    """
    n = residual.size
    bins, kept = _bins_beside(tuple(cycles_per_sample.tolist()), n, farthest)
    beside = np.fft.rfft(residual)[bins]
    local = np.mean(beside.real**2 + beside.imag**2, axis=1) / n / kept
    return np.asarray(np.sqrt(2 * local / n) * student_factor(2 * bins.shape[1]))


@lru_cache(maxsize=64)
def _bins_beside(cycles_per_sample: tuple[float, ...], n: int, farthest: int) -> tuple[Index, Array]:
    """Bins beside each line, and the share of their noise that a fit of the line leaves them."""
    away = np.arange(NEAREST_BIN, farthest + 1)
    at = np.array(cycles_per_sample)[:, None] * n
    bins = np.clip(np.round(at) + np.concatenate([-away, away]), 1, n // 2)
    return bins.astype(np.int64), np.asarray(1 - np.mean(np.sinc(bins - at) ** 2, axis=1))


def _require_length(cut: Cut, frequency_hz: float, orders: int) -> None:
    needed = max(MIN_PERIODS * cut.rate_hz / frequency_hz / cut.step, 4.0 * (2 * orders + 2))
    if cut.samples.size < needed:
        raise SegmentTooShortError(found_s=cut.samples.size / cut.rate_hz, needed_s=needed / cut.rate_hz)
