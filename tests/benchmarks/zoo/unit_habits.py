"""Held-out stages with habits of real units: reduction that ends, loops that ring, side chains that are late or hear esses alone."""

from __future__ import annotations

from functools import partial

import numpy as np
from numba import njit
from scipy.signal import lfilter

from tests.benchmarks.zoo import curves, filters, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, decibels, factor, keep


@njit(cache=True)
def ringing_loop(wanted: Array, turn: float, damping: float) -> Array:
    """A second-order control: `turn` its natural frequency in radians a sample."""
    out = np.empty_like(wanted)
    state, pace = 0.0, 0.0
    for n in range(wanted.size):
        pace += turn * (turn * (wanted[n] - state) - 2 * damping * pace)
        state += pace
        out[n] = state
    return out


@njit(cache=True)
def two_pace_loop(wanted: Array, up: float, step: float, span: float, down: float) -> Array:
    """Falls by `step` dB a sample while more than `span` dB are left to go, then as one pole."""
    out = np.empty_like(wanted)
    state = 0.0
    for n in range(wanted.size):
        left = state - wanted[n]
        if left < 0:
            state = up * state + (1 - up) * wanted[n]
        elif left > span:
            state -= step
        else:
            state -= (1 - down) * left
        out[n] = state
    return out


@njit(cache=True)
def heated_loop(sound: Array, pace: float, bend: float, cool: float) -> Array:
    """A square bend that fades by `cool` times the heat, the mean square over a long time."""
    out = np.empty_like(sound)
    heat = 0.0
    for n in range(sound.size):
        heat += (sound[n] * sound[n] - heat) * pace
        out[n] = sound[n] + bend / (1 + cool * heat) * sound[n] * sound[n]
    return out


def smoothed_factor(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -24, 5, 4), draw.time(0.005), draw.time(0.15)

    def process(sound: Array, rate: int) -> Output:
        lost = 1 - factor(-law(mean_square(sound, 0.002, 0.002, rate)))
        gain = 1.6 * (1 - loops.two_times(lost, keep(up, rate), keep(down, rate), 0.0))
        return Output(sound * gain, gain)

    return Stage("smoothed-factor", "times act on the factor, not on its dB", process, trace_is_gain=True)


def range_ended(draw: Draw) -> Stage:
    law, most = law_of(draw, -30, 4, 5), draw.amount(8.0)
    up, down = draw.time(0.006), draw.time(0.12)

    def process(sound: Array, rate: int) -> Output:
        wanted = law(mean_square(sound, 0.003, 0.003, rate))
        wanted = most - 0.5 * np.logaddexp(0.0, (most - wanted) / 0.5)
        return by(sound, loops.two_times(np.maximum(wanted, 0.0), keep(up, rate), keep(down, rate), 0.0), 1.5)

    return Stage("range-ended", "takes so many dB and no more", process, trace_is_gain=True)


def ringing_control(draw: Draw) -> Stage:
    law, turn, damping = law_of(draw, -23, 3, 5), 2 * np.pi / draw.time(0.03), 0.35 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        return by(sound, ringing_loop(law(mean_square(sound, 0.003, 0.003, rate)), turn / rate, damping), 2.0)

    return Stage("ringing-control", "its control overshoots and rings", process, trace_is_gain=True)


def late_chain(draw: Draw) -> Stage:
    law, late, up, down = law_of(draw, -22, 4, 4), draw.time(0.003), draw.time(0.004), draw.time(0.1)

    def process(sound: Array, rate: int) -> Output:
        count = round(late * rate)
        heard = np.concatenate([np.zeros(count), sound])[: sound.size]
        level = mean_square(heard, 0.002, 0.002, rate)
        return by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0))

    return Stage("late-chain", "its side chain comes late", process, trace_is_gain=True)


