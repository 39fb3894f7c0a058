"""Held-out stages that let go by laws of their own: ramps, roots, depth, tails, two bands."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numba import njit

from tests.benchmarks.zoo import loops
from tests.benchmarks.zoo.compressors import by, in_bands, law_of, mean_square
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, keep

Loop = Callable[[Array, float, float, float], Array]


@njit(cache=True)
def ramp_loop(wanted: Array, up: float, span: float, _: float) -> Array:
    """A straight line in dB that takes `span` samples from any depth."""
    out = np.empty_like(wanted)
    state, pace = 0.0, 0.0
    for n in range(wanted.size):
        if wanted[n] >= state:
            state = up * state + (1 - up) * wanted[n]
            pace = state / span
        else:
            state = max(wanted[n], state - pace)
        out[n] = state
    return out


@njit(cache=True)
def root_loop(wanted: Array, up: float, pace: float, _: float) -> Array:
    """Falls by `pace` times the root of what is left to go: it ends, and ends slowly."""
    out = np.empty_like(wanted)
    state = 0.0
    for n in range(wanted.size):
        if wanted[n] > state:
            state = up * state + (1 - up) * wanted[n]
        else:
            state = max(wanted[n], state - pace * np.sqrt(state - wanted[n]))
        out[n] = state
    return out


@njit(cache=True)
def depth_loop(wanted: Array, up: float, time: float, deep: float) -> Array:
    """An exponential that is the faster the deeper the reduction stands; time in samples, `deep` in dB."""
    out = np.empty_like(wanted)
    state = 0.0
    for n in range(wanted.size):
        if wanted[n] > state:
            state = up * state + (1 - up) * wanted[n]
        else:
            state += (wanted[n] - state) * (1 + state / deep) / time
        out[n] = state
    return out


@njit(cache=True)
def tail_loop(wanted: Array, up: float, time: float, end: float) -> Array:
    """Falls as one over time, in the end as an exponential; times in samples, the first at 10 dB."""
    out = np.empty_like(wanted)
    state = 0.0
    for n in range(wanted.size):
        left = state - wanted[n]
        if left < 0:
            state = up * state + (1 - up) * wanted[n]
        else:
            state -= left * (left / 10 / time + 1 / end)
        out[n] = state
    return out


def late(wanted: Array, up: float, down: float, hold: float) -> Array:
    """Waits for `hold` samples after the last rise, then follows two poles one after the other."""
    return loops.two_times(loops.waiting(wanted, up, down, math.ceil(hold)), up, up, 0.0)


def _letting_go(
    name: str, about: str, draw: Draw, loop: Loop, numbers: Callable[[int], tuple[float, float]]
) -> Stage:
    law, up, over = law_of(draw, -23, 4, 4), draw.time(0.005), draw.time(0.003)

    def process(sound: Array, rate: int) -> Output:
        wanted = law(mean_square(sound, over, over, rate))
        return by(sound, loop(wanted, keep(up, rate), *numbers(rate)), 1.0)

    return Stage(name, about, process, calm_s=8.0, trace_is_gain=True)


def timed_ramp(draw: Draw) -> Stage:
    span = draw.time(0.3)
    return _letting_go(
        "timed-ramp",
        "a straight line in dB, as long from any depth",
        draw,
        ramp_loop,
        lambda rate: (span * rate, 0.0),
    )


def root_release(draw: Draw) -> Stage:
    pace = draw.amount(20.0)
    return _letting_go(
        "root-release",
        "slows down as the root of what is left to go, and ends",
        draw,
        root_loop,
        lambda rate: (pace / rate, 0.0),
    )


def depth_release(draw: Draw) -> Stage:
    time, deep = draw.time(0.3), draw.amount(5.0)
    return _letting_go(
        "depth-release", "the deeper the faster", draw, depth_loop, lambda rate: (time * rate, deep)
    )


def tail_release(draw: Draw) -> Stage:
    time, end = draw.time(0.03), draw.time(0.6)
    return _letting_go(
        "tail-release", "falls as one over time", draw, tail_loop, lambda rate: (time * rate, end * rate)
    )


def late_release(draw: Draw) -> Stage:
    hold, down = draw.time(0.05), draw.time(0.15)
    return _letting_go(
        "late-release",
        "holds, then two poles one after the other",
        draw,
        late,
        lambda rate: (keep(down, rate), hold * rate),
    )


def parted_bands(draw: Draw) -> Stage:
    low_law, high_law = law_of(draw, -28, 3, 4), law_of(draw, -26, 4, 2)
    split, up, downs = 3000 * draw.amount(1.0), draw.time(0.005), (draw.time(0.06), draw.time(0.35))

    def process(sound: Array, rate: int) -> Output:
        return in_bands(
            sound, rate, split=split, over=0.003, low=(low_law, up, downs[0]), high=(high_law, up, downs[1])
        )

    return Stage(
        "parted-bands",
        "a carrier in two bands that let go at different speeds",
        process,
        warm_s=1.0,
        calm_s=4.0,
        turns_phase=True,
    )


def decoupled_reduction(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -23, 5, 6), draw.time(0.01), draw.time(0.25)

    def process(sound: Array, rate: int) -> Output:
        wanted = law(mean_square(sound, 0.002, 0.002, rate))
        return by(sound, loops.decoupled(wanted, keep(up, rate), keep(down, rate), 0.0), 1.0)

    return Stage(
        "decoupled-reduction",
        "reduction in dB: its peaks let go, then all is smoothed",
        process,
        calm_s=4.0,
        trace_is_gain=True,
    )


RELEASE_LAWS = (
    timed_ramp,
    root_release,
    depth_release,
    tail_release,
    late_release,
    parted_bands,
    decoupled_reduction,
)
