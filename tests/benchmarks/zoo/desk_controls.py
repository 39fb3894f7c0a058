"""Held-out stages whose gain moves as a desk's do: gates with a range, a bridge of valves, a maker of loudness, a parallel mix."""

from __future__ import annotations

import numpy as np
from numba import njit
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from tests.benchmarks.zoo import curves, filters, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.declared import Declared
from tests.benchmarks.zoo.saturators import finely
from tests.benchmarks.zoo.stage import Array, Draw, Output, decibels, keep


@njit(cache=True)
def remote_loop(
    sound: Array, bias: float, steep: float, up: float, quick: float, slow: float, share: float, bend: float
) -> tuple[Array, Array]:
    """A pair whose slope falls with its bias; the rectified output charges two stores in series, one slow."""
    out, gain = np.empty_like(sound), np.empty_like(sound)
    near, far = 0.0, 0.0
    for n in range(sound.size):
        control = (1 - share) * near + share * far
        gain[n] = 1 / (1 + control) ** 2
        cell = gain[n] * sound[n]
        out[n] = cell - bend * control * sound[n] ** 3
        over = steep * max(0.0, abs(out[n]) - bias)
        near += (over - near) * (up if over > near else quick)
        far += (near - far) * slow
    return out, gain


def ranged_expander(draw: Draw) -> Declared:
    bottom, slope, most = draw.level(-34, 3), draw.ratio(2.2), draw.level(12.0, 3)
    open_s, close_s, kept = draw.time(0.002), draw.time(0.09), draw.time(0.03)

    def process(sound: Array, rate: int) -> Output:
        level = decibels(loops.peak_kept(np.abs(sound), round(kept * rate), keep(0.02, rate)))
        wanted = np.minimum(curves.below(level, threshold=bottom, slope=slope), most)
        return by(sound, loops.two_times(wanted, keep(close_s, rate), keep(open_s, rate), most))

    return Declared(
        "ranged-expander", "an expander that takes so many dB and no more", process, trace_is_gain=True, kind="expander",
        true={"static.lower_threshold": bottom, "static.lower_slope": slope},
    )  # fmt: skip


def keyed_gate(draw: Draw) -> Declared:
    bottom, most = draw.level(-44, 3), draw.level(40.0, 10)
    open_s, close_s = draw.time(0.001), draw.time(0.15)
    low, high = 200 * draw.amount(1.0), 4000 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        heard = filters.low_part(filters.high_part(sound, low, rate), high, rate)
        level = mean_square(heard, 0.003, 0.03, rate)
        wanted = np.where(level < bottom, most, 0.0)
        return by(sound, loops.two_times(wanted, keep(close_s, rate), keep(open_s, rate), most))

    return Declared(
        "keyed-gate",
        "a gate that hears the middle alone",
        process,
        trace_is_gain=True,
        kind="expander",
        calm_s=3.0,
    )


def remote_valves(draw: Draw) -> Declared:
    bias, steep = 0.05 * draw.amount(1.0), 14 * draw.amount(1.0)
    up, quick, slow, share = draw.time(0.004), draw.time(0.15), draw.time(0.9), min(0.8, draw.amount(0.35))
    bend = draw.amount(0.02)

    def process(sound: Array, rate: int) -> Output:
        shares = 1 - keep(up, rate), 1 - keep(quick, rate), 1 - keep(slow, rate)
        out, gain = remote_loop(sound, bias, steep, *shares, share, bend)
        return Output(out, gain)

    return Declared(
        "remote-valves", "a pair of valves whose slope falls, and two stores", process,
        warm_s=6.0, calm_s=8.0, kind="compressor",
    )  # fmt: skip


