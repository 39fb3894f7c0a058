"""Held-out stages whose control mixes rules: a mean of dB beside peaks, two ratios, light old and new, ramps, walks, its own average."""

from __future__ import annotations

import numpy as np
from numba import njit
from scipy.ndimage import maximum_filter1d, uniform_filter1d
from scipy.signal import lfilter

from tests.benchmarks.zoo import curves, filters, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, decibels, factor, keep

RATE_HZ = 48_000


@njit(cache=True)
def lamp_loop(drive: Array, quick: float, dark: float, fill: float, drain: float) -> tuple[Array, Array]:
    """Two stores behind one lamp: the second fills from the first and drains on its own."""
    near, far = np.empty_like(drive), np.empty_like(drive)
    one, two = 0.0, 0.0
    for n in range(drive.size):
        one += (drive[n] - one) * (quick if drive[n] > one else dark)
        two += (one - two) * (fill if one > two else drain)
        near[n], far[n] = one, two
    return near, far


@njit(cache=True)
def walking_loop(wanted: Array, step: float, tick: int, slower: int) -> Array:
    """One step towards what is wanted each tick, back only each `slower` ticks; less than a step is left alone."""
    out = np.empty_like(wanted)
    state, waits = 0.0, 0
    for n in range(wanted.size):
        if n % tick == 0:
            waits += 1
            if wanted[n] - state >= step:
                state += step
                waits = 0
            elif state - wanted[n] >= step and waits >= slower:
                state -= step
                waits = 0
        out[n] = state
    return out


def crest_override(draw: Draw) -> Stage:
    law, span, over = law_of(draw, -26, 3, 6), draw.time(0.02), draw.level(9.0, 3)
    up, down = draw.time(0.004), draw.time(0.2)

    def process(sound: Array, rate: int) -> Output:
        count = max(1, round(span * rate))
        logs = decibels(np.maximum(np.abs(sound), 1e-5))
        mean = uniform_filter1d(logs, count, origin=(count - 1) // 2, mode="constant", cval=-100.0) + 6.02
        peak = decibels(loops.peak_kept(np.abs(sound), round(0.004 * rate), keep(0.008, rate))) - over
        wanted = law(np.maximum(mean, peak))
        return by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0), 3.0)

    return Stage(
        "crest-override",
        "a mean of dB over a window, unless peaks stand far above it",
        process,
        trace_is_gain=True,
    )


def two_ratios(draw: Draw) -> Stage:
    low_law, high_law = law_of(draw, -24, 2, 6), law_of(draw, -30, 5, 3)
    split, up, down = 1500 * draw.amount(1.0), draw.time(0.008), draw.time(0.15)

    def process(sound: Array, rate: int) -> Output:
        low = filters.low_part(filters.low_part(sound, split, rate), split, rate)
        lows, highs = (low_law, low), (high_law, filters.high_part(sound, split, rate))
        wanted = np.maximum(*(law(mean_square(part, 0.004, 0.004, rate)) for law, part in (lows, highs)))
        return by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0), 2.0)

    return Stage(
        "two-ratios", "lows ask for one ratio, highs for another, one cell", process, trace_is_gain=True
    )


def lamp_pair(draw: Draw) -> Stage:
    threshold, quick, dark = draw.level(-25), draw.time(0.012), draw.time(0.07)
    fill, drain, share = draw.time(0.6), draw.time(1.6), min(0.8, draw.amount(0.35))

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.004, 0.004, rate)
        drive = factor(curves.corner(level, threshold=threshold, slope=0.25, knee=8)) - 1
        near, far = lamp_loop(drive, *(1 - keep(time, rate) for time in (quick, dark, fill, drain)))
        gain = 1.4 / (1 + (1 - share) * near + share * far)
        return Output(sound * gain, gain)

    return Stage(
        "lamp-pair", "one cell answers the lamp, a second fills slowly behind it", process,
        warm_s=6.0, calm_s=14.0, trace_is_gain=True,
    )  # fmt: skip


def ramped_ahead(draw: Draw) -> Stage:
    top, ahead, kept, pace = draw.level(-16, 3), draw.time(0.002), draw.time(0.02), draw.amount(40.0)

    def process(sound: Array, rate: int) -> Output:
        late = round(ahead * rate)
        wanted = curves.corner(decibels(np.abs(sound)), threshold=top, slope=0.05, knee=2.0)
        held = maximum_filter1d(wanted, late + 1, origin=late // 2, mode="constant")
        held = loops.straight_fall(loops.peak_kept(held, round(kept * rate), 0.0), 0.0, pace / rate)
        gain = lfilter(np.full(late, 1 / late), [1.0], factor(-held) - 1) + 1
        return Output(np.concatenate([np.zeros(late), sound])[: sound.size] * gain, gain)

    return Stage(
        "ramped-ahead", "looks ahead, its factor falls in a straight ramp", process,
        late_s=round(ahead * RATE_HZ) / RATE_HZ, trace_is_gain=True,
    )  # fmt: skip


def fourth_power(draw: Draw) -> Stage:
    law, over, up, down = law_of(draw, -20, 4, 5), draw.time(0.006), draw.time(0.002), draw.time(0.12)

    def process(sound: Array, rate: int) -> Output:
        power = lfilter([1 - keep(over, rate)], [1, -keep(over, rate)], 8 / 3 * sound**4)
        level = decibels(np.sqrt(np.sqrt(np.maximum(power, 0.0))))
        return by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 2.0)

    return Stage(
        "fourth-power", "its detector means the fourth power of the sound", process, trace_is_gain=True
    )


def walking_steps(draw: Draw) -> Stage:
    law, step, tick, slower = law_of(draw, -24, 4, 4), 0.375, draw.time(0.0012), 3

    def process(sound: Array, rate: int) -> Output:
        wanted = law(mean_square(sound, 0.008, 0.02, rate))
        return by(sound, walking_loop(wanted, step, max(1, round(tick * rate)), slower), 1.5)

    return Stage(
        "walking-steps", "its gain walks in steps, one a tick, back at a third of the pace", process,
        trace_is_gain=True, unsteady_db=0.375,
    )  # fmt: skip


def own_average(draw: Draw) -> Stage:
    slow, over, slope = draw.time(1.0), draw.level(-8.0, 3), 1 / draw.ratio(3)
    up, down = draw.time(0.006), draw.time(0.15)

    def process(sound: Array, rate: int) -> Output:
        level = np.maximum(mean_square(sound, 0.004, 0.02, rate), -60.0)
        usual = lfilter([1 - keep(slow, rate)], [1, -keep(slow, rate)], level + 60.0) - 60.0
        wanted = curves.corner(level - usual, threshold=over, slope=slope, knee=4)
        return by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0), 1.0)

    return Stage(
        "own-average", "its threshold follows the average of what it hears", process,
        warm_s=12.0, calm_s=14.0, trace_is_gain=True,
    )  # fmt: skip


MIXED_CONTROLS = (
    crest_override,
    two_ratios,
    lamp_pair,
    ramped_ahead,
    fourth_power,
    walking_steps,
    own_average,
)
