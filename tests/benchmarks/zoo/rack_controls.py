"""Held-out stages whose gain is made as racks make it: leaking controls, halves apart, poor logarithms, wires, pumps, play."""

from __future__ import annotations

import numpy as np
from numba import njit
from scipy.signal import lfilter

from tests.benchmarks.zoo import curves, filters, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.declared import Declared
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, decibels, factor, keep

PAD_DB = -12.0  # behind what lifts: it must not overload the recorder


@njit(cache=True)
def glowing_loop(power: Array, pace: float, radiates: float) -> Array:
    """Heat of a wire that loses by touch and, as its fourth power, by glowing."""
    out = np.empty_like(power)
    heat = 0.0
    for n in range(power.size):
        cooled = pace * (heat + radiates * heat**4)
        heat = max(0.0, heat + pace * power[n] - cooled)
        out[n] = heat
    return out


@njit(cache=True)
def pump_loop(sound: Array, top: float, step: float, down: float) -> tuple[Array, Array]:
    """While its output stands over `top` the reduction climbs by `step` dB a sample; else it leaks."""
    out, gain = np.empty_like(sound), np.empty_like(sound)
    state = 0.0
    for n in range(sound.size):
        gain[n] = 10 ** (-state / 20)
        out[n] = gain[n] * sound[n]
        state = state + step if abs(out[n]) > top else down * state
    return out, gain


@njit(cache=True)
def fresh_loop(wanted: Array, level: Array, silence: float, up: float, down: float, quick: float) -> Array:
    """Follows up and down, and forgets quickly where it hears less than `silence` dB."""
    out = np.empty_like(wanted)
    state = 0.0
    for n in range(wanted.size):
        part = up if wanted[n] > state else quick if level[n] < silence else down
        state = part * state + (1 - part) * wanted[n]
        out[n] = state
    return out


@njit(cache=True)
def within_play(wanted: Array, play: float) -> Array:
    """Stays where it is until what is wanted lies `play` dB away, then is dragged along."""
    out = np.empty_like(wanted)
    state = 0.0
    for n in range(wanted.size):
        state = min(max(state, wanted[n] - play), wanted[n] + play)
        out[n] = state
    return out


@njit(cache=True)
def shunt_loop(sound: Array, top: float, steep: float, bend: float, up: float, down: float) -> Array:
    """A divider whose lower leg conducts by a store, and by the voltage across itself; the store hears the output."""
    out = np.empty_like(sound)
    store = 0.0
    for n in range(sound.size):
        whole, curve = 1 + store, bend * store
        out[n] = sound[n] / whole
        if curve > 1e-6:
            out[n] = (np.sqrt(whole * whole + 4 * curve * sound[n]) - whole) / (2 * curve)
        wanted = steep * max(0.0, abs(out[n]) - top)
        part = up if wanted > store else down
        store = part * store + (1 - part) * wanted
    return out


def coupled_control(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -24, 4, 6), draw.time(0.005), draw.time(0.12)
    leak = 4e-6 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.006, 0.02, rate)
        reduction = loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0)
        moved = filters.low_part(np.diff(reduction, prepend=0.0) * rate, 2000.0, rate)
        return Output(by(sound, reduction).sound - leak * moved, None)

    return Stage("coupled-control", "the motion of its control voltage couples into the sound", process)


def halves_apart(draw: Draw) -> Declared:
    law, up, down = law_of(draw, -26, 3, 4), draw.time(0.004), draw.time(0.18)
    apart = 0.004 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        level = decibels(loops.peak_kept(np.abs(sound), round(0.008 * rate), keep(0.02, rate)))
        reduction = loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0)
        turned = sound * factor(-reduction * (1 + apart * np.sign(sound)))
        return Output(filters.high_part(turned, 4.0, rate), None)

    return Declared(
        "halves-apart", "turns the halves of a wave down by different shares", process, kind="compressor"
    )


def poor_log(draw: Draw) -> Stage:
    threshold, slope = draw.level(-26), 1 / draw.ratio(2.5)
    floor, bulk = 10 ** (draw.level(-46, 3) / 20), draw.amount(4.0)
    up, down = draw.time(0.008), draw.time(0.14)

    def process(sound: Array, rate: int) -> Output:
        mean = loops.two_times(np.abs(sound) * np.pi / 2, keep(0.006, rate), keep(0.006, rate), 0.0)
        level = decibels(mean + floor) + bulk * mean
        wanted = curves.gradual(level, threshold=threshold, slope=slope, width=1.0)
        return by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0))

    return Stage(
        "poor-log", "its logarithm flattens where it is quiet and bends up where it is loud", process, trace_is_gain=True
    )  # fmt: skip


