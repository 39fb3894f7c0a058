"""Held-out stages whose control obeys unusual laws: iron in the loop, ratios that fold back, dead zones, sums of loads, crest fades."""

from __future__ import annotations

import numpy as np
from numba import njit
from scipy.ndimage import uniform_filter1d
from scipy.signal import lfilter

from tests.benchmarks.zoo import filters, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, decibels, factor, keep


@njit(cache=True)
def iron_back_loop(
    sound: Array, most: float, pace: float, leak: float, threshold: float, steep: float,
    average: float, up: float, down: float,
) -> tuple[Array, Array]:  # fmt: skip
    """Feedback that hears its cell through iron: flux above `most` is lost softly, and the loop hears what is left."""
    out, gain = np.empty_like(sound), np.empty_like(sound)
    flux, square, reduction = 0.0, 0.0, 0.0
    for n in range(sound.size):
        gain[n] = 10 ** (-reduction / 20)
        cell = gain[n] * sound[n]
        before = flux
        flux = leak * flux + pace * cell
        kept, was = most * np.tanh(flux / most), most * np.tanh(before / most)
        out[n] = (kept - leak * was) / pace
        square = average * square + (1 - average) * 2 * out[n] * out[n]
        over = 10 * np.log10(square + 1e-12) - threshold
        wanted = steep * over if over > 0 else 0.0
        part = up if wanted > reduction else down
        reduction = part * reduction + (1 - part) * wanted
    return out, gain


@njit(cache=True)
def depth_loop(wanted: Array, busy: Array, up: float, deep: float, quick: float, slow: float) -> Array:
    """Attacks the slower the deeper it already is; lets go the faster the more of what it hears is high. Times in samples."""
    out = np.empty_like(wanted)
    state = 0.0
    for n in range(wanted.size):
        if wanted[n] > state:
            state += (wanted[n] - state) / (up * (1 + state / deep))
        else:
            state += (wanted[n] - state) / (quick * busy[n] + slow * (1 - busy[n]))
        out[n] = state
    return out


@njit(cache=True)
def shifted_loop(
    sound: Array, width: float, threshold: float, pull: float, up: float, down: float
) -> tuple[Array, Array]:
    """A valve with a long foot: its bias sinks with the rectified output, its slope and its bend with the bias."""
    out, gain = np.empty_like(sound), np.empty_like(sound)
    bias = 0.0
    for n in range(sound.size):
        foot = np.exp(-bias)  # of the slope; the foot bends all it passes
        gain[n] = foot
        grid = sound[n] / width
        out[n] = width * foot * (grid + 0.5 * (1 - foot) * grid * grid - 0.08 * grid * grid * grid)
        over = max(np.abs(out[n]) - threshold, 0.0) * pull
        bias = bias + (over - bias) * up if over > bias else bias + (over - bias) * down
    return out, gain


def heard_through_iron(draw: Draw) -> Stage:
    most, threshold, steep = draw.amount(0.5), draw.level(-24), draw.ratio(4) - 1
    average, up, down = draw.time(0.004), draw.time(0.012), draw.time(0.2)

    def process(sound: Array, rate: int) -> Output:
        kept = keep(average, rate), keep(up, rate), keep(down, rate)
        pace, leak = 2 * np.pi * 50 / rate, float(np.exp(-2 * np.pi * 7 / rate))
        return Output(*iron_back_loop(sound, most, pace, leak, threshold, steep, *kept))

    return Stage(
        "heard-through-iron", "feedback that hears its cell through iron", process, warm_s=1.2, calm_s=3.0
    )


def folding_ratio(draw: Draw) -> Stage:
    start, most, top = draw.level(-26), 1 - 1 / draw.ratio(9), draw.level(-9, 3)
    up, down = draw.time(0.004), draw.time(0.14)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.003, rate)
        grid = np.arange(-130.0, 20.0, 0.02)
        share = most * np.clip((grid - start) / 8, 0.0, 1.0) * np.clip((top + 8 - grid) / 8, 0.35, 1.0)
        wanted = np.interp(level, grid, np.cumsum(share) * 0.02)
        return by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0), 2.0)

    return Stage("folding-ratio", "its ratio rises with level, then folds back", process, trace_is_gain=True)


def dead_zone(draw: Draw) -> Stage:
    dead, share, most = 10 ** (draw.level(-30) / 20), draw.amount(12.0), draw.amount(0.9)
    up, down = draw.time(0.006), draw.time(0.15)

    def process(sound: Array, rate: int) -> Output:
        over = np.maximum(np.abs(sound) - dead, 0.0)
        held = loops.two_times(over, keep(up, rate), keep(down, rate), 0.0)
        gain = 1.5 * (1 - most * (1 - 1 / (1 + share * held)))
        return Output(sound * gain, gain)

    return Stage(
        "dead-zone", "a rectifier that hears nothing below its diodes drives a divider with a floor", process,
        trace_is_gain=True,
    )  # fmt: skip


def in_factors(draw: Draw) -> Stage:
    top, share, up, down = (
        10 ** (draw.level(-22) / 20),
        1 - 1 / draw.ratio(3),
        draw.time(0.005),
        draw.time(0.12),
    )

    def process(sound: Array, rate: int) -> Output:
        peak = loops.peak_kept(np.abs(sound), round(0.006 * rate), keep(0.01, rate))
        over = np.maximum(peak - top, 0.0)
        gain = 1 - loops.two_times(share * over / (top + over), keep(up, rate), keep(down, rate), 0.0)
        return Output(1.3 * sound * gain, 1.3 * gain)

    return Stage("in-factors", "its gain computer knows no decibels", process, trace_is_gain=True)


