"""One tone of a map of harmonics over level and frequency: each order with what hides it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from charprobe.estimators.colour.tone_settling import AT_REST, SETTLED_DB, ToneSettling
from charprobe.estimators.tone import ToneFit
from charprobe.estimators.tone_residual import StrayLine
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array, Complex
from charprobe.values.quantity import DB_PER_NEPER, DETECTED, ORDER_SEEN, Z95, Quantity, Reading, Unmeasured
from charprobe.values.wording import number_text, rounded_text

HIGHEST = 10
FLOOR_DB = 0.0002  # levels of recorders and drifts unseen within a tone, as for level steps
MOST_DOUBT_DB = 1.0  # a level that may still have had farther to go than this tells no harmonics
ONE_SIDE = 0.025  # of all cases, beyond one end of an interval of 95 %
NEXT = "raise the level, lengthen the tones, or record with less noise"


@dataclass(frozen=True)
class HarmonicCell:
    """One tone of a level x frequency map.

    Attributes
    ----------
    tone : Tone
        What was played.
    fit : ToneFit
        The fitted orders.
    ratios : ndarray of complex, shape (orders - 1,)
        Order n = 2, 3, ... over the fundamental; the angle is the phase of order n less n times that of the
        fundamental (cosine convention).
    stds : ndarray, shape (orders - 1,)
        Standard uncertainty of the real and of the imaginary part of each ratio, from the noise.
    moving_stds : ndarray, shape (orders - 1,)
        The same for what still moved: the level, which order n follows n - 1 times or more, or the order.
    settling : ToneSettling
        How far the level still had to go.
    strays : tuple of StrayLine
        Steady lines beside the tone that are no harmonics of it, strongest first.
    path_std_db : float
        Standard uncertainty of the level for what the gain of path and gear moved by during the take.
    path_shares : ndarray or None, shape (orders - 1,)
        Size of each ratio that the recording path may have made, as the bypass shows; None without any.
    bent_stds : ndarray of float, shape (orders - 1,), or 0
        Standard uncertainties for a path that does not pass an order as it passes the tone.
    noise : Quantity or None
        Unweighted noise from 20 Hz to 20 kHz beside the tone, in dBFS, harmonics and lines left out.
    """

    tone: Tone
    fit: ToneFit
    ratios: Complex
    stds: Array
    moving_stds: Array
    settling: ToneSettling = AT_REST
    strays: tuple[StrayLine, ...] = ()
    path_std_db: float = 0.0
    path_shares: Array | None = None
    bent_stds: Array | float = 0.0
    noise: Quantity | None = None

    @property
    def orders(self) -> int:
        """Highest order inside the band, 10 at most; 1 if not even the second fits."""
        return int(self.ratios.size) + 1

    @property
    def settled(self) -> bool:
        """Whether less than 0.05 dB was left to go, interval included."""
        return self.settling.doubt_db <= SETTLED_DB

    @property
    def told(self) -> bool:
        """Whether the level was near enough to settled for harmonics and level to be given."""
        return self.settling.doubt_db <= MOST_DOUBT_DB

    @property
    def drifts(self) -> bool:
        """Whether the orders that are seen may still move, together, by more than a level that is told."""
        seen = [order - 2 for order in range(2, self.orders + 1) if self.detected(order)]
        moving, size = (float(np.linalg.norm(of[seen])) for of in (self.moving_stds, self.ratios))
        return Z95 * moving > (10 ** (MOST_DOUBT_DB / 20) - 1) * size

    @property
    def hiding_stds(self) -> Array:
        """Standard uncertainties with what the path may have made: what an order may be nothing but."""
        return np.hypot(self.stds, 0.0 if self.path_shares is None else self.path_shares / Z95)

    @property
    def whole_stds(self) -> Array:
        """The same with what still moved and what the path may have bent."""
        return np.hypot(np.hypot(self.hiding_stds, self.moving_stds), self.bent_stds)

    @property
    def fundamental(self) -> Reading:
        """Level in dBFS that the fundamental settles at."""
        if not self.told:
            return self._moving("dBFS")
        level = self.fit.level(1)
        if isinstance(level, Unmeasured):
            return level
        std = math.hypot(level.std, FLOOR_DB, self.settling.std_db, self.path_std_db)
        return Quantity.from_std(level.value + self.settling.remaining_db, std, "dBFS")

    def _moving(self, unit: str) -> Unmeasured:
        left = rounded_text(max(abs(self.settling.remaining_db), 0.001), 1)
        reason = f"the gain had not settled during this tone: about {left} dB were left to go"
        return Unmeasured(unit, reason, "a recipe with longer tones")

    @property
    def limits_dbc(self) -> Array:
        """Level over the fundamental at which each order would just be detected; shape (orders - 1,)."""
        return np.asarray(DB_PER_NEPER * np.log(np.maximum(ORDER_SEEN * self.stds, 1e-15)))

    def detected(self, order: int) -> bool:
        """Tell whether an order rises above the noise beside it; False outside the band."""
        if order > self.orders or not self.told:
            return False
        return bool(abs(self.ratios[order - 2]) > max(ORDER_SEEN * float(self.stds[order - 2]), 1e-14))

    def level(self, order: int) -> Reading:
        """Level of one order over the fundamental, in dBc, or the bound below which it lies."""
        if order > self.orders:
            reason = f"order {order} of {self.tone.frequency_hz:g} Hz lies above the band of the capture"
            return Unmeasured("dBc", reason, "a lower tone or a higher sampling rate")
        if not self.told:
            return self._moving("dBc")
        size, std = float(abs(self.ratios[order - 2])), float(self.stds[order - 2])
        low = least_seen(size, std) if self.detected(order) else 0.0
        if low <= 0:
            bound = DB_PER_NEPER * math.log(max(size + Z95 * std, ORDER_SEEN * std, 1e-15))
            reason = f"no harmonic {order} above {number_text(bound, 1)} dBc: the noise hides what is lower"
            return Unmeasured("dBc", reason, NEXT, at_most=bound)
        whole, hiding = float(self.whole_stds[order - 2]), float(self.hiding_stds[order - 2])
        if Z95 * hiding < size:
            told = _in_db(size, whole, DB_PER_NEPER, even=self.path_shares is None)
            return replace(told, low=min(told.low, DB_PER_NEPER * math.log(low)))
        reason = f"the recording path itself makes as much as harmonic {order} here, as the bypass shows"
        high = DB_PER_NEPER * math.log(size + Z95 * whole)
        return Unmeasured("dBc", reason, "a cleaner path, or a lower level in it", at_most=high)

    def phase(self, order: int) -> Reading:
        """Phase of one order less `order` times that of the fundamental, in degrees from -180 to 180."""
        level = self.level(order)
        if isinstance(level, Unmeasured):
            return Unmeasured("deg", level.reason, level.next)
        ratio, std = self.ratios[order - 2], float(self.whole_stds[order - 2])
        own = float(self.fit.stds[0] / abs(self.fit.amplitudes[0]))
        return Quantity.from_std(
            float(np.degrees(np.angle(ratio))), math.degrees(math.hypot(std / abs(ratio), order * own)), "deg"
        )

    def power(self, orders: Sequence[int]) -> tuple[float, float, float]:
        """Power of some orders over the fundamental's, less the noise's share, and its standard uncertainty.

        The latter whole, and of noise and path alone, which may hide it. Orders outside the band count as
        nothing. The power may come out below zero where there is only noise.
        """
        chosen = [order - 2 for order in orders if order <= self.orders]
        size2, noise2 = np.abs(self.ratios[chosen]) ** 2, self.stds[chosen] ** 2
        std, hiding = (
            float(np.sqrt(np.sum(4 * size2 * each[chosen] ** 2 + 4 * noise2**2)))
            for each in (self.whole_stds, self.hiding_stds)
        )
        return float(np.sum(size2 - 2 * noise2)), std, hiding

    @property
    def thd(self) -> Reading:
        """Root sum of squares of orders 2 to 10 over the fundamental, in dBc, or its bound."""
        if self.orders < 2:
            reason = f"no harmonic of {self.tone.frequency_hz:g} Hz lies inside the band of the capture"
            return Unmeasured("dBc", reason, "a lower tone or a higher sampling rate")
        if not self.told:
            return self._moving("dBc")
        power, std, hiding = self.power(range(2, HIGHEST + 1))
        lone = 2 * math.sqrt(float(np.sum(self.stds**4)))  # scatter where there is only noise
        if power <= max(DETECTED * lone, Z95 * hiding, 1e-28):
            bound = 10 * math.log10(max(max(power, 0.0) + Z95 * std, DETECTED * lone, 1e-30))
            hides = "the noise hides" if self.path_shares is None else "noise and the recording path hide"
            reason = f"all harmonics together lie below {number_text(bound, 1)} dBc: {hides} them"
            return Unmeasured("dBc", reason, NEXT, at_most=bound)
        return _in_db(power, std, DB_PER_NEPER / 2, even=False)


def least_seen(size: float, std: float) -> float:
    """Least true size of an order so large: of orders that are seen one in forty seems so much larger.

    Of many orders that are too small those are told that noise has made larger. 0 where it may be all noise.
    """
    if std == 0:
        return size
    seen, low, high = size / std, 0.0, size / std - Z95
    for _ in range(30):
        middle = (low + high) / 2
        told, larger = (math.erfc((limit - middle) / math.sqrt(2)) for limit in (ORDER_SEEN, seen))
        low, high = (low, middle) if larger > ONE_SIDE * told else (middle, high)
    return low * std if low > 1e-6 else 0.0


def _in_db(size: float, std: float, per_neper: float, *, even: bool) -> Quantity:
    """A size in dB: its ends are those of the size itself, unless they are `even` or the low one is none."""
    value = per_neper * math.log(size)
    if even or Z95 * std >= size:
        return Quantity.from_std(value, per_neper * std / size, "dBc")
    low, high = (per_neper * math.log(size + k * Z95 * std) for k in (-1, 1))
    return Quantity(value, low, high, "dBc")
