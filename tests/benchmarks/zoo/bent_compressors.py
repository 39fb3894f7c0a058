"""Held-out stages whose static curve is no plain corner."""

from __future__ import annotations

from functools import partial

import numpy as np

from tests.benchmarks.zoo import curves, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, keep


def gradual_knee(draw: Draw) -> Stage:
    law = partial(curves.gradual, threshold=draw.level(-22), slope=1 / draw.ratio(6), width=draw.amount(7))
    up, down = draw.time(0.008), draw.time(0.13)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.003, rate)
        return by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0))

    return Stage(
        "gradual-knee", "a bend so wide that its slope never stops changing", process, trace_is_gain=True
    )


def second_bend(draw: Draw) -> Stage:
    first, second = draw.level(-27, 3), draw.level(-9, 3)
    ratio, back = draw.ratio(3.2), draw.ratio(1.6)
    up, down = draw.time(0.004), draw.time(0.11)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.002, 0.002, rate)
        wanted = curves.corner(level, threshold=first, slope=1 / ratio, knee=4)
        wanted = wanted - curves.corner(level, threshold=second, slope=1 - (1 / back - 1 / ratio), knee=2)
        return by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0))

    return Stage("second-bend", "3.2:1, and 1.6:1 on top", process, trace_is_gain=True)


def falling_curve(draw: Draw) -> Stage:
    law = partial(curves.corner, threshold=draw.level(-20), slope=-draw.amount(0.2), knee=3)
    up, down = draw.time(0.003), draw.time(0.16)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.002, 0.002, rate)
        return by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0))

    return Stage("falling-curve", "more in, less out", process, trace_is_gain=True)


def expander_compressor(draw: Draw) -> Stage:
    law, low, slope = law_of(draw, -20, 3, 2), draw.level(-47, 3), draw.ratio(1.8)
    up, down = draw.time(0.006), draw.time(0.09)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.004, 0.004, rate)
        wanted = law(level) + curves.below(level, threshold=low, slope=slope)
        return by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0))

    return Stage(
        "expander-compressor", "expands below, compresses above", process, warm_s=3.0, trace_is_gain=True
    )


def upward(draw: Draw) -> Stage:
    low, slope, up, down = draw.level(-38, 3), 1 / draw.ratio(1.7), draw.time(0.006), draw.time(0.09)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.004, 0.004, rate)
        wanted = np.maximum(curves.below(level, threshold=low, slope=slope), -10.0)
        return by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), -10.0))

    return Stage("upward", "lifts what is quiet, by 10 dB at most", process, warm_s=3.0, trace_is_gain=True)


BENT_COMPRESSORS = (
    gradual_knee,
    second_bend,
    falling_curve,
    expander_compressor,
    upward,
)