def loudness_maker(draw: Draw) -> Declared:
    drive, top, ahead = draw.level(8.0, 3), draw.level(-1.5, 0.8), draw.time(0.0015)
    quick, slow = draw.time(0.02), draw.time(0.25)

    def process(sound: Array, rate: int) -> Output:
        late = round(ahead * rate)
        driven = 10 ** (drive / 20) * sound
        wanted = curves.corner(decibels(np.abs(driven)), threshold=top, slope=0.0)
        peaks = maximum_filter1d(wanted, late + 1, origin=late // 2, mode="constant")
        fast = loops.two_times(peaks, 0.0, keep(quick, rate), 0.0)
        base = loops.two_times(0.6 * peaks, keep(slow, rate), keep(slow, rate), 0.0)
        both = np.maximum(fast, base)
        smooth = uniform_filter1d(both, late + 1, origin=late // 2, mode="constant")
        return by(np.concatenate([np.zeros(late), driven])[: sound.size], smooth)

    return Declared(
        "loudness-maker", "drives a limiter that looks ahead and lets go twice", process,
        late_s=ahead, trace_is_gain=True, kind="limiter", calm_s=3.0, warm_s=3.0,
    )  # fmt: skip


def mixed_crush(draw: Draw) -> Declared:
    law, up, down = law_of(draw, -30, 8, 6), draw.time(0.0008), draw.time(0.08)
    part, makeup, drive = min(0.9, draw.amount(0.4)), draw.level(6.0, 2), draw.amount(0.4)

    def process(sound: Array, rate: int) -> Output:
        peak = decibels(loops.peak_kept(np.abs(sound), round(0.004 * rate), keep(0.02, rate)))
        wet = by(sound, loops.two_times(law(peak), keep(up, rate), keep(down, rate), 0.0), makeup).sound
        mix = 0.6 * ((1 - part) * sound + part * wet)
        return Output(finely(lambda v: np.tanh(drive * v) / drive, mix), None)

    return Declared(
        "mixed-crush", "a quick cell mixed with its input, into a soft output", process, kind="compressor"
    )


def sloped_key(draw: Draw) -> Declared:
    law, up, down = law_of(draw, -25, 3, 5), draw.time(0.008), draw.time(0.18)
    lift, hiss = draw.level(6.0, 3), 10 ** (draw.level(-92, 4) / 20)

    def process(sound: Array, rate: int) -> Output:
        heard = filters.high_shelf(sound, 900.0, lift, rate)
        level = mean_square(heard, 0.005, 0.005, rate)
        own = hiss / np.sqrt(2) * np.random.default_rng(sound.size + 5).standard_normal(sound.size)
        cell = by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 1.5)
        return Output(cell.sound + own, cell.gain)

    return Declared("sloped-key", "hears highs louder, hisses behind its cell", process, kind="compressor")


def bounded_lift(draw: Draw) -> Declared:
    bottom, slope, most = draw.level(-36, 3), 0.55, draw.level(8.0, 2)
    up, down = draw.time(0.02), draw.time(0.2)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.01, 0.01, rate)
        lift = np.minimum((1 - slope) * np.clip(bottom - level, 0.0, 60.0), most)
        return by(sound, -loops.two_times(lift, keep(down, rate), keep(up, rate), most))

    return Declared(
        "bounded-lift", "lifts what lies under a level, up to so many dB", process, trace_is_gain=True, calm_s=3.0,
        kind="compressor", true={"static.lower_threshold": bottom, "static.lower_slope": slope},
    )  # fmt: skip


def peak_trap(draw: Draw) -> Declared:
    top, up, down, kept = draw.level(-10, 3), draw.time(0.00006), draw.time(0.03), draw.time(0.006)

    def process(sound: Array, rate: int) -> Output:
        over = decibels(np.abs(sound))
        wanted = curves.corner(over, threshold=top, slope=0.05, knee=2)
        return by(sound, loops.waiting(wanted, keep(up, rate), keep(down, rate), round(kept * rate)), 1.0)

    return Declared(
        "peak-trap", "catches peaks at once, holds and lets go", process, trace_is_gain=True, kind="limiter"
    )


DESK_CONTROLS = (
    ranged_expander,
    keyed_gate,
    remote_valves,
    loudness_maker,
    mixed_crush,
    sloped_key,
    bounded_lift,
    peak_trap,
)
