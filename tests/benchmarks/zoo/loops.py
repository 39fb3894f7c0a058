"""Sample loops of the held-out stages: detectors, smoothing, feedback."""

from __future__ import annotations

import numpy as np
from numba import njit

from tests.benchmarks.zoo.stage import Array


@njit(cache=True)
def two_times(values: Array, up: float, down: float, start: float) -> Array:
    """One pole that follows rises with `up` and falls with `down` (shares kept per sample)."""
    out = np.empty_like(values)
    state = start
    for n in range(values.size):
        part = up if values[n] > state else down
        state = part * state + (1 - part) * values[n]
        out[n] = state
    return out


@njit(cache=True)
def peak_kept(values: Array, hold: int, down: float) -> Array:
    """Peaks taken at once, kept for `hold` samples, then forgotten exponentially."""
    out = np.empty_like(values)
    state, left = 0.0, 0
    for n in range(values.size):
        if values[n] >= state:
            state, left = values[n], hold
        elif left > 0:
            left -= 1
        else:
            state = down * state + (1 - down) * values[n]
        out[n] = state
    return out


@njit(cache=True)
def decoupled(values: Array, up: float, down: float, start: float) -> Array:
    """A detector that rises at once and falls with `down`, then a smoother with `up`."""
    out = np.empty_like(values)
    first, second = start, start
    for n in range(values.size):
        first = max(values[n], down * first + (1 - down) * values[n])
        second = up * second + (1 - up) * first
        out[n] = second
    return out


@njit(cache=True)
def waiting(values: Array, up: float, down: float, hold: int) -> Array:
    """Like `two_times`, but a fall waits for `hold` samples after the last rise."""
    out = np.empty_like(values)
    state, left = 0.0, 0
    for n in range(values.size):
        if values[n] > state:
            state, left = up * state + (1 - up) * values[n], hold
        elif left > 0:
            left -= 1
        else:
            state = down * state + (1 - down) * values[n]
        out[n] = state
    return out


@njit(cache=True)
def straight_fall(values: Array, up: float, step: float) -> Array:
    """Rises with one pole, falls by `step` a sample."""
    out = np.empty_like(values)
    state = 0.0
    for n in range(values.size):
        state = up * state + (1 - up) * values[n] if values[n] > state else max(values[n], state - step)
        out[n] = state
    return out


@njit(cache=True)
def charged(values: Array, up: float, shortest: float, stretch: float, charge: float) -> Array:
    """A fall that gets slower the longer and deeper the state was held up; times in samples."""
    out = np.empty_like(values)
    state, store = 0.0, 0.0
    for n in range(values.size):
        store += (min(state / 12, 1.0) - store) / charge
        if values[n] > state:
            state = up * state + (1 - up) * values[n]
        else:
            state += (values[n] - state) / (shortest * (1 + stretch * store))
        out[n] = state
    return out


@njit(cache=True)
def light_cell(drive: Array, lighting: float, dark: float, trap: float, depth: float) -> Array:
    """Reduction in dB of a light-driven divider whose darkening is held back by what has been trapped."""
    out = np.empty_like(drive)
    glow, trapped = 0.0, 0.0
    for n in range(drive.size):
        trapped += (glow - trapped) / (trap if glow > trapped else 2.5 * trap)
        pace = lighting if drive[n] > glow else dark * (1 + depth * trapped / (glow + 0.02))
        glow += (drive[n] - glow) / pace
        out[n] = 20 * np.log10(1 + glow)
    return out


@njit(cache=True)
def back_loop(
    sound: Array,
    threshold: float,
    steepness: float,
    average: float,
    up: float,
    down: float,
    bend: float,
    inside: bool,
) -> tuple[Array, Array]:
    """Feedback: the level of the output drives the gain; `bend` shapes odd, inside the loop or behind it.

    `average` smooths the square (0: the plain rectifier); the reduction is smoothed in dB.
    """
    out, gain = np.empty_like(sound), np.empty_like(sound)
    square, reduction = 0.0, 0.0
    for n in range(sound.size):
        gain[n] = 10 ** (-reduction / 20)
        cell = gain[n] * sound[n]
        shaped = np.tanh(bend * cell) / bend if bend > 0 else cell
        heard = shaped if inside else cell
        square = average * square + (1 - average) * (2 * heard * heard if average > 0 else heard * heard)
        over = 10 * np.log10(square + 1e-12) - threshold
        wanted = steepness * over if over > 0 else 0.0
        part = up if wanted > reduction else down
        reduction = part * reduction + (1 - part) * wanted
        out[n] = shaped
    return out, gain


@njit(cache=True)
def core(sound: Array, pace: float, leak: float, bend: float) -> Array:
    """A core: the current that its flux (the leaky sum of the voltage) draws is lost, and grows with its cube."""
    out = np.empty_like(sound)
    flux = 0.0
    for n in range(sound.size):
        flux = leak * flux + pace * sound[n]
        out[n] = sound[n] - bend * flux * flux * flux
    return out


@njit(cache=True)
def slew(sound: Array, pace: float, soft: float) -> Array:
    """An output that follows its input by a bent rate: high tones bend first."""
    out = np.empty_like(sound)
    state = 0.0
    for n in range(sound.size):
        state += soft * np.tanh(pace * (sound[n] - state) / soft)
        out[n] = state
    return out


@njit(cache=True)
def warmed(sound: Array, pace: float) -> Array:
    """Mean square over a long time."""
    out = np.empty_like(sound)
    state = 0.0
    for n in range(sound.size):
        state += (sound[n] * sound[n] - state) * pace
        out[n] = state
    return out
