"""Held-out stages whose gain remembers: releases of many kinds, and gain that moves by itself."""

from __future__ import annotations

import numpy as np

from tests.benchmarks.zoo import curves, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, factor, keep


def automatic_release(draw: Draw) -> Stage:
    law, up, fast, slow = law_of(draw, -24, 4, 5), draw.time(0.003), draw.time(0.06), draw.time(1.2)
    share = min(0.8, draw.amount(0.4))

    def process(sound: Array, rate: int) -> Output:
        wanted = law(mean_square(sound, 0.002, 0.002, rate))
        one = loops.two_times(wanted, keep(up, rate), keep(fast, rate), 0.0)
        other = loops.two_times(wanted, keep(12 * up, rate), keep(slow, rate), 0.0)
        return by(sound, (1 - share) * one + share * other)

    return Stage(
        "automatic-release",
        "two stores let go after 60 ms and 1.2 s",
        process,
        warm_s=1.0,
        calm_s=12.0,
        trace_is_gain=True,
    )


def programme_release(draw: Draw) -> Stage:
    law, up, short, charge = law_of(draw, -22, 4, 4), draw.time(0.004), draw.time(0.05), draw.time(0.8)

    def process(sound: Array, rate: int) -> Output:
        wanted = law(mean_square(sound, 0.003, 0.003, rate))
        return by(sound, loops.charged(wanted, keep(up, rate), short * rate, 8.0, charge * rate))

    return Stage(
        "programme-release",
        "release stretches with time and depth of reduction",
        process,
        calm_s=10.0,
        trace_is_gain=True,
    )


def optical_memory(draw: Draw) -> Stage:
    threshold, up, dark, trap = draw.level(-24), draw.time(0.01), draw.time(0.08), draw.time(2.5)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.003, rate)
        drive = np.maximum(0.0, factor(curves.corner(level, threshold=threshold, slope=0.3, knee=10)) - 1)
        return by(sound, loops.light_cell(drive, up * rate, dark * rate, trap * rate, 12.0))

    return Stage(
        "optical-memory",
        "light cell that darkens the slower the longer it was lit",
        process,
        warm_s=20.0,
        calm_s=25.0,
        remembers_s=70.0,
        trace_is_gain=True,
    )


def slow_leveller(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -30, 3, 12), draw.time(0.06), draw.time(1.8)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.01, 0.01, rate)
        return by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 2.0)

    return Stage(
        "slow-leveller", "attack 60 ms, release 1.8 s", process, warm_s=2.0, calm_s=30.0, trace_is_gain=True
    )


def gain_wobble(draw: Draw) -> Stage:
    law, up, down, depth = law_of(draw, -20, 3), draw.time(0.006), draw.time(0.1), draw.amount(0.12)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.002, 0.002, rate)
        wave = depth * np.sin(2 * np.pi * 0.7 * np.arange(sound.size) / rate)
        return by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), wave)

    return Stage(
        "gain-wobble", "its gain swings slowly by itself", process, trace_is_gain=True, unsteady_db=depth
    )


def warming(draw: Draw) -> Stage:
    law, up, down, most = law_of(draw, -18, 4, 3), draw.time(0.005), draw.time(0.14), draw.amount(0.5)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.002, 0.002, rate)
        out = by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0))
        cooler = factor(-most * np.minimum(1.0, 4 * loops.warmed(out.sound, 1 / (8.0 * rate))))
        return Output(out.sound * cooler, out.gain * cooler)

    return Stage(
        "warming", "loses gain as it warms up", process, warm_s=4.0, trace_is_gain=True, unsteady_db=most / 4
    )


def held_release(draw: Draw) -> Stage:
    law, up, down, hold = law_of(draw, -22, 4, 2), draw.time(0.004), draw.time(0.12), draw.time(0.02)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.001, 0.001, rate)
        return by(sound, loops.waiting(law(level), keep(up, rate), keep(down, rate), round(hold * rate)))

    return Stage("held-release", "waits 20 ms before it lets go", process, trace_is_gain=True)


def straight_release(draw: Draw) -> Stage:
    law, up, pace = law_of(draw, -22, 4, 2), draw.time(0.005), draw.amount(80)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.002, 0.002, rate)
        return by(sound, loops.straight_fall(law(level), keep(up, rate), pace / rate))

    return Stage(
        "straight-release", "recovers by a constant number of dB a second", process, trace_is_gain=True
    )


SLOW_COMPRESSORS = (
    automatic_release,
    programme_release,
    optical_memory,
    slow_leveller,
    gain_wobble,
    warming,
    held_release,
    straight_release,
)
