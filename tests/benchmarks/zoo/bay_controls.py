"""Held-out stages of one more bay: chopped gains, second smoothing, mixed detectors, combs, hesitation, true peaks."""

from __future__ import annotations

import numpy as np
from numba import njit
from scipy.ndimage import maximum_filter1d, uniform_filter1d
from scipy.signal import lfilter, resample_poly

from tests.benchmarks.zoo import curves, filters, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.declared import Declared
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, decibels, factor, keep

AHEAD_S = 0.002


@njit(cache=True)
def rearmed(wanted: Array, level: Array, threshold: float, up: float, down: float, hold: int) -> Array:
    """A fall waits for `hold` samples after the level was last over the threshold, risen or not."""
    out = np.empty_like(wanted)
    state, left = 0.0, 0
    for n in range(wanted.size):
        left = hold if level[n] > threshold else max(left - 1, 0)
        if wanted[n] > state:
            state = up * state + (1 - up) * wanted[n]
        elif left == 0:
            state = down * state + (1 - down) * wanted[n]
        out[n] = state
    return out


@njit(cache=True)
def quickening(wanted: Array, up: float, slow: float, quick: float, span: float) -> Array:
    """Lets go the faster the longer it has been letting go; times in samples."""
    out = np.empty_like(wanted)
    state, since = 0.0, 0.0
    for n in range(wanted.size):
        if wanted[n] > state:
            state, since = up * state + (1 - up) * wanted[n], 0.0
        else:
            since += 1.0
            share = since / (since + span)
            state += (wanted[n] - state) * ((1 - share) / slow + share / quick)
        out[n] = state
    return out


@njit(cache=True)
def hesitant(wanted: Array, up: float, down: float, wait: int) -> Array:
    """Rises only once it has been asked to for `wait` samples on end."""
    out = np.empty_like(wanted)
    state, asked = 0.0, 0
    for n in range(wanted.size):
        asked = asked + 1 if wanted[n] > state else 0
        if asked > wait:
            state = up * state + (1 - up) * wanted[n]
        elif asked == 0:
            state = down * state + (1 - down) * wanted[n]
        out[n] = state
    return out


@njit(cache=True)
def loop_under(sound: Array, under: float, steep: float, most: float, average: float, up: float, down: float) -> tuple[Array, Array]:  # fmt: skip
    """Turns down by how far its own output lies under a level in dB, by `most` dB at most."""
    out, gain = np.empty_like(sound), np.empty_like(sound)
    square, state = 0.0, most
    for n in range(sound.size):
        gain[n] = 10 ** (-state / 20)
        out[n] = gain[n] * sound[n]
        square = average * square + (1 - average) * 2 * out[n] * out[n]
        wanted = min(max(steep * (under - 10 * np.log10(square + 1e-12)), 0.0), most)
        part = down if wanted > state else up
        state = part * state + (1 - part) * wanted
        out[n] = gain[n] * sound[n]
    return out, gain


def chopped_gain(draw: Draw) -> Declared:
    law, up, down = law_of(draw, -24, 4, 6), draw.time(0.004), draw.time(0.15)
    residue, carrier = 3e-4 * draw.amount(1.0), 19_300.0

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.006, 0.02, rate)
        gain = factor(-loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0))
        chopper = np.sin(2 * np.pi * carrier / rate * np.arange(sound.size))
        return Output(gain * sound + residue * np.sin(np.pi * gain) * chopper, None)

    return Declared("chopped-gain", "a switched gain whose carrier comes through by its duty", process, kind="compressor")  # fmt: skip


def cancelled_square(draw: Draw) -> Declared:
    law, up, down, square = law_of(draw, -22, 3, 6), draw.time(0.003), draw.time(0.2), draw.amount(0.05)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.005, 0.02, rate)
        gain = factor(-loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0))
        return Output(gain * sound + square * (1 - gain) * gain * (sound * sound + 0.4 * sound**3), None)

    return Declared("cancelled-square", "a channel as a resistor: its square is partly cancelled, its cube is not", process, kind="compressor")  # fmt: skip


def twice_smoothed(draw: Draw) -> Declared:
    law, time, second = law_of(draw, -25, 4, 5), draw.time(0.02), draw.time(0.02)

    def process(sound: Array, rate: int) -> Output:
        first, then = keep(time, rate), keep(second, rate)
        wanted = law(mean_square(sound, 0.004, 0.004, rate))
        once = lfilter([1 - first], [1, -first], wanted)
        return by(sound, np.asarray(lfilter([1 - then], [1, -then], once)), 2.0)

    return Declared("twice-smoothed", "its reduction is smoothed twice, up as down", process, trace_is_gain=True, kind="compressor")  # fmt: skip


def peak_and_mean(draw: Draw) -> Declared:
    law, up, down = law_of(draw, -26, 5, 4), draw.time(0.002), draw.time(0.1)
    share, slow, fall = min(0.8, draw.amount(0.4)), draw.time(0.03), draw.time(0.06)

    def process(sound: Array, rate: int) -> Output:
        peak = loops.peak_kept(np.abs(sound), round(0.008 * rate), keep(fall, rate))
        mean = factor(mean_square(sound, slow, slow, rate))
        level = decibels(share * peak + (1 - share) * mean)
        return by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0))

    return Declared("peak-and-mean", "hears a sum of peak and slow mean", process, trace_is_gain=True, kind="compressor")  # fmt: skip


