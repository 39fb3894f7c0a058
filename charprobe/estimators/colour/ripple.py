"""Colour told apart from gain ripple by how harmonics depend on frequency at one level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from charprobe.estimators.colour.harmonic_cell import HIGHEST, HarmonicCell
from charprobe.estimators.passage import Passage, PassageAt, places
from charprobe.values.arrays import Array, Complex
from charprobe.values.quantity import ORDER_SEEN, Quantity, Reading, Unmeasured

NOWHERE = PassageAt("nowhere", None)
LEAST_FREQUENCIES = 3
CORNERS_HZ = np.geomspace(1.0, 3000.0, 48)  # of the detector's smoothing, tried one by one
MODEL_ERROR = 0.03  # share of a harmonic that the description is not asked to follow
AS_GOOD = 2.0  # misfits within this factor, and so many beside, are as good
TOP_ERROR = 0.35  # share by which ripple at the highest frequency may differ: loops in software delay it


@dataclass(frozen=True)
class Split:
    """Harmonics of one level, each divided into colour and ripple.

    Attributes
    ----------
    cells : tuple of HarmonicCell
        The level's cells, frequency ascending.
    corner_hz : float
        Corner of the smoothing that the ripple was described with.
    colour, colour_stds : ndarray, shape (9,)
        Orders 2 to 10: the part that does not depend on frequency, over the fundamental, and its standard
        uncertainty; 0 and infinity where fewer than two frequencies show the order.
    ripple : ndarray of complex, shape (9,)
        Ripple of each order at frequency zero; `ripple_at` gives it anywhere else.
    placed : PassageAt
        Where the linear part of the stage was taken to stand; `colour` is what it is without that part.
    others : tuple of Split
        The same with the linear part elsewhere, where that fits as well.
    """

    cells: tuple[HarmonicCell, ...]
    corner_hz: float
    colour: Complex
    colour_stds: Array
    ripple: Complex
    placed: PassageAt = NOWHERE
    others: tuple[Split, ...] = ()

    def ripple_at(self, order: int, frequency_hz: float) -> complex:
        """Ripple part of one order, over the fundamental, for a tone of some frequency."""
        passed = self.placed.ripple_factor(order, np.array(frequency_hz))
        return complex(passed * self.ripple[order - 2] / (1 + 1j * frequency_hz / self.corner_hz))

    def colour_at(self, cell: HarmonicCell) -> tuple[Complex, Array]:
        """Colour of every order of one cell, over its fundamental, and its standard uncertainty."""
        orders = np.arange(2, cell.orders + 1)
        frequency_hz = np.array(cell.tone.frequency_hz)
        passed = np.array([complex(self.placed.factor(int(n), frequency_hz)) for n in orders])
        return self.colour[: orders.size] * passed, self.colour_stds[: orders.size] * np.abs(passed)

    def share(self, cell: HarmonicCell, *, uncoloured: bool = False) -> Reading:
        """Share of a cell's third harmonic that ripple explains, in percent.

        The part of the measured harmonic along which the ripple points; 0 to 100. The interval covers
        every place of the linear part that fits. Of an `uncoloured` cell, whose harmonics are known to be
        ripple, all is ripple that is no colour, also where it falls with frequency as no single smoothing
        lets it; the interval then covers what the description leaves out.
        """
        if not cell.detected(3):
            return Unmeasured(
                "%", "no third harmonic rises above the noise under gain reduction", "hotter or lower tones"
            )
        own = self._share(cell)
        also = [own, *(other._share(cell) for other in self.others)]
        if uncoloured:
            own = self._share(cell, all_but_colour=True)
            also.append(own)
        return Quantity(own.value, min(q.low for q in also), max(q.high for q in also), "%")

    def _share(self, cell: HarmonicCell, *, all_but_colour: bool = False) -> Quantity:
        whole, (colour, stds) = complex(cell.ratios[1]), self.colour_at(cell)
        part = whole - colour[1] if all_but_colour else self.ripple_at(3, cell.tone.frequency_hz)
        share = (part * whole.conjugate()).real / abs(whole) ** 2
        std = float(np.hypot(stds[1] / abs(whole), MODEL_ERROR))
        inside = float(np.clip(share, 0, 1))
        low, high = (float(np.clip(inside + k * 1.96 * std, 0, 1)) for k in (-1, 1))
        return Quantity(100 * inside, 100 * low, 100 * high, "%")


def split_ripple(
    levels: Sequence[Sequence[HarmonicCell]], *, passage: Passage | None = None
) -> tuple[Split, ...]:
    """Divide the harmonics of levels under gain reduction into colour and ripple.

    Parameters
    ----------
    levels : sequence of sequences of HarmonicCell
        For each level the cells of at least three frequencies, all under gain reduction.
    passage : Passage or None
        Linear response of the stage, where it is known.

    Returns
    -------
    tuple of Split
        One per level; empty if there is no level.

    Notes
    -----
    A one-pole smoothing of corner ``fc`` leaves a ripple on the gain at twice the tone's frequency whose
    complex size goes as ``1 / (1 + j f / fc)``; its harmonics over the fundamental do the same and fall by
    6 dB per octave. What memoryless saturation makes does not depend on frequency. So for each order
    ``h(f) = c + r / (1 + j f / fc)`` is solved for ``c`` and ``r`` by weighted least squares, with one ``fc``
    for all levels. Each harmonic is trusted to no better than 3 %, and the ripple at the highest frequency
    to no better than 35 %, so colour is claimed only where it exceeds the ripple there.

    A filter beside the saturation makes colour depend on frequency too. So the known linear response is put
    behind it, ahead of it, and nowhere; the place that fits best is taken, and those that fit within
    `AS_GOOD` of it go into the interval of the share. A filter of which the response shows nothing, such as
    one that a second filter undoes, may still pass for ripple.
    """
    chosen = [tuple(sorted(cells, key=lambda cell: cell.tone.frequency_hz)) for cells in levels]
    if any(len(cells) < LEAST_FREQUENCIES for cells in chosen):
        raise ValueError(f"each level needs at least {LEAST_FREQUENCIES} frequencies")
    if not chosen:
        return ()
    frequencies_hz = np.unique([cell.tone.frequency_hz for cells in chosen for cell in cells])
    candidates = [_best(chosen, placed) for placed in places(passage, frequencies_hz)]
    least = min(misfit for misfit, _, _ in candidates)
    fitting = sorted((c for c in candidates if c[0] <= AS_GOOD * least + AS_GOOD), key=lambda c: c[0])
    alternatives = [tuple(_split(cells, fc, placed) for cells in chosen) for _, fc, placed in fitting]
    first, *rest = alternatives
    return tuple(replace(split, others=tuple(other[i] for other in rest)) for i, split in enumerate(first))


@dataclass(frozen=True)
class _Order:
    """One order of a level over frequency, and what becomes of colour 1 and of ripple 1 at frequency zero."""

    frequency_hz: Array
    ratios: Complex
    stds: Array
    colour: Complex
    passed: Complex

    def fit(self, corners_hz: Array) -> _Fits:
        """Weighted least squares over frequency, with each of several corners."""
        sigma = np.maximum(np.hypot(self.stds, MODEL_ERROR * np.abs(self.ratios)), 1e-12)
        ripple = self.passed / (1 + 1j * self.frequency_hz / corners_hz[:, None])
        basis = np.stack([np.broadcast_to(self.colour, ripple.shape), ripple], axis=2) / sigma[:, None]
        adjoint = basis.conj().swapaxes(1, 2)
        inverse = np.linalg.pinv(adjoint @ basis, rcond=1e-10, hermitian=True)
        solution = inverse @ (adjoint @ (self.ratios / sigma))[:, :, None]
        misfit = np.sum(np.abs(self.ratios / sigma - (basis @ solution)[:, :, 0]) ** 2, axis=1)
        return _Fits(solution[:, :, 0], np.abs(inverse[:, 0, 0]), misfit)


@dataclass(frozen=True)
class _Fits:
    """Colour and ripple found with each corner, variance of the colour, and misfit."""

    solution: Complex
    variance: Array
    misfit: Array


def _order_of(cells: tuple[HarmonicCell, ...], order: int, placed: PassageAt) -> _Order | None:
    """Collect one order of a level; None where fewer than two frequencies have it."""
    having = [cell for cell in cells if cell.orders >= order]
    if len(having) < 2:
        return None
    frequency = np.array([cell.tone.frequency_hz for cell in having])
    return _Order(
        frequency,
        np.array([cell.ratios[order - 2] for cell in having]),
        np.array([cell.stds[order - 2] for cell in having]),
        placed.factor(order, frequency),
        placed.ripple_factor(order, frequency),
    )


def _best(levels: Sequence[tuple[HarmonicCell, ...]], placed: PassageAt) -> tuple[float, float, PassageAt]:
    """Misfit and corner of the smoothing that fits best with the linear part at one place."""
    orders = [_order_of(cells, order, placed) for cells in levels for order in (2, 3)]
    misfits = sum((order.fit(CORNERS_HZ).misfit for order in orders if order), np.zeros(CORNERS_HZ.size))
    best = int(np.argmin(misfits))
    return float(misfits[best]), float(CORNERS_HZ[best]), placed


def _split(cells: tuple[HarmonicCell, ...], corner_hz: float, placed: PassageAt) -> Split:
    solved = [_solve(_order_of(cells, order, placed), corner_hz) for order in range(2, HIGHEST + 1)]
    colour, stds, ripple = (np.array(column) for column in zip(*solved, strict=True))
    return Split(cells, corner_hz, colour, stds, ripple, placed)


def _solve(order: _Order | None, corner_hz: float) -> tuple[complex, float, complex]:
    """Colour of one order, its standard uncertainty, and ripple at frequency zero."""
    if order is None:
        return 0j, np.inf, 0j
    fit = order.fit(np.array([corner_hz]))
    (colour, ripple), misfit = fit.solution[0], float(fit.misfit[0])
    if not np.any(np.abs(order.ratios) > ORDER_SEEN * order.stds):
        top = order.colour[-1]
        return complex(order.ratios[-1] / top), float(order.stds[-1] / abs(top)), 0j
    freedom = 2 * order.frequency_hz.size - 4
    widen = max(1.0, misfit / freedom) if freedom > 0 else 1.0
    at_top = abs(ripple * order.passed[-1])
    at_top /= abs(order.colour[-1] * (1 + 1j * order.frequency_hz[-1] / corner_hz))
    std = float(np.hypot(np.sqrt(fit.variance[0] * widen), TOP_ERROR * at_top))
    return complex(colour), std, complex(ripple)