def glowing_wire(draw: Draw) -> Stage:
    threshold, depth, time = draw.level(-24), draw.amount(0.4), draw.time(0.12)

    def process(sound: Array, rate: int) -> Output:
        power = 2 * np.square(sound) * 10 ** (-threshold / 10)
        heat = glowing_loop(power, 1 / (time * rate), 0.3)
        return by(sound, decibels(1 + depth * heat**1.5))

    return Stage("glowing-wire", "a wire heats with the sound and glows", process, warm_s=2.5, calm_s=4.0, trace_is_gain=True)  # fmt: skip


def crest_ratio(draw: Draw) -> Declared:
    threshold, plain, hard = draw.level(-26), 1 / draw.ratio(2), 1 / draw.ratio(6)
    up, down, slow = draw.time(0.004), draw.time(0.15), draw.time(0.05)

    def process(sound: Array, rate: int) -> Output:
        mean = np.maximum(mean_square(sound, slow, slow, rate), -80.0)
        peak = decibels(loops.peak_kept(np.abs(sound), round(0.008 * rate), keep(0.02, rate)))
        share = np.clip((peak - mean) / 10, 0.0, 1.0)
        slope = plain + share * (hard - plain)
        wanted = (1 - slope) * np.maximum(mean_square(sound, 0.008, 0.008, rate) - threshold, 0.0)
        return by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0), 1.0)

    return Declared(
        "crest-ratio", "its ratio rises with the crest of what it hears", process, trace_is_gain=True, kind="compressor", warm_s=1.5
    )  # fmt: skip


def pumped_store(draw: Draw) -> Declared:
    top, pace, down = 10 ** (draw.level(-20) / 20), draw.amount(1.2), draw.time(0.25)

    def process(sound: Array, rate: int) -> Output:
        return Output(*pump_loop(sound, top, pace * 1000 / rate, keep(down, rate)))

    return Declared(
        "pumped-store", "a comparator at its output pumps the store of its gain", process,
        trace_is_gain=True, kind="compressor", warm_s=2.0, calm_s=4.0,
    )  # fmt: skip


def warming_threshold(draw: Draw) -> Declared:
    threshold, slope, most, slow = draw.level(-26), 1 / draw.ratio(4), draw.amount(0.3), draw.time(20.0)
    up, down = draw.time(0.006), draw.time(0.12)

    def process(sound: Array, rate: int) -> Output:
        sinks = most * (1 - np.exp(-np.arange(sound.size) / (slow * rate)))
        level = mean_square(sound, 0.005, 0.02, rate) + sinks
        wanted = curves.corner(level, threshold=threshold, slope=slope, knee=4.0)
        return by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0))

    return Declared(
        "warming-threshold", "its threshold sinks as it warms up", process,
        trace_is_gain=True, kind="compressor", unsteady_db=most * (1 - slope),
    )  # fmt: skip


def hushed_floor(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -22, 3, 4), draw.time(0.006), draw.time(0.2)
    hiss, opens, most = 10 ** (draw.level(-76, 3) / 20), draw.level(-58, 2), draw.level(25.0, 5)
    open_s, shut_s = draw.time(0.002), draw.time(0.1)

    def process(sound: Array, rate: int) -> Output:
        own = hiss / np.sqrt(2) * np.random.default_rng(sound.size + 17).standard_normal(sound.size)
        heard = sound + own
        level = mean_square(heard, 0.005, 0.03, rate)
        held = by(heard, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 4.0).sound
        shut = np.clip(4 * (opens - level), 0.0, most)
        return Output(by(held, loops.two_times(shut, keep(shut_s, rate), keep(open_s, rate), most)).sound, None)  # fmt: skip

    return Stage("hushed-floor", "a compressor that hisses, and a gate that hides it in silence", process)


def fresh_start(draw: Draw) -> Declared:
    law, up, down = law_of(draw, -28, 4, 6), draw.time(0.008), draw.time(0.6)
    silence, quick = draw.level(-55, 3), draw.time(0.01)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.006, 0.006, rate)
        kept = keep(up, rate), keep(down, rate), keep(quick, rate)
        return by(sound, fresh_loop(law(level), level, silence, *kept), 3.0)

    return Declared(
        "fresh-start", "lets go slowly, but forgets in silence", process,
        trace_is_gain=True, kind="compressor", calm_s=9.0, warm_s=1.0,
    )  # fmt: skip


