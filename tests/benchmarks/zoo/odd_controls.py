"""Held-out stages whose detector or control follows rules of its own: loops with light, crest, crossings, ramps, two laws."""

from __future__ import annotations

import numpy as np
from numba import njit
from scipy.ndimage import maximum_filter1d
from scipy.signal import lfilter

from tests.benchmarks.zoo import curves, filters, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, decibels, keep


@njit(cache=True)
def diode_loop(sound: Array, charge: float, leak: float) -> Array:
    """A capacitor charged through a diode and a resistor, and emptied by another: neither peak nor mean."""
    out = np.empty_like(sound)
    state = 0.0
    for n in range(sound.size):
        over = np.abs(sound[n]) - state
        if over > 0:
            state += charge * over
        state -= leak * state
        out[n] = state
    return out


@njit(cache=True)
def half_wave_loop(
    sound: Array, threshold: float, share: float, up: float, down: float
) -> tuple[Array, Array]:
    """Feedback that hears the upper halves of its own output only; `threshold` is linear, reduction is a divider."""
    out, gain = np.empty_like(sound), np.empty_like(sound)
    held = 0.0
    for n in range(sound.size):
        gain[n] = 1 / (1 + share * held)
        out[n] = gain[n] * sound[n]
        over = max(out[n] - threshold, 0.0)
        held = held + (over - held) * up if over > held else held * (1 - down)
    return out, gain


@njit(cache=True)
def lit_loop(
    sound: Array, pull: float, lamp: float, bright: float, dark: float, memory: float, depth: float
) -> tuple[Array, Array]:
    """Feedback through a lamp and a cell that darkens the slower the more light it has stored."""
    out, gain = np.empty_like(sound), np.empty_like(sound)
    light, glow, stored = 0.0, 0.0, 0.0
    for n in range(sound.size):
        gain[n] = 1 / (1 + glow)
        out[n] = gain[n] * sound[n]
        light += (pull * max(np.abs(out[n]) - 0.03, 0.0) - light) * lamp
        stored += (glow - stored) * memory
        pace = bright if light > glow else dark / (1 + depth * stored)
        glow += (light - glow) * pace
    return out, gain


@njit(cache=True)
def crest_loop(wanted: Array, peak: Array, mean: Array, up: float, quick: float, span: float) -> Array:
    """Lets go the faster the higher peaks stand over the mean square; times in samples."""
    out = np.empty_like(wanted)
    state = 0.0
    for n in range(wanted.size):
        if wanted[n] > state:
            state += (wanted[n] - state) / up
        else:
            crest = min(max(peak[n] / (mean[n] + 1e-9), 1.0), span)
            state += (wanted[n] - state) * crest / (quick * span)
        out[n] = state
    return out


@njit(cache=True)
def paced_loop(wanted: Array, fall: float, rise: float) -> Array:
    """A straight line in dB both ways, `fall` and `rise` dB a sample."""
    out = np.empty_like(wanted)
    state = 0.0
    for n in range(wanted.size):
        state = min(wanted[n], state + fall) if wanted[n] > state else max(wanted[n], state - rise)
        out[n] = state
    return out


@njit(cache=True)
def crossing_loop(sound: Array, reduction: Array) -> Array:
    """Takes a new reduction only where the sound crosses zero."""
    out = np.empty_like(reduction)
    state = 0.0
    for n in range(sound.size):
        if n == 0 or sound[n] * sound[n - 1] <= 0:
            state = reduction[n]
        out[n] = state
    return out


@njit(cache=True)
def gate_loop(level: Array, opens: float, closes: float, hold: int) -> Array:
    """1 from where a level passes `opens` until `hold` samples after it last was over `closes`."""
    out = np.zeros_like(level)
    is_open, left = False, 0
    for n in range(level.size):
        if level[n] > opens or (is_open and level[n] > closes):
            is_open, left = True, hold
        elif left > 0:
            left -= 1
        else:
            is_open = False
        out[n] = 1.0 if is_open else 0.0
    return out


