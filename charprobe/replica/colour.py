"""Colour that runs: a monotone curve applied without aliasing, and undone."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.signal import firwin, oaconvolve

from charprobe.replica.curve import add_filtered, shape
from charprobe.replica.parts import Colour
from charprobe.values.arrays import Array, Flags

HALF_CELLS = 2048  # of the table, on each side of rest
FACTOR = 4
REACH = 48  # samples on each side that shape one, of up and down together
_TURNS = 40
LEAST_SLOPE = 0.05  # of a curve where it is undone: flatter parts are not followed
RUN_AWAY = 4.0  # times the least energy of what is left: turns lead nowhere
_CLOSE = 1e-8  # of full scale: -160 dB
_GAUSS, _WEIGHTS = np.polynomial.legendre.leggauss(4)


def table_of(colour: Colour) -> Array:
    """Return what the curve adds to its input: rows of offset, slope and place, shape (m, 3).

    One row of zeros where there is no colour.
    """
    if not colour.amplitude:
        return np.zeros((1, 3))
    size, odd, even = (np.array(part) for part in (colour.amplitude, colour.odd_db, colour.even_db))
    places = np.concatenate([-size[::-1], [0.0], size])
    slopes_db = np.concatenate([(odd - even)[::-1], [0.0], odd + even])
    spline = CubicSpline(places, slopes_db)
    top = float(size[-1])
    grid = np.linspace(-top, top, 2 * HALF_CELLS + 1)
    step = top / HALF_CELLS
    nodes = grid[:-1, None] + step * (_GAUSS + 1) / 2
    pieces = (_added_slope(spline(nodes)) * _WEIGHTS).sum(axis=1) * step / 2
    offset = np.concatenate([[0.0], np.cumsum(pieces)])
    return np.stack([offset - offset[HALF_CELLS], _added_slope(spline(grid)), grid], axis=1)


def _added_slope(slope_db: Array) -> Array:
    return np.asarray(np.expm1(np.clip(slope_db, -200.0, 40.0) * np.log(10) / 20))


@lru_cache(maxsize=1)
def _phases() -> Array:
    """Low-pass of up and down by phases: 80 dB, for what the curve adds lies far below the sound already."""
    kernel = firwin(REACH * FACTOR - 1, 0.9 / FACTOR, window=("kaiser", 8.0))
    return np.ascontiguousarray(np.append(kernel, 0.0).reshape(REACH, FACTOR).T)


def added(samples: Array, table: Array, *, oversampled: bool) -> Array:
    """What the curve adds to samples of shape (n,), taken as silent beyond both ends.

    Oversampled, sound passes up and down four-fold only where the curve differs from a wire, so that what
    the curve leaves alone comes out unchanged, the highest octave included.
    """
    if not oversampled:
        out = np.empty(samples.size)
        shape(np.ascontiguousarray(samples), table, out)
        return out
    wide, out = np.pad(samples, REACH - 1), np.zeros(samples.size)
    for taps in _phases():  # of a symmetric kernel: up and down together are late by 0
        fine, bent = np.zeros((2, samples.size + REACH - 1))
        add_filtered(wide, FACTOR * taps[::-1].copy(), fine)
        shape(fine, table, bent)
        add_filtered(bent, taps, out)
    return out


def shaped(samples: Array, table: Array, *, oversampled: bool) -> Array:
    """Send samples of shape (n,) through a curve."""
    return np.asarray(samples + added(samples, table, oversampled=oversampled))


def unshaped(samples: Array, table: Array, *, oversampled: bool) -> Array:
    """Find samples of shape (n,) that the curve turns into these.

    Notes
    -----
    Starts from the inverse curve and takes off what the curve still adds too much, over its slope there:
    without aliasing that is exact at once, with it a few turns reach `_CLOSE`. In the highest octave, of
    which an oversampled curve hears little, turns go by one: by more they would run away. Where the curve is
    all but flat, see `is_flat`, the inverse curve stays: what was there does not come back.
    """
    guess, least = _inverse(samples, table), np.inf
    best, lost = guess, is_flat(guess, table)
    for _ in range(_TURNS):
        error = samples - shaped(guess, table, oversampled=oversampled)
        left = np.abs(error[~lost])
        if (energy := float(np.sum(left**2))) < least:
            best, least = guess, energy
        if energy > RUN_AWAY * least or np.max(left, initial=0.0) < _CLOSE:
            break
        more = np.where(lost, 0.0, 1 / np.maximum(_slope(guess, table), LEAST_SLOPE)) - 1
        guess = guess + error + oaconvolve(more * error, _heard_by_curves(), mode="same")
    return best


@lru_cache(maxsize=1)
def _heard_by_curves() -> Array:
    """Low-pass of what is sure to reach an oversampled curve and to pass behind it."""
    return np.asarray(firwin(2 * REACH + 1, 0.5))


def is_flat(samples: Array, table: Array) -> Flags:
    """Whether samples that enter a curve lie where it is all but flat, as on a ceiling."""
    return np.asarray(_slope(samples, table) < LEAST_SLOPE)


def _slope(samples: Array, table: Array) -> Array:
    return np.asarray(1 + np.interp(samples, table[:, 2], table[:, 1]))


def _inverse(samples: Array, table: Array) -> Array:
    """Input of the plain curve, by linear interpolation of its table; straight beyond it, or flat."""
    values = table[:, 2] + table[:, 0]
    beyond = samples - np.clip(samples, values[0], values[-1])
    slope = np.where(beyond < 0, 1 + table[0, 1], 1 + table[-1, 1])
    straight = np.where(slope < LEAST_SLOPE, 0.0, beyond / np.maximum(slope, LEAST_SLOPE))
    return np.asarray(np.interp(samples, values, table[:, 2]) + straight)