def lazy_cell(draw: Draw) -> Declared:
    law, play = law_of(draw, -25, 3, 5), draw.amount(0.25)
    up, down = draw.time(0.006), draw.time(0.15)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.008, 0.02, rate)
        return by(sound, within_play(loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), play))  # fmt: skip

    return Declared(
        "lazy-cell", "its gain has play: it stays until it is dragged along", process,
        trace_is_gain=True, kind="compressor", unsteady_db=2 * play,
    )  # fmt: skip


def lifted_peaks(draw: Draw) -> Declared:
    threshold, share, most = draw.level(-30), draw.amount(0.35), draw.level(8.0, 2)
    up, down = draw.time(0.004), draw.time(0.15)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.005, 0.02, rate)
        lift = np.minimum(share * np.maximum(level - threshold, 0.0), most)
        return by(sound, -loops.two_times(lift, keep(up, rate), keep(down, rate), 0.0), PAD_DB)

    return Declared(
        "lifted-peaks", "lifts what is loud, by so many dB at most", process, trace_is_gain=True, kind="expander"
    )  # fmt: skip


def lifted_tails(draw: Draw) -> Stage:
    share, most, slow = min(0.6, draw.amount(0.35)), draw.level(7.0, 2), draw.time(0.2)

    def process(sound: Array, rate: int) -> Output:
        level = np.maximum(mean_square(sound, 0.003, 0.006, rate), -70.0)
        fast = loops.two_times(level, keep(0.004, rate), keep(0.015, rate), -70.0)
        behind = loops.two_times(level, keep(0.004, rate), keep(slow, rate), -70.0)
        lift = np.clip(share * (behind - fast), 0.0, most)
        return by(sound, -loops.two_times(lift, keep(0.004, rate), keep(0.004, rate), 0.0), 0.0)

    return Stage("lifted-tails", "lifts what follows a loud sound, whatever its level", process, trace_is_gain=True)  # fmt: skip


def shunt_leg(draw: Draw) -> Declared:
    top, steep, bend = 10 ** (draw.level(-24) / 20), draw.amount(20.0), draw.amount(0.15)
    up, down = draw.time(0.001), draw.time(0.2)

    def process(sound: Array, rate: int) -> Output:
        return Output(shunt_loop(sound, top, steep, bend, keep(up, rate), keep(down, rate)), None)

    return Declared(
        "shunt-leg", "a lower leg that bends with its own voltage, and hears the output", process,
        kind="compressor", calm_s=4.0,
    )  # fmt: skip


def squeezed_into_iron(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -24, 4, 5), draw.time(0.004), draw.time(0.16)
    low, top, lift = 10 * draw.amount(1.0), 16_500 * draw.amount(1.0) ** 0.2, draw.level(4.0, 1.5)
    bend = draw.amount(0.04)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.005, 0.02, rate)
        cell = by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 2.0).sound
        core = loops.core(cell, 2 * np.pi * 50 / rate, float(np.exp(-2 * np.pi * low / rate)), bend)
        return Output(filters.bell(filters.high_part(core, low, rate), top, lift, 2.0, rate), None)

    return Stage("squeezed-into-iron", "a gain cell into iron that bends lows and rings at the top", process, warm_s=1.0)  # fmt: skip


def staged_pair(draw: Draw) -> Declared:
    law, up, down = law_of(draw, -30, 3, 6), draw.time(0.01), draw.time(0.2)
    ratio, top = draw.ratio(2.0), draw.level(-14, 3)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.006, 0.006, rate)
        first = loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0)
        part = keep(0.004, rate)
        rest = lfilter([1 - part], [1, -part], first)
        second = curves.corner(level - rest, threshold=top, slope=1 / ratio, knee=2.0)
        return by(sound, first + loops.two_times(second, keep(0.001, rate), keep(0.05, rate), 0.0), 5.0)

    return Declared(
        "staged-pair", "a slow cell, and a fast one that hears what the slow one leaves", process,
        trace_is_gain=True, kind="compressor", calm_s=4.0,
    )  # fmt: skip


RACK_CONTROLS = (
    coupled_control,
    halves_apart,
    poor_log,
    glowing_wire,
    crest_ratio,
    pumped_store,
    warming_threshold,
    hushed_floor,
    fresh_start,
    lazy_cell,
    lifted_peaks,
    lifted_tails,
    shunt_leg,
    squeezed_into_iron,
    staged_pair,
)
