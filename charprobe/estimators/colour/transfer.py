"""The static transfer curve that the harmonics of one tone amount to, and whether one curve explains them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import chebyshev

from charprobe.estimators.colour.harmonic_cell import HIGHEST, HarmonicCell
from charprobe.values.arrays import Array
from charprobe.values.quantity import DB_PER_NEPER, Z95, Unmeasured

CLEAR = 12.0  # standard uncertainties by which an order must stand out for its phase and level to be judged
PHASE_OFF_DEG = 5.0  # phases this far from 0 or 180 degrees are memory: a converter's own filters turn less
SPREAD_DB = 0.5  # so are levels that differ by more between tones of one level
SURE = 3.0  # standard uncertainties that come on top
POINTS = 101
BEYOND = 100  # order up to which the last known ones foretell others


@dataclass(frozen=True)
class Transfer:
    """Output against input at the drive of one tone, without a constant.

    Attributes
    ----------
    cell : HarmonicCell
        The tone.
    drive : float
        Its amplitude at the input, full scale = 1.
    x, y : ndarray, shape (101,)
        Input from ``-drive`` to ``drive`` and output, full scale = 1; ``y`` is 0 where ``x`` is.
    slope : float
        Gain of small signals: the slope of the curve where ``x`` is 0.
    std, deviation_std : ndarray, shape (101,)
        Standard uncertainties of ``y`` and of `deviation`: of level and orders, of phases that are not those
        of a curve, and of orders above the 10th, should they go on falling as the last ones do.
    """

    cell: HarmonicCell
    drive: float
    x: Array
    y: Array
    slope: float
    std: Array
    deviation_std: Array

    @property
    def deviation(self) -> Array:
        """What the curve departs from the straight line of small signals; shape (101,), full scale = 1."""
        return self.y - self.slope * self.x


@dataclass(frozen=True)
class Memory:
    """Two signs that one curve is not the whole story.

    Attributes
    ----------
    phase_off_deg : float
        Distance of the clear harmonics' phases from 0 or 180 degrees, power-weighted, 0 to 90.
    spread_db : float
        Largest difference in level of one clear harmonic between tones of one level.
    order : int
        The order that differs so.
    phase_std_deg, spread_std_db : float
        Standard uncertainties of both.
    """

    phase_off_deg: float
    spread_db: float
    order: int
    phase_std_deg: float
    spread_std_db: float

    @property
    def found(self) -> bool:
        """Whether either sign is there."""
        turned = self.phase_off_deg > PHASE_OFF_DEG + SURE * self.phase_std_deg
        return turned or self.spread_db > SPREAD_DB + SURE * self.spread_std_db


def transfer_curve(cell: HarmonicCell, *, input_dbfs: float) -> Transfer | None:
    """Build the memoryless curve from the harmonics of one tone.

    Parameters
    ----------
    cell : HarmonicCell
        A tone without gain reduction.
    input_dbfs : float
        Its level at the input.

    Returns
    -------
    Transfer or None
        None if no harmonic rises above the noise.

    Notes
    -----
    A memoryless curve driven by ``A cos t`` gives ``sum c_n cos n t = sum c_n T_n(x / A)`` with real ``c_n``:
    the parts of the harmonics in phase with n times the fundamental. Orders above the 10th are not known.
    """
    level = cell.fundamental
    if isinstance(level, Unmeasured) or not any(cell.detected(n) for n in range(2, HIGHEST + 1)):
        return None
    own = float(abs(cell.fit.amplitudes[0]))
    drive = 10 ** (input_dbfs / 20)
    series = own * np.concatenate([[0.0, 1.0], cell.ratios.real])
    u = np.linspace(-1.0, 1.0, POINTS)
    terms: Array = np.asarray(chebyshev.chebvander(u, BEYOND), dtype=float)
    terms -= terms[POINTS // 2]
    slopes: Array = np.asarray(chebyshev.chebval(0.0, chebyshev.chebder(np.eye(BEYOND + 1))), dtype=float)
    stds = np.concatenate([[0.0, level.std / DB_PER_NEPER], cell.whole_stds])
    aside = np.concatenate([[0.0, 0.0], np.abs(cell.ratios) - np.abs(cell.ratios.real), _tail(cell)])

    def std_of(shapes: Array) -> Array:
        common = np.abs(shapes) @ aside / Z95
        return np.asarray(own * np.hypot(np.sqrt(shapes[:, : stds.size] ** 2 @ stds**2), common))

    return Transfer(
        cell,
        drive,
        drive * u,
        terms[:, : series.size] @ series,
        float(slopes[: series.size] @ series) / drive,
        std_of(terms),
        std_of(np.asarray(terms - np.outer(u, slopes), dtype=float)),
    )


def _tail(cell: HarmonicCell) -> Array:
    """Sizes that orders beyond the last one known may have: even and odd ones fall on as they did.

    The law is a power of the order, as steep as the shallower of the last two falls; corners make such tails,
    and smooth curves shorter ones.
    """
    sizes, orders = np.abs(cell.ratios), np.arange(cell.orders + 1, BEYOND + 1)
    tail = np.zeros(orders.size)
    for last in range(max(6, cell.orders - 1), cell.orders + 1):
        known = np.array([last - 4, last - 2, last])
        if any(cell.detected(order) for order in (last - 2, last)):
            falls = -np.diff(np.log(np.maximum(sizes[known - 2], 1e-15))) / np.diff(np.log(known))
            power = max(1.0, float(falls.min()))
            most = float(np.max(sizes[known[1:] - 2] * known[1:] ** power))
            tail += np.where((orders - last) % 2 == 0, most * orders**-power, 0.0)
    return tail


def memory_signs(cell: HarmonicCell, others: Sequence[HarmonicCell]) -> Memory | None:
    """Look for memory in the phases of one tone and in how its harmonics differ from those of other tones.

    Parameters
    ----------
    cell : HarmonicCell
        The tone whose harmonics make the curve.
    others : sequence of HarmonicCell
        Tones of the same level and other frequencies.

    Returns
    -------
    Memory or None
        None if no harmonic is clear enough to be judged.
    """
    clear = [order for order in range(2, HIGHEST + 1) if _clear(cell, order)]
    if not clear:
        return None
    ratios = cell.ratios[np.array(clear) - 2]
    off = math.degrees(math.atan2(float(np.linalg.norm(ratios.imag)), float(np.linalg.norm(ratios.real))))
    turn_std = math.degrees(float(np.max(cell.stds[np.array(clear) - 2])) / float(np.linalg.norm(ratios)))
    strongest = sorted(clear, key=lambda order: -abs(cell.ratios[order - 2]))[:2]
    spreads = {order: _spread_db(order, [cell, *others]) for order in strongest}
    order = max(spreads, key=lambda one: spreads[one][0])
    return Memory(off, spreads[order][0], order, turn_std, spreads[order][1])


def _clear(cell: HarmonicCell, order: int) -> bool:
    return order <= cell.orders and bool(abs(cell.ratios[order - 2]) > CLEAR * cell.stds[order - 2])


def _spread_db(order: int, cells: Sequence[HarmonicCell]) -> tuple[float, float]:
    """Highest less lowest level of an order among the tones that show it clearly, and its uncertainty."""
    seen = [cell for cell in cells if _clear(cell, order)]
    levels = [DB_PER_NEPER * math.log(abs(cell.ratios[order - 2])) for cell in seen]
    stds = [DB_PER_NEPER * float(cell.stds[order - 2] / abs(cell.ratios[order - 2])) for cell in seen]
    return max(levels) - min(levels), math.sqrt(2) * max(stds)