def diode_store(draw: Draw) -> Stage:
    law, charge, leak = law_of(draw, -24, 4, 5), draw.time(0.002), draw.time(0.12)

    def process(sound: Array, rate: int) -> Output:
        held = diode_loop(sound, 1 - keep(charge, rate), 1 - keep(leak, rate))
        return by(sound, law(decibels(held)), 3.0)

    return Stage(
        "diode-store", "a diode, a resistor and a capacitor hear the level", process, trace_is_gain=True
    )


def half_wave_feedback(draw: Draw) -> Stage:
    threshold, share = 10 ** (draw.level(-26) / 20), draw.amount(40.0)
    up, down = draw.time(0.0015), draw.time(0.2)

    def process(sound: Array, rate: int) -> Output:
        return Output(*half_wave_loop(sound, threshold, share, 1 - keep(up, rate), 1 - keep(down, rate)))

    return Stage(
        "half-wave-feedback",
        "hears the upper halves of its own output",
        process,
        calm_s=3.0,
        trace_is_gain=True,
    )


def lit_feedback(draw: Draw) -> Stage:
    pull, lamp, bright, dark = draw.amount(30.0), draw.time(0.004), draw.time(0.01), draw.time(0.08)
    memory, depth = draw.time(1.0), draw.amount(4.0)

    def process(sound: Array, rate: int) -> Output:
        paces = [1 - keep(time, rate) for time in (lamp, bright, dark, memory)]
        return Output(*lit_loop(sound, pull, *paces, depth))

    return Stage(
        "lit-feedback", "a lamp in the loop and a cell that stores light", process,
        warm_s=7.0, calm_s=9.0, trace_is_gain=True,
    )  # fmt: skip


def crest_release(draw: Draw) -> Stage:
    law, up, quick, over = law_of(draw, -23, 4, 4), draw.time(0.005), draw.time(0.05), draw.time(0.2)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.003, rate)
        peak = loops.peak_kept(np.abs(sound), 0, keep(over, rate)) ** 2
        mean = lfilter([1 - keep(over, rate)], [1, -keep(over, rate)], sound * sound)
        return by(sound, crest_loop(law(level), peak, mean, up * rate, quick * rate, 8.0))

    return Stage(
        "crest-release", "lets go by the crest of what it hears", process, calm_s=6.0, trace_is_gain=True
    )


def paced_both_ways(draw: Draw) -> Stage:
    law, fall, rise = law_of(draw, -24, 5, 3), draw.amount(1.0), draw.amount(0.06)

    def process(sound: Array, rate: int) -> Output:
        wanted = law(mean_square(sound, 0.002, 0.002, rate))
        return by(sound, paced_loop(wanted, fall * 1000 / rate, rise * 1000 / rate))

    return Stage("paced-both-ways", "so many dB a millisecond, down and up", process, trace_is_gain=True)


def crossing_taken(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -22, 3, 4), draw.time(0.006), draw.time(0.15)

    def process(sound: Array, rate: int) -> Output:
        wanted = loops.two_times(
            law(mean_square(sound, 0.004, 0.004, rate)), keep(up, rate), keep(down, rate), 0.0
        )
        return by(sound, crossing_loop(sound, wanted), 1.0)

    return Stage("crossing-taken", "its gain moves where the sound crosses zero", process, trace_is_gain=True)


def held_gate(draw: Draw) -> Stage:
    opens = draw.level(-45.5, 4)
    closes, deep, hold = opens - draw.amount(4.0), draw.amount(15.0), draw.time(0.06)
    up, down = draw.time(0.001), draw.time(0.1)

    def process(sound: Array, rate: int) -> Output:
        level = decibels(loops.peak_kept(np.abs(sound), round(0.006 * rate), keep(0.01, rate)))
        still = deep * (1 - gate_loop(level, opens, closes, round(hold * rate)))
        return by(sound, loops.two_times(still, keep(down, rate), keep(up, rate), deep))

    return Stage("held-gate", "opens higher than it closes, and waits", process, trace_is_gain=True)


