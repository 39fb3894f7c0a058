"""What moves during a tone: its level, its offset, and harmonics that change with the speed of the level."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from charprobe.estimators.tone import ToneAndRest
from charprobe.values.arrays import Array
from charprobe.values.cut import Cut
from charprobe.values.phasor import phasor

DEGREE = 5  # of the polynomials that describe slow movement
PERIODS = 2.0  # of the tone for each degree: what swings as fast as it is no slow movement
SEEN = 3.0  # standard uncertainties from which a movement shows
UNLIKELY = 4.0  # times what is expected, from which something else than the speed moves an order
INEXACT = 0.25  # of what is taken out, as doubt: an order that is nothing but that is not detected
LATE = 0.25  # of a tone, at its end: the slowest speed at which its orders were heard
NEVER = 1e12  # times the precision of what is expected: held at 0


@dataclass(frozen=True)
class Movement:
    """What to take out of a tone so that its orders are those at rest.

    `wave` is to be subtracted; the level `moved` by that share from the mean of its first half to that of its
    second; `unsure` is what this adds to the standard uncertainty of each part of orders 2, 3, ... over it.
    """

    wave: Array
    moved: float
    unsure: Array


def movement_of(cut: Cut, found: ToneAndRest) -> Movement:
    """Find what moves during a stretch of a tone, of which the fitted orders and what they leave are known.

    Notes
    -----
    Level and phase of the fundamental, and the offset that filters and bias leave behind, move as Legendre
    polynomials. A gain that attack and release hold in balance ripples; one that still moves has more of one
    and less of the other. Whatever pulls it at speed ``v`` comes in pulses whose lines are up to twice their
    mean: at ``n - 1`` times the frequency ``w`` they change the ripple by ``2 v / ((n - 1) w)``, order n by
    half of that. So order n changes by ``c v``, each part of ``c`` around 0 with a standard uncertainty of
    ``1 / ((n - 1) w)``. All are solved with the orders at once: only together few periods tell them apart.
    Where one changes far more than that all are left as they are: something other than the speed moves them.
    From the speed at the end of the tone to none, nothing was heard: all that is taken out there is doubt.
    """
    fit, n = found.fit, cut.samples.size
    per_sample = fit.frequency_hz * cut.step / cut.rate_hz
    at, degree = np.arange(n) - (n - 1) / 2, min(DEGREE, int(per_sample * n / PERIODS))
    shapes: Array = np.asarray(
        np.polynomial.legendre.legvander(2 * at / n, degree)[:, 1:].T, dtype=np.float64
    )
    carrier = phasor(float(at[0]) * per_sample, per_sample, n)
    sides = np.stack([carrier.real, -carrier.imag, np.full(n, 0.5)])
    # for many periods the parts are orthogonal: <P, P> = n / (2 degree + 1), halved by the carrier
    norms = 2 * np.arange(1, degree + 1) + 1
    moves = 2 * (found.rest * sides) @ shapes.T * norms / n
    seen = SEEN * np.maximum(float(fit.stds[0]) * np.sqrt(norms), 1e-13)
    if not np.any(np.abs(moves) > seen):  # then it moves no order by as much as noise does
        return Movement(np.zeros(n), 0.0, np.zeros(fit.orders - 1))
    turns = np.multiply.accumulate(np.broadcast_to(carrier, (fit.orders, n)))
    tone = np.concatenate([np.ones((1, n)), np.stack([turns.real, -turns.imag], axis=1).reshape(-1, n)])
    slow: Array = (sides[:, None] * shapes).reshape(-1, n)
    heard = _heard(np.concatenate([tone, slow]), cut.samples)
    solved = _solve(heard, np.zeros(len(slow)))
    real, imag = solved.values[: 2 * degree].reshape(2, degree) @ shapes
    course = (real + 1j * imag) / solved.fundamental
    speed = np.gradient(course.real)
    expected = np.repeat(1 / (np.arange(1, fit.orders) * 2 * np.pi * per_sample), 2)
    heard = heard.beside(tone[3:] * (abs(solved.fundamental) * speed))
    precision = np.concatenate([np.zeros(len(slow)), expected**-2.0])
    for _ in range(2):
        solved = _solve(heard, precision)
        taken = np.hypot(*solved.values[len(slow) :].reshape(-1, 2).T)
        if not np.any(taken > UNLIKELY * expected[::2]):
            break
        precision[len(slow) :] *= NEVER
    unheard = taken * abs(float(speed[-int(n * LATE) :].mean()))
    inexact = INEXACT * taken * abs(float(speed.mean()))
    moved = float(abs(course[-(n // 2) :].mean() - course[: n // 2].mean()))
    wave = solved.values @ heard.rows[len(tone) :]
    return Movement(wave, moved, np.sqrt(solved.unsure**2 + unheard**2 + inexact**2))


@dataclass(frozen=True)
class _Heard:
    """Rows that samples are made of, 1, cos, -sin, ... of the orders first, and their products."""

    rows: Array
    samples: Array
    square: Array
    sums: Array

    @cached_property
    def variance(self) -> float:
        """Mean square of what no sum of the rows is."""
        left = self.samples - np.linalg.lstsq(self.square, self.sums)[0] @ self.rows
        return float(left @ left) / (self.samples.size - len(self.rows)) + 1e-30

    def beside(self, more: Array) -> _Heard:
        """The same with more rows behind its own."""
        across, own = more @ self.rows.T, more @ more.T
        return _Heard(
            np.concatenate([self.rows, more]),
            self.samples,
            np.block([[self.square, across.T], [across, own]]),
            np.concatenate([self.sums, more @ self.samples]),
        )


def _heard(rows: Array, samples: Array) -> _Heard:
    return _Heard(rows, samples, rows @ rows.T, rows @ samples)


@dataclass(frozen=True)
class _Solved:
    """Values of what moves, the fundamental, and what moving adds to the doubt of the other orders."""

    values: Array
    fundamental: complex
    unsure: Array


def _solve(heard: _Heard, precision: Array) -> _Solved:
    """Least squares of orders and of what moves, which stands behind them, held near 0 by its precision."""
    square, count = heard.square, len(heard.rows) - len(precision)
    held = np.diag(np.concatenate([np.zeros(count), heard.variance * precision]))
    covariance = np.linalg.inv(square + held)
    values = covariance @ heard.sums
    added = covariance.diagonal()[3:count] - np.linalg.inv(square[:count, :count]).diagonal()[3:]
    unsure = np.sqrt(heard.variance * np.maximum(added, 0.0).reshape(-1, 2).mean(axis=1))
    own = complex(*values[1:3])
    return _Solved(values[count:], own, unsure / abs(own))