def deep_and_busy(draw: Draw) -> Stage:
    law, up, deep = law_of(draw, -24, 4, 5), draw.time(0.006), draw.amount(6.0)
    quick, slow = draw.time(0.05), draw.time(0.25)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.003, rate)
        high = mean_square(filters.high_part(sound, 2000.0, rate), 0.02, 0.02, rate)
        busy = np.clip(factor(high - mean_square(sound, 0.02, 0.02, rate)), 0.0, 1.0)
        return by(sound, depth_loop(law(level), busy, up * rate, deep, quick * rate, slow * rate), 1.0)

    return Stage(
        "deep-and-busy", "attacks the slower the deeper it is, lets go by how high it sounds", process,
        calm_s=4.0, trace_is_gain=True,
    )  # fmt: skip


def long_foot(draw: Draw) -> Stage:
    width, threshold, pull = draw.amount(1.6), 10 ** (draw.level(-24) / 20), draw.amount(12.0)
    up, down = draw.time(0.01), draw.time(0.25)

    def process(sound: Array, rate: int) -> Output:
        out, gain = shifted_loop(sound, width, threshold, pull, 1 - keep(up, rate), 1 - keep(down, rate))
        return Output(filters.high_part(out, 5.0, rate), gain)

    return Stage("long-foot", "a valve whose bend grows as its bias sinks", process, warm_s=1.5, calm_s=4.0)


def drawn_between(draw: Draw) -> Stage:
    law, up, down, tick = law_of(draw, -22, 4, 4), draw.time(0.004), draw.time(0.12), draw.time(0.0015)

    def process(sound: Array, rate: int) -> Output:
        count = max(2, round(tick * rate))
        blocks = -(-sound.size // count)
        padded = np.pad(sound, (0, blocks * count - sound.size))
        square = 2 * np.mean(padded.reshape(blocks, count) ** 2, axis=1)
        slow = loops.two_times(
            square, keep(0.004, round(rate / count)), keep(0.004, round(rate / count)), 0.0
        )
        wanted = law(decibels(np.sqrt(slow)))
        kept = keep(up, round(rate / count)), keep(down, round(rate / count))
        points = np.concatenate([[0.0, 0.0], loops.two_times(wanted, *kept, 0.0)])
        reduction = np.interp(np.arange(sound.size) / count, np.arange(points.size), points)
        return by(sound, reduction, 2.0)

    return Stage(
        "drawn-between", "computes its gain in blocks and draws lines between", process, trace_is_gain=True
    )


def peaked_chain(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -26, 5, 3), draw.time(0.003), draw.time(0.1)
    low, ring = 70 * draw.amount(1.0), 1.4 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        turn = 2 * np.pi * low / rate
        side = np.sin(turn) / (2 * ring)
        half = (1 + np.cos(turn)) / 2
        heard = lfilter(
            np.array([half, -2 * half, half]) / (1 + side),
            np.array([1 + side, -2 * np.cos(turn), 1 - side]) / (1 + side), sound,
        )  # fmt: skip
        level = decibels(loops.peak_kept(np.maximum(heard, 0.0), round(0.012 * rate), keep(0.02, rate)))
        return by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0))

    return Stage("peaked-chain", "hears upper halves behind a ringing low cut", process, trace_is_gain=True)


def crest_fade(draw: Draw) -> Stage:
    law, up, down, span = law_of(draw, -24, 4, 5), draw.time(0.002), draw.time(0.1), draw.time(0.06)

    def process(sound: Array, rate: int) -> Output:
        peak = decibels(loops.peak_kept(np.abs(sound), round(0.006 * rate), keep(0.02, rate)))
        mean = mean_square(sound, span, span, rate)
        share = np.clip((peak - mean) / 12, 0.0, 1.0)
        heard = np.maximum(mean, share * peak + (1 - share) * mean)
        return by(sound, loops.two_times(law(heard), keep(up, rate), keep(down, rate), 0.0), 2.0)

    return Stage(
        "crest-fade", "fades from a slow mean to a fast peak by the crest", process, warm_s=1.0, calm_s=4.0,
        trace_is_gain=True,
    )  # fmt: skip


def load_steps(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -24, 4, 4), draw.time(0.01), draw.time(0.12)
    span, step = draw.time(0.02), 0.5

    def process(sound: Array, rate: int) -> Output:
        count = max(1, round(span * rate))
        mean = uniform_filter1d(np.abs(sound), count, origin=(count - 1) // 2, mode="constant") * np.pi / 2
        wanted = loops.two_times(law(decibels(mean)), keep(up, rate), keep(down, rate), 0.0)
        return by(sound, crossing_steps(sound, wanted, step), 1.0)

    return Stage(
        "crossing-steps", "its attenuator steps by 0.5 dB where the sound crosses zero", process,
        trace_is_gain=True, unsteady_db=0.25,
    )  # fmt: skip


@njit(cache=True)
def crossing_steps(sound: Array, wanted: Array, step: float) -> Array:
    """Follows by whole steps, once 0.7 of one away, and only where the sound crosses zero."""
    out = np.empty_like(wanted)
    state = 0.0
    for n in range(sound.size):
        if n == 0 or sound[n] * sound[n - 1] <= 0:
            if wanted[n] - state > 0.7 * step:
                state += step
            elif state - wanted[n] > 0.7 * step:
                state -= step
        out[n] = state
    return out


LATE_CONTROLS = (
    heard_through_iron,
    folding_ratio,
    dead_zone,
    in_factors,
    deep_and_busy,
    long_foot,
    drawn_between,
    peaked_chain,
    crest_fade,
    load_steps,
)