def three_sections(draw: Draw) -> Declared:
    first, second = draw.level(-34, 3), draw.level(-22, 2)
    third, up, down = second + draw.level(10, 2), draw.time(0.005), draw.time(0.14)
    slopes = 1 / draw.ratio(1.5), 1 / draw.ratio(1.6), 1 / draw.ratio(3)

    def process(sound: Array, rate: int) -> Output:
        level, wanted, at = mean_square(sound, 0.008, 0.008, rate), np.zeros(sound.size), 1.0
        for threshold, slope in zip((first, second, third), slopes, strict=True):
            wanted += at * (1 - slope) * np.maximum(level - threshold, 0.0)
            at *= slope
        return by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0), 3.0)

    return Declared("three-sections", "its ratio rises at three corners", process, trace_is_gain=True, kind="compressor")  # fmt: skip


def rearmed_hold(draw: Draw) -> Declared:
    threshold, slope = draw.level(-24), 1 / draw.ratio(4)
    up, down, hold = draw.time(0.003), draw.time(0.15), draw.time(0.06)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.004, 0.01, rate)
        wanted = curves.corner(level, threshold=threshold, slope=slope, knee=3.0)
        kept = keep(up, rate), keep(down, rate), round(hold * rate)
        return by(sound, rearmed(wanted, level, threshold, *kept))

    return Declared("rearmed-hold", "lets go of nothing while it hears anything over its threshold", process, trace_is_gain=True, kind="compressor")  # fmt: skip


def comb_key(draw: Draw) -> Declared:
    law, up, down = law_of(draw, -24, 4, 6), draw.time(0.006), draw.time(0.16)
    part, late = min(0.85, draw.amount(0.5)), draw.time(0.0011)

    def process(sound: Array, rate: int) -> Output:
        after = round(late * rate)
        heard = sound + part * np.concatenate([np.zeros(after), sound])[: sound.size]
        level = mean_square(heard, 0.006, 0.02, rate)
        return by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 1.0)

    return Declared("comb-key", "is linked to the sum with a second microphone of the same sound", process, trace_is_gain=True, kind="compressor")  # fmt: skip


def quickening_release(draw: Draw) -> Declared:
    law, up, slow = law_of(draw, -24, 4, 4), draw.time(0.004), draw.time(0.6)
    quick, span = draw.time(0.05), draw.time(0.15)

    def process(sound: Array, rate: int) -> Output:
        wanted = law(mean_square(sound, 0.004, 0.008, rate))
        return by(sound, quickening(wanted, keep(up, rate), slow * rate, quick * rate, span * rate), 1.0)

    return Declared("quickening-release", "lets go the faster the longer it has been at it", process, trace_is_gain=True, kind="compressor")  # fmt: skip


def slow_to_believe(draw: Draw) -> Declared:
    law, up, down, wait = law_of(draw, -24, 5, 3), draw.time(0.003), draw.time(0.12), draw.time(0.004)

    def process(sound: Array, rate: int) -> Output:
        level = decibels(loops.peak_kept(np.abs(sound), round(0.01 * rate), keep(0.02, rate)))
        return by(sound, hesitant(law(level), keep(up, rate), keep(down, rate), round(wait * rate)))

    return Declared("slow-to-believe", "reduces once it has been asked to for some milliseconds", process, trace_is_gain=True, kind="compressor")  # fmt: skip


def true_peaks_ahead(draw: Draw) -> Declared:
    top, down = draw.level(-12, 3), draw.time(0.08)

    def process(sound: Array, rate: int) -> Output:
        ahead = round(AHEAD_S * rate)
        between = np.abs(resample_poly(sound, 4, 1)).reshape(-1, 4).max(axis=1)[: sound.size]
        wanted = np.maximum(decibels(between) - top, 0.0)
        held = maximum_filter1d(wanted, ahead, origin=(ahead - 1) // 2)
        smooth = uniform_filter1d(loops.two_times(held, 0.0, keep(down, rate), 0.0), ahead, origin=(ahead - 1) // 2)  # fmt: skip
        return by(np.concatenate([np.zeros(ahead), sound])[: sound.size], smooth)

    return Declared("true-peaks-ahead", "limits peaks between samples, looks ahead, ramps", process, late_s=AHEAD_S, trace_is_gain=True, kind="limiter")  # fmt: skip


def own_output_gate(draw: Draw) -> Declared:
    under, steep, most = draw.level(-46, 3), draw.amount(0.4), draw.level(12, 3)
    opens, shuts = draw.time(0.004), draw.time(0.15)

    def process(sound: Array, rate: int) -> Output:
        return Output(*loop_under(sound, under, steep, most, keep(0.008, rate), keep(opens, rate), keep(shuts, rate)))  # fmt: skip

    return Declared("own-output-gate", "an expander that hears its own output", process, trace_is_gain=True, kind="expander", calm_s=4.0)  # fmt: skip


def split_control(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -26, 4, 5), draw.time(0.004), draw.time(0.18)
    part, corner = min(0.9, draw.amount(0.5)), 900 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        low = filters.low_part(sound, corner, rate)
        level = mean_square(sound, 0.006, 0.02, rate)
        gain = factor(-loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0))
        return Output(gain * low + gain**part * (sound - low), None)

    return Stage(
        "split-control", "one detector turns lows by all and highs by a part", process, turns_phase=True
    )


BAY_CONTROLS = (
    *(chopped_gain, cancelled_square, twice_smoothed, peak_and_mean, three_sections, rearmed_hold, comb_key),
    *(quickening_release, slow_to_believe, true_peaks_ahead, own_output_gate, split_control),
)
