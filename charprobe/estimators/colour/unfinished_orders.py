"""Harmonics that change with the speed of a gain that has not quite settled."""

from __future__ import annotations

import numpy as np

from charprobe.estimators.tone import ToneAndRest, order_stds
from charprobe.values.arrays import Array, Complex
from charprobe.values.cut import Cut
from charprobe.values.orders import orders_of

UNLIKELY = 4.0  # times what is expected, from which an order changes by itself and not with the speed
INEXACT = 0.25  # of what is taken out, as doubt: an order that is nothing but that is not detected
LATE = 0.25  # of a tone, at its end: the slowest speed at which its orders were heard


def unfinished_orders(steady: Cut, found: ToneAndRest, course: Complex) -> tuple[Array, Array]:
    """Find what the speed of the gain adds to harmonics 2, 3, ...

    Parameters
    ----------
    steady : Cut
        The tone with the movement of its fundamental taken out.
    found : ToneAndRest
        Its fitted orders, at least one, and what they leave over.
    course : ndarray of complex, shape (n,)
        What was taken out, as a movement of the amplitude of a carrier whose phase is 0 at mid-cut.

    Returns
    -------
    movement : ndarray, shape (n,)
        What to take out of `steady` so that the orders are those of no speed.
    unsure : ndarray, shape (orders - 1,)
        What this adds to the standard uncertainty of each part of each order over the fundamental.

    Notes
    -----
    A gain that attack and release hold in balance ripples; one that still moves has more of one and less of
    the other. Whatever pulls it at speed ``v`` comes in pulses whose lines are up to twice their mean: at
    ``n - 1`` times the frequency ``w`` they change the ripple by ``2 v / ((n - 1) w)`` and order n by half
    of that. So order n changes by ``c v``, and ``c`` is expected around 0 with a standard uncertainty of
    ``1 / ((n - 1) w)``; what the order itself did during the tone tells it where noise lets it.
    An order that changes far more than that is left alone: something other than the speed moves it.
    From the speed at the end of the tone to none, nothing was heard: all that is taken out there is doubt.
    """
    fit, residual = found.fit, found.rest
    n, own = steady.samples.size, float(abs(fit.amplitudes[0]))
    per_sample = fit.frequency_hz * steady.step / steady.rate_hz
    middle = steady.start + steady.step * (n - 1) / 2
    phase = np.angle(fit.amplitudes[0]) + 2 * np.pi * fit.frequency_hz * (
        (middle - fit.phase_origin) / steady.rate_hz
    )
    speed = np.gradient(course.real * np.cos(phase) + course.imag * np.sin(phase)) / own
    uneven = speed - speed.mean()
    energy = float(uneven @ uneven)
    order = np.arange(2, fit.orders + 1)
    if order.size == 0 or energy == 0:
        return np.zeros(n), np.zeros(order.size)
    carriers = orders_of(
        phase / (2 * np.pi) - per_sample * (n - 1) / 2, per_sample, count=n, highest=fit.orders
    )
    followed = 2 * carriers.sums((uneven * residual)[None, :])[0, 2:] / energy / own
    left = residual - own * uneven * carriers.wave(np.concatenate([[0, 0], followed]))
    stds = order_stds(left, per_sample, fit.orders)[1:]
    noise = stds / own * np.sqrt(n / energy)
    expected = 1 / ((order - 1) * 2 * np.pi * per_sample)
    of_speed = np.abs(followed) < UNLIKELY * np.hypot(expected, noise)
    sure = np.where(of_speed, expected**2 / (expected**2 + noise**2), 0.0)
    movement = own * speed * carriers.wave(np.concatenate([[0, 0], sure * followed]))
    taken = sure * np.abs(followed)
    unheard = taken * abs(float(speed[-int(n * LATE) :].mean()))
    inexact = INEXACT * taken * abs(float(speed.mean()))
    spread = abs(float(speed.mean())) * np.sqrt(sure) * noise
    return movement, np.sqrt(unheard**2 + inexact**2 + spread**2)
