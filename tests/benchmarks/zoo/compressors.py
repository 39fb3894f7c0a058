"""Held-out stages that reduce gain: detectors of many kinds, and what all of them are made of."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
from scipy.ndimage import maximum_filter1d

from tests.benchmarks.zoo import curves, filters, loops
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, decibels, factor, keep

Law = Callable[[Array], Array]


def by(sound: Array, reduction_db: Array, makeup_db: float = 0.0) -> Output:
    """The sound with a reduction in dB laid on it."""
    gain = factor(makeup_db - reduction_db)
    return Output(sound * gain, gain)


def law_of(draw: Draw, threshold: float, ratio: float, knee: float = 0.0) -> Law:
    """A corner drawn around these values."""
    return partial(
        curves.corner, threshold=draw.level(threshold), slope=1 / draw.ratio(ratio), knee=draw.amount(knee)
    )


def mean_square(sound: Array, up_s: float, down_s: float, rate_hz: int) -> Array:
    """Level in dB of a smoothed square; a sine of amplitude 1 reads 0."""
    square = loops.two_times(2 * sound * sound, keep(up_s, rate_hz), keep(down_s, rate_hz), 0.0)
    return decibels(np.sqrt(square))


def held_peak(draw: Draw) -> Stage:
    law, up, down, kept = law_of(draw, -24, 4, 6), draw.time(0.004), draw.time(0.15), draw.time(0.012)

    def process(sound: Array, rate: int) -> Output:
        level = decibels(loops.peak_kept(np.abs(sound), round(kept * rate), keep(0.03, rate)))
        return by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 2.0)

    return Stage(
        "held-peak", "peak kept over many periods, reduction smoothed in dB", process, trace_is_gain=True
    )


def bare_rectifier(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -22, 5), draw.time(0.003), draw.time(0.12)

    def process(sound: Array, rate: int) -> Output:
        return by(sound, loops.two_times(law(decibels(np.abs(sound))), keep(up, rate), keep(down, rate), 0.0))

    return Stage(
        "bare-rectifier",
        "rectifier without smoothing: its gain ripples with the carrier",
        process,
        trace_is_gain=True,
    )


def peak_decay(draw: Draw) -> Stage:
    law, down = law_of(draw, -20, 3), draw.time(0.09)

    def process(sound: Array, rate: int) -> Output:
        return by(sound, law(decibels(loops.peak_kept(np.abs(sound), 0, keep(down, rate)))))

    return Stage(
        "peak-decay",
        "peak taken at once and forgotten: attack hangs on the carrier's phase",
        process,
        trace_is_gain=True,
    )


def mean_square_stage(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -22, 2.5), draw.time(0.012), draw.time(0.18)

    def process(sound: Array, rate: int) -> Output:
        return by(sound, law(mean_square(sound, up, down, rate)), 2.0)

    return Stage(
        "mean-square", "mean square, 2.5:1, release 180 ms on the square", process, trace_is_gain=True
    )


def average_uneven(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -26, 3.5, 10), draw.time(0.002), draw.time(0.06)

    def process(sound: Array, rate: int) -> Output:
        mean = loops.two_times(np.abs(sound) * np.pi / 2, keep(up, rate), keep(down, rate), 0.0)
        return by(sound, law(decibels(mean)))

    return Stage("average-uneven", "absolute value smoothed with unequal times", process, trace_is_gain=True)


Band = tuple[Law, float, float]
"""A law of the level in dB, and the times in s in which its reduction comes and goes."""


def in_bands(sound: Array, rate: int, *, split: float, over: float, low: Band, high: Band) -> Output:
    """Reduce what lies below and above `split` Hz by itself, each by its mean square over `over` s."""
    below = filters.low_part(sound, split, rate)
    out = np.zeros_like(sound)
    for part, (law, up, down) in ((below, low), (sound - below, high)):
        level = mean_square(part, over, over, rate)
        out += by(part, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0)).sound
    return Output(out, None)


def two_bands(draw: Draw) -> Stage:
    low_law, high_law = law_of(draw, -26, 3, 4), law_of(draw, -20, 4)
    times = [draw.time(t) for t in (0.015, 0.3, 0.003, 0.08)]
    split = 400 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        return in_bands(
            sound, rate, split=split, over=0.004, low=(low_law, *times[:2]), high=(high_law, *times[2:])
        )

    return Stage(
        "two-bands",
        "low and high band with thresholds and times of their own, summed",
        process,
        warm_s=1.0,
        calm_s=3.0,
        turns_phase=True,
    )


def ahead_limiter(draw: Draw) -> Stage:
    top, ahead, down = draw.level(-12, 3), draw.time(0.002), draw.time(0.08)

    def process(sound: Array, rate: int) -> Output:
        late = round(ahead * rate)
        wanted = curves.corner(decibels(np.abs(sound)), threshold=top, slope=0.0)
        peaks = maximum_filter1d(wanted, late + 1, origin=late // 2, mode="constant")
        peaks = loops.two_times(peaks, 0.0, keep(down, rate), 0.0)
        total = np.concatenate([[0.0], np.cumsum(peaks)])
        smooth = np.empty_like(peaks)
        smooth[late:] = (total[late + 1 :] - total[: -late - 1]) / (late + 1)
        smooth[:late] = total[1 : late + 1] / (late + 1)
        return by(np.concatenate([np.zeros(late), sound])[: sound.size], smooth)

    return Stage(
        "ahead-limiter", "digital limiter that looks ahead", process, late_s=ahead, trace_is_gain=True
    )


def fast_limiter(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -14, 15), draw.time(0.0001), draw.time(0.05)

    def process(sound: Array, rate: int) -> Output:
        level = decibels(loops.peak_kept(np.abs(sound), round(0.004 * rate), keep(0.01, rate)))
        return by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0))

    return Stage("fast-limiter", "attack 0.1 ms on a kept peak", process, trace_is_gain=True)


def log_branching(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -24, 4, 6), draw.time(0.01), draw.time(0.2)

    def process(sound: Array, rate: int) -> Output:
        level = np.maximum(decibels(np.abs(sound)), -72.0)
        return by(sound, law(loops.two_times(level, keep(up, rate), keep(down, rate), -72.0)))

    return Stage(
        "log-branching", "level smoothed in dB, one way up and one down", process, trace_is_gain=True
    )


def log_decoupled(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -24, 6, 3), draw.time(0.012), draw.time(0.25)

    def process(sound: Array, rate: int) -> Output:
        level = np.maximum(decibels(np.abs(sound)), -72.0)
        return by(sound, law(loops.decoupled(level, keep(up, rate), keep(down, rate), -72.0)), 2.5)

    return Stage("log-decoupled", "level in dB, release before attack", process, trace_is_gain=True)


def feedback_mean_square(draw: Draw) -> Stage:
    threshold, steep = draw.level(-26), draw.ratio(4) - 1
    average, up, down = draw.time(0.006), draw.time(0.012), draw.time(0.3)

    def process(sound: Array, rate: int) -> Output:
        kept = (keep(average, rate), keep(up, rate), keep(down, rate))
        return Output(*loops.back_loop(sound, threshold, steep, *kept, 0.0, False))

    return Stage(
        "feedback-mean-square",
        "senses the mean square of its own output",
        process,
        calm_s=4.0,
        trace_is_gain=True,
    )


def low_cut_detector(draw: Draw) -> Stage:
    law, up, down, cut = law_of(draw, -24, 4, 4), draw.time(0.005), draw.time(0.12), draw.amount(180)

    def process(sound: Array, rate: int) -> Output:
        heard = filters.high_part(filters.high_part(sound, cut, rate), cut, rate)
        level = mean_square(heard, 0.004, 0.004, rate)
        return by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0))

    return Stage("low-cut-detector", "its detector hardly hears low tones", process, trace_is_gain=True)


COMPRESSORS = (
    held_peak,
    bare_rectifier,
    peak_decay,
    mean_square_stage,
    average_uneven,
    two_bands,
    ahead_limiter,
    fast_limiter,
    log_branching,
    log_decoupled,
    feedback_mean_square,
    low_cut_detector,
)
