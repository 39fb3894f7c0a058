"""Intermodulation of two tones: both and their products by joint least squares, and the figures in use."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from charprobe.estimators.colour.harmonics import DRIFTS, EDGE_S, SETTLE_SHARE, SLOWER_S
from charprobe.estimators.tone import BAND, FARTHEST_BIN, stds_beside
from charprobe.stimulus.kinds.segment import SegmentOf, Tone
from charprobe.stimulus.kinds.two_tone import TwoTone
from charprobe.values.arrays import Array
from charprobe.values.cut import Cut
from charprobe.values.quantity import DB_PER_NEPER, DETECTED, Z95, Quantity, Reading, Unmeasured

Product = tuple[int, int]

HIGHEST_ORDER = 5  # products up to this order are fitted
APART_BINS = 3.0  # products closer than this many over the length cannot be told apart

ITERATIONS = 2
LOWER: Product = (1, 0)
UPPER: Product = (0, 1)
MODULATION: tuple[tuple[Product, ...], ...] = tuple(((-n, 1), (n, 1)) for n in range(1, HIGHEST_ORDER))
"""Pairs of sidebands f2 - n f1, f2 + n f1, by order n + 1 from 2 on."""
DIFFERENCE: tuple[tuple[Product, ...], ...] = (((-1, 1),), ((2, -1), (-1, 2)))
"""f2 - f1, and the pair 2 f1 - f2, 2 f2 - f1: orders 2 and 3."""


@dataclass(frozen=True)
class TwoToneFit:
    """Two tones fitted at one level.

    Attributes
    ----------
    tone : Tone
        What was played: the peak level of the sum.
    spec : TwoTone
        The frequencies and their ratio.
    amplitudes : mapping of (int, int) to float
        Amplitude of each product ``a f1 + b f2`` inside the band, full scale = 1; (1, 0), (0, 1): the tones.
    stds : mapping of (int, int) to float
        Standard uncertainty of the real and of the imaginary part of each.
    """

    tone: Tone
    spec: TwoTone
    amplitudes: Mapping[Product, float]
    stds: Mapping[Product, float]

    @property
    def is_difference(self) -> bool:
        """Whether this is a pair of like level, read by its difference products."""
        return self.spec.lower_over_upper < 2

    @property
    def denominator(self) -> float:
        """Amplitude the figures refer to: the high tone, or the sum of both for a pair of like level."""
        upper = self.amplitudes[UPPER]
        return upper + self.amplitudes[LOWER] if self.is_difference else upper

    def order(self, order: int) -> Reading:
        """Return the figure of one order, in dB: the amplitudes of its products summed, over the denominator.

        Parameters
        ----------
        order : int
            2 or 3; up to 5 for a low and a high tone.
        """
        products = (DIFFERENCE if self.is_difference else MODULATION)[order - 2]
        return self._reading([products], f"no product of order {order}")

    @property
    def total(self) -> Reading:
        """Root sum of squares of the orders, in dB."""
        return self._reading(DIFFERENCE if self.is_difference else MODULATION, "no product")

    @property
    def limit_db(self) -> float:
        """Level, in dB over the denominator, below which one product of the lowest order would not show."""
        first = (DIFFERENCE if self.is_difference else MODULATION)[0]
        largest = max((self.stds[p] for p in first if p in self.stds), default=1.0)
        return DB_PER_NEPER * math.log(max(DETECTED * largest, 1e-15) / self.denominator)

    def _reading(self, orders: Sequence[tuple[Product, ...]], none: str) -> Reading:
        """Root sum of squares over orders of summed amplitudes; what does not show counts as nothing."""
        power = variance = hidden = 0.0
        for products in orders:
            inside = [p for p in products if p in self.amplitudes]
            shown = [p for p in inside if self.amplitudes[p] > max(DETECTED * self.stds[p], 1e-14)]
            own = sum(self.amplitudes[p] for p in shown)
            power += own**2
            variance += own**2 * sum(self.stds[p] ** 2 for p in shown)
            hidden += sum(DETECTED * self.stds[p] for p in inside) ** 2
        reference = self.denominator
        if not power:
            bound = DB_PER_NEPER * math.log(max(math.sqrt(hidden), 1e-15) / reference)
            reason = f"{none} above {bound:.1f} dB: the noise hides what is lower"
            return Unmeasured("dB", reason, "raise the level or record with less noise", at_most=bound)
        size = math.sqrt(power)
        return Quantity.from_std(
            DB_PER_NEPER * math.log(size / reference), DB_PER_NEPER * math.sqrt(variance) / power, "dB"
        )


def measure_pairs(cut: Cut, segment: SegmentOf[TwoTone]) -> tuple[TwoToneFit, ...]:
    """Measure every level of a segment of two tones.

    Parameters
    ----------
    cut : Cut
        Capture of the whole segment.
    segment : SegmentOf[TwoTone]
        Levels that the cut does not hold whole are left out.

    Notes
    -----
    The first 40 % of each level are left out for settling; a product that still drifts is widened. Both
    tones, a constant and all products up to order 5 inside the band are solved jointly, with one relative
    frequency offset by Gauss-Newton steps; of products that fall together the one of lowest order stands for
    all.
    """
    spec = segment.spec
    pairs = []
    for tone in segment.tones:
        start = tone.start + max(SETTLE_SHARE * tone.length, 2 * tone.ramp)
        stop = tone.stop - EDGE_S * cut.rate_hz
        piece = cut.between(start, stop)
        if piece.samples.size and piece.samples.size >= int((stop - start) / cut.step):
            pairs.append(_widened(_fit(piece, tone, spec), piece))
    return tuple(pairs)


def _widened(pair: TwoToneFit, piece: Cut) -> TwoToneFit:
    """Add to each product what its drift from the first half of the cut to the second may still bring."""
    half = piece.samples.size // 2
    middle = piece.start + piece.step * half
    halves = piece.between(piece.start, middle), piece.between(middle, piece.start + 3 * piece.step * half)
    first, second = (_fit(cut, pair.tone, pair.spec) for cut in halves)
    seconds, stds = half * piece.step / piece.rate_hz, dict(pair.stds)
    for product in first.amplitudes.keys() & second.amplitudes.keys() & stds.keys():
        drift = abs(second.amplitudes[product] - first.amplitudes[product])
        if drift > DRIFTS * math.hypot(first.stds[product], second.stds[product]):
            stds[product] = math.hypot(stds[product], drift * SLOWER_S / seconds / Z95)
    return replace(pair, stds=stds)


def _fit(piece: Cut, tone: Tone, spec: TwoTone) -> TwoToneFit:
    n = piece.samples.size
    seconds = piece.step / piece.rate_hz * (np.arange(n) - (n - 1) / 2)
    products = _products(spec, rate_hz=piece.rate_hz, duration_s=n * piece.step / piece.rate_hz)
    frequency = np.array([a * spec.lower_hz + b * spec.upper_hz for a, b in products])
    relative = 0.0
    for _ in range(ITERATIONS):
        angle = 2 * np.pi * frequency[:, None] * (1 + relative) * seconds
        basis = np.concatenate([np.cos(angle), np.sin(angle), np.ones((1, n))])
        slope_of = 2 * np.pi * frequency[:, None] * seconds
        solution, residual = _solve(basis, piece.samples)
        cosine, sine = solution[: frequency.size], solution[frequency.size : -1]
        slope = np.sum(slope_of * (sine[:, None] * np.cos(angle) - cosine[:, None] * np.sin(angle)), axis=0)
        slope = _solve(basis, slope)[1]
        energy = float(slope @ slope)
        relative += float(slope @ residual) / energy if energy > 0 else 0.0
    residual = residual - slope * float(slope @ residual) / energy if energy > 0 else residual
    sizes = np.hypot(cosine, sine)
    stds = stds_beside(residual, frequency * piece.step / piece.rate_hz, farthest=FARTHEST_BIN)
    return TwoToneFit(
        tone,
        spec,
        {p: float(a) for p, a in zip(products, sizes, strict=True)},
        {p: float(s) for p, s in zip(products, stds, strict=True)},
    )


def _solve(basis: Array, samples: Array) -> tuple[Array, Array]:
    """Least squares by normal equations with one refinement; solution and residual."""
    normal = basis @ basis.T
    solution = np.asarray(np.linalg.solve(normal, basis @ samples), dtype=np.float64)
    solution = np.asarray(solution + np.linalg.solve(normal, basis @ (samples - solution @ basis)))
    return solution, samples - solution @ basis


def _products(spec: TwoTone, *, rate_hz: float, duration_s: float) -> list[Product]:
    """Products of positive frequency inside the band that can be told apart, tones first, then by order."""
    reach = range(-HIGHEST_ORDER, HIGHEST_ORDER + 1)
    every = [(a, b) for a in reach for b in reach if 1 <= abs(a) + abs(b) <= HIGHEST_ORDER]
    every.sort(key=lambda p: (abs(p[0]) + abs(p[1]), p not in (LOWER, UPPER), p))
    apart = APART_BINS / duration_s
    kept: dict[Product, float] = {}
    for product in every:
        at = product[0] * spec.lower_hz + product[1] * spec.upper_hz
        if apart < at < BAND * rate_hz and all(abs(at - other) > apart for other in kept.values()):
            kept[product] = at
    return list(kept)