def two_pace_release(draw: Draw) -> Stage:
    law, up, step = law_of(draw, -24, 4, 3), draw.time(0.005), draw.amount(60.0)
    span, down = draw.amount(3.0), draw.time(0.25)

    def process(sound: Array, rate: int) -> Output:
        wanted = law(mean_square(sound, 0.003, 0.003, rate))
        return by(sound, two_pace_loop(wanted, keep(up, rate), step / rate, span, keep(down, rate)), 1.0)

    return Stage(
        "two-pace-release", "lets go in a straight line, and its last dB slowly", process,
        calm_s=6.0, trace_is_gain=True,
    )  # fmt: skip


def supply_breath(draw: Draw) -> Stage:
    law, up, down, depth = law_of(draw, -22, 3, 6), draw.time(0.006), draw.time(0.14), draw.amount(0.02)

    def process(sound: Array, rate: int) -> Output:
        n = np.arange(sound.size)
        wave = depth * np.sin(2 * np.pi * 100 * n / rate)
        level = mean_square(sound, 0.004, 0.004, rate)
        cell = by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), wave)
        return Output(cell.sound + 4e-5 * np.sin(2 * np.pi * 50 * n / rate), cell.gain)

    return Stage(
        "supply-breath", "hum in its sound and in its gain", process, trace_is_gain=True, unsteady_db=depth
    )


def phase_turner(draw: Draw) -> Stage:
    law, up, down, turn = law_of(draw, -24, 4, 5), draw.time(0.006), draw.time(0.13), 200 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.003, rate)
        cell = by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 2.0)
        turned = cell.sound
        part = (np.tan(np.pi * turn / rate) - 1) / (np.tan(np.pi * turn / rate) + 1)
        for _ in range(4):
            turned = lfilter([part, 1.0], [1.0, part], turned)
        return Output(turned, cell.gain)

    return Stage("phase-turner", "turns phases behind its gain cell", process, trace_is_gain=True)


def keyed_by_esses(draw: Draw) -> Stage:
    law, up, down, corner = law_of(draw, -30, 4, 4), draw.time(0.002), draw.time(0.06), draw.amount(5000.0)

    def process(sound: Array, rate: int) -> Output:
        heard = filters.high_part(filters.high_part(sound, corner, rate), corner, rate)
        level = mean_square(heard, 0.002, 0.002, rate)
        return by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0))

    return Stage("keyed-by-esses", "turns down all it hears when highs are loud", process, trace_is_gain=True)


def heated_bend(draw: Draw) -> Stage:
    bend, cool, slow = draw.amount(0.03), draw.amount(4.0), draw.time(0.8)

    def process(sound: Array, rate: int) -> Output:
        return Output(filters.high_part(heated_loop(sound, 1 / (slow * rate), bend, cool), 6.0, rate), None)

    return Stage(
        "heated-bend", "its colour fades as it heats, its gain stays", process, warm_s=9.0, calm_s=9.0
    )


def clinging_release(draw: Draw) -> Stage:
    threshold, slope, knee = draw.level(-20), 1 / draw.ratio(8), draw.amount(2.0)
    up, down, tail = draw.time(0.0008), draw.time(0.08), draw.time(0.5)

    def process(sound: Array, rate: int) -> Output:
        peak = decibels(loops.peak_kept(np.abs(sound), round(0.002 * rate), keep(0.02, rate)))
        law = partial(curves.corner, threshold=threshold, slope=slope, knee=knee)
        quick = loops.two_times(law(peak), keep(up, rate), keep(down, rate), 0.0)
        slow = loops.two_times(np.minimum(quick, 3.0), keep(0.1, rate), keep(tail, rate), 0.0)
        return by(sound, np.maximum(quick, slow), 4.0)

    return Stage(
        "clinging-release", "its last 3 dB cling after long loud sound", process,
        warm_s=1.5, calm_s=6.0, trace_is_gain=True,
    )  # fmt: skip


UNIT_HABITS = (
    smoothed_factor,
    range_ended,
    ringing_control,
    late_chain,
    two_pace_release,
    supply_breath,
    phase_turner,
    keyed_by_esses,
    heated_bend,
    clinging_release,
)