def two_thresholds(draw: Draw) -> Stage:
    soft_law, hard = law_of(draw, -30, 2, 10), draw.level(-10, 3)
    up, down, quick = draw.time(0.015), draw.time(0.2), draw.time(0.04)

    def process(sound: Array, rate: int) -> Output:
        slow = loops.two_times(
            soft_law(mean_square(sound, 0.005, 0.005, rate)), keep(up, rate), keep(down, rate), 0.0
        )
        first = by(sound, slow, 5.0)
        peak = decibels(loops.peak_kept(np.abs(first.sound), round(0.005 * rate), keep(0.005, rate)))
        wanted = curves.corner(peak, threshold=hard, slope=0.02)
        second = by(first.sound, loops.two_times(wanted, keep(0.0002, rate), keep(quick, rate), 0.0))
        assert first.gain is not None and second.gain is not None
        return Output(second.sound, first.gain * second.gain)

    return Stage("two-thresholds", "a soft compressor, then a limiter", process, trace_is_gain=True)


def keen_detector(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -26, 4, 4), draw.time(0.004), draw.time(0.14)
    lift, cut = draw.amount(6.0), draw.amount(90.0)

    def process(sound: Array, rate: int) -> Output:
        heard = filters.high_part(filters.bell(sound, 3500.0, lift, 0.7, rate), cut, rate)
        level = mean_square(heard, 0.003, 0.003, rate)
        return by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 2.0)

    return Stage("keen-detector", "hears presence louder and lows less", process, trace_is_gain=True)


def quiet_lifted(draw: Draw) -> Stage:
    threshold, slope, most = draw.level(-20), 1 / draw.ratio(2.5), draw.amount(9.0)
    up, down = draw.time(0.1), draw.time(0.01)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.005, 0.02, rate)
        lift = np.minimum((1 - slope) * np.maximum(threshold - level, 0.0), most)
        lift = np.where(level < -75, 0.0, lift)
        smooth = loops.two_times(lift, keep(up, rate), keep(down, rate), 0.0)
        return by(sound, -smooth, -most)

    return Stage("quiet-lifted", "lifts what lies under its threshold", process, trace_is_gain=True)


def window_ahead(draw: Draw) -> Stage:
    top, ahead, down = draw.level(-14, 3), draw.time(0.003), draw.time(0.12)
    knee = draw.amount(4.0)

    def process(sound: Array, rate: int) -> Output:
        half = max(2, round(ahead * rate / 2))
        late = 2 * half
        wanted = curves.corner(decibels(np.abs(sound)), threshold=top, slope=1 / 12, knee=knee)
        peaks = maximum_filter1d(wanted, late + 1, origin=half, mode="constant")
        peaks = loops.two_times(peaks, 0.0, keep(down, rate), 0.0)
        window = np.hanning(late + 3)[1:-1]
        smooth = lfilter(window / window.sum(), [1.0], peaks)
        return by(np.concatenate([np.zeros(late), sound])[: sound.size], smooth)

    late_s = 2 * max(2, round(ahead * 48_000 / 2)) / 48_000
    return Stage(
        "window-ahead", "looks ahead, its gain smoothed by a bell-shaped window", process,
        late_s=late_s, trace_is_gain=True,
    )  # fmt: skip


def moving_makeup(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -24, 4, 6), draw.time(0.006), draw.time(0.15)
    share, slow = 0.4 * draw.amount(1.0), draw.time(1.2)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.003, rate)
        reduction = loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0)
        lift = lfilter([share * (1 - keep(slow, rate))], [1, -keep(slow, rate)], reduction)
        return by(sound, reduction - lift)

    return Stage(
        "moving-makeup", "its make-up follows what it has reduced of late", process,
        warm_s=14.0, calm_s=16.0, trace_is_gain=True,
    )  # fmt: skip


ODD_CONTROLS = (
    diode_store,
    half_wave_feedback,
    lit_feedback,
    crest_release,
    paced_both_ways,
    crossing_taken,
    held_gate,
    two_thresholds,
    keen_detector,
    quiet_lifted,
    window_ahead,
    moving_makeup,
)
