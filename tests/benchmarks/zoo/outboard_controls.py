"""Held-out stages as outboard moves its gain: one-knob sweeps, walls, cells of two layers, control in blocks, mid and side."""

from __future__ import annotations

import numpy as np
from numba import njit
from scipy.ndimage import maximum_filter1d, uniform_filter1d
from scipy.signal import lfilter

from tests.benchmarks.zoo import curves, filters, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.declared import Declared
from tests.benchmarks.zoo.saturators import finely
from tests.benchmarks.zoo.stage import Array, Draw, Output, decibels, factor, keep

AHEAD_S = 0.0015
BLOCK = 16


@njit(cache=True)
def cathode_pair(sound: Array, threshold: float, depth: float, up: float, down: float, lag: float) -> Array:
    """Control voltage of the rectified output, fed back through a cathode that follows it late; reduction in dB."""
    out = np.empty_like(sound)
    charge, cathode = 0.0, 0.0
    for n in range(sound.size):
        heard = abs(sound[n]) * 10 ** (-(charge - 0.5 * cathode) * depth / 20)
        over = max(heard - threshold, 0.0)
        part = up if over > charge else down
        charge = part * charge + (1 - part) * over
        cathode = lag * cathode + (1 - lag) * charge
        out[n] = (charge - 0.5 * cathode) * depth
    return out


@njit(cache=True)
def cell_pair(drive: Array, lit: float, dark: float, deep: float, share: float) -> Array:
    """An optical cell: a quick layer beside a deep one that fills and empties slowly."""
    out = np.empty_like(drive)
    quick, slow = 0.0, 0.0
    for n in range(drive.size):
        part = lit if drive[n] > quick else dark
        quick = part * quick + (1 - part) * drive[n]
        slow = deep * slow + (1 - deep) * drive[n]
        out[n] = (1 - share) * quick + share * slow
    return out


def swept_knob(draw: Draw) -> Declared:
    knob = min(0.95, draw.amount(0.55))
    threshold, slope, knee = -10 - 30 * knob, 1 / (1 + 5 * knob), 12 - 8 * knob
    makeup, up, down = 0.5 * (1 - slope) * -threshold, draw.time(0.012), draw.time(0.13)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.012, rate)
        wanted = curves.corner(level, threshold=threshold, slope=slope, knee=knee)
        return by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0), makeup - 8.0)

    return Declared("swept-knob", "one knob moves threshold, ratio, knee and make-up at once", process, trace_is_gain=True, kind="compressor")  # fmt: skip


def bent_then_squeezed(draw: Draw) -> Declared:
    drive, law, up, down = draw.amount(0.8), law_of(draw, -22, 3, 8), draw.time(0.01), draw.time(0.22)

    def process(sound: Array, rate: int) -> Output:
        bent = finely(lambda v: (np.tanh(drive * v + 0.1) - np.tanh(0.1)) / drive, sound)
        level = mean_square(bent, 0.005, 0.015, rate)
        return Output(
            bent * factor(-loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0)), None
        )

    return Declared("bent-then-squeezed", "an old mode: bent first, then levelled by what is left", process, kind="compressor")  # fmt: skip


def wall_behind_slow(draw: Draw) -> Declared:
    law, up, down = law_of(draw, -30, 2, 10), draw.time(0.06), draw.time(0.35)
    top, back = draw.level(-14, 2), draw.time(0.05)

    def process(sound: Array, rate: int) -> Output:
        ahead = round(AHEAD_S * rate)
        slow = loops.two_times(
            law(mean_square(sound, 0.03, 0.03, rate)), keep(up, rate), keep(down, rate), 0.0
        )
        first = sound * factor(4 - slow)
        held = maximum_filter1d(
            np.maximum(decibels(np.abs(first)) - top, 0.0), ahead, origin=(ahead - 1) // 2
        )
        wall = uniform_filter1d(
            loops.two_times(held, 0.0, keep(back, rate), 0.0), ahead, origin=(ahead - 1) // 2
        )
        late = np.concatenate([np.zeros(ahead), sound])[: sound.size]
        levelled = np.concatenate([np.full(ahead, slow[0]), slow])[: sound.size]
        return by(late, wall + levelled, 4.0)

    return Declared("wall-behind-slow", "a wall that looks ahead behind a slow leveller", process, late_s=AHEAD_S, warm_s=1.5, calm_s=3.0, trace_is_gain=True, kind="compressor")  # fmt: skip


def three_in_a_row(draw: Draw) -> Declared:
    gate, law, top = draw.level(-50, 3), law_of(draw, -28, 3, 6), draw.level(-14, 2)
    quick, slow, back = draw.time(0.005), draw.time(0.2), draw.time(0.06)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.004, 0.03, rate)
        shut = np.minimum(curves.below(level, threshold=gate, slope=2.0), 20.0)
        closed = loops.two_times(-shut, keep(0.002, rate), keep(slow, rate), -20.0)
        squeezed = loops.two_times(law(level), keep(quick, rate), keep(slow, rate), 0.0)
        first = sound * factor(closed - squeezed + 3)
        over = np.maximum(
            decibels(loops.peak_kept(np.abs(first), round(0.006 * rate), keep(0.01, rate))) - top, 0.0
        )
        caught = loops.two_times(over, keep(0.0005, rate), keep(back, rate), 0.0)
        return by(sound, squeezed + caught - closed, 3.0)

    return Declared("three-in-a-row", "a gate, a compressor and a catcher one behind the other", process, calm_s=3.0, trace_is_gain=True, kind="compressor")  # fmt: skip


def clocked_by_blocks(draw: Draw) -> Declared:
    law, up, down, ramp = law_of(draw, -25, 4, 4), draw.time(0.006), draw.time(0.12), draw.time(0.003)

    def process(sound: Array, rate: int) -> Output:
        whole = np.concatenate([sound, np.zeros(-sound.size % BLOCK)])
        level = 10 * np.log10(np.mean(2 * np.square(whole.reshape(-1, BLOCK)), axis=1) + 1e-12)
        slow = loops.two_times(level, keep(0.004, rate // BLOCK), keep(0.01, rate // BLOCK), -120.0)
        wanted = loops.two_times(law(slow), keep(up, rate // BLOCK), keep(down, rate // BLOCK), 0.0)
        told = np.repeat(np.concatenate([[0.0], wanted[:-1]]), BLOCK)[: sound.size]
        part = keep(ramp, rate)
        return by(sound, np.asarray(lfilter([1 - part], [1, -part], told)), 2.0)

    return Declared("clocked-by-blocks", "control in blocks of 16 samples, smoothed against zips", process, trace_is_gain=True, kind="compressor")  # fmt: skip


def cathode_lag(draw: Draw) -> Declared:
    threshold, depth = factor(np.array(draw.level(-26, 3))).item(), draw.amount(40.0)
    up, down, lag = draw.time(0.004), draw.time(0.15), draw.time(0.1)

    def process(sound: Array, rate: int) -> Output:
        return by(
            sound,
            cathode_pair(sound, threshold, depth, keep(up, rate), keep(down, rate), keep(lag, rate)),
            3.0,
        )

    return Declared("cathode-lag", "remote valves that lean on a cathode which follows late: it takes too much, then gives back", process, calm_s=3.0, trace_is_gain=True, kind="compressor")  # fmt: skip


def cell_of_two(draw: Draw) -> Declared:
    law, lit, dark = law_of(draw, -26, 3, 10), draw.time(0.012), draw.time(0.09)
    deep, share = draw.time(0.7), min(0.6, draw.amount(0.3))

    def process(sound: Array, rate: int) -> Output:
        drive = law(mean_square(sound, 0.006, 0.006, rate))
        return by(sound, cell_pair(drive, keep(lit, rate), keep(dark, rate), keep(deep, rate), share), 2.0)

    return Declared("cell-of-two", "an optical cell with a quick and a deep layer", process, warm_s=5.0, calm_s=6.0, remembers_s=6.0, trace_is_gain=True, kind="compressor")  # fmt: skip


def bent_by_reduction(draw: Draw) -> Declared:
    law, up, down, square = law_of(draw, -24, 4, 3), draw.time(0.001), draw.time(0.18), draw.amount(0.02)

    def process(sound: Array, rate: int) -> Output:
        level = decibels(loops.peak_kept(np.abs(sound), round(0.005 * rate), keep(0.015, rate)))
        reduced = loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0)
        out = sound * factor(-reduced)
        return Output(out + square * np.tanh(reduced / 6) * out * np.abs(out), None)

    return Declared("bent-by-reduction", "a channel that bends the more the farther it is turned down", process, kind="compressor")  # fmt: skip


def side_by_side(draw: Draw) -> Declared:
    law, up, down = law_of(draw, -27, 4, 5), draw.time(0.008), draw.time(0.16)
    part = min(0.9, draw.amount(0.5))

    def process(sound: Array, rate: int) -> Output:
        # a channel alone is half in the middle, half at the side: only the middle is turned down
        level = mean_square(0.5 * sound, 0.006, 0.02, rate) + 6
        gain = factor(-loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0))
        whole = part * gain + 1 - part
        return Output(whole * sound, whole)

    return Declared("side-by-side", "turns the middle of a pair down and leaves the side", process, trace_is_gain=True, kind="compressor")  # fmt: skip


def summed_link(draw: Draw) -> Declared:
    law, up, down, leak = law_of(draw, -20, 6, 0.5), draw.time(0.002), draw.time(0.1), draw.amount(0.1)

    def process(sound: Array, rate: int) -> Output:
        other = leak * np.concatenate([np.zeros(9), sound])[: sound.size]
        heard = np.abs(sound) + np.abs(other)
        smooth = loops.two_times(heard, 0.0, keep(0.03, rate), 0.0)
        return by(sound, loops.two_times(law(decibels(smooth)), keep(up, rate), keep(down, rate), 0.0))

    return Declared("summed-link", "a pair keyed by the sum of both rectifiers, one of which hears a leak", process, trace_is_gain=True, kind="compressor")  # fmt: skip


def soft_word_behind(draw: Draw) -> Declared:
    law, up, down = law_of(draw, -24, 3, 6), draw.time(0.007), draw.time(0.25)
    top, lean = factor(np.array(draw.level(-6, 2))).item(), 0.7 + 0.1 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.005, 0.03, rate)
        out = sound * factor(8 - loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0))
        return Output(finely(lambda v: np.where(v > 0, top * np.tanh(v / top), lean * top * np.tanh(v / (lean * top))), out), None)  # fmt: skip

    return Declared("soft-word-behind", "a leveller into a converter that clips softly and unevenly", process, kind="compressor")  # fmt: skip


def lows_by_level(draw: Draw) -> Declared:
    bend, low = draw.amount(0.4), 18 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        leak = float(np.exp(-2 * np.pi * low / rate))
        core = loops.core(sound, 2 * np.pi * 40 / rate, leak, bend)
        return Output(filters.high_part(core, 8.0, rate), None)

    return Declared("lows-by-level", "an input winding whose lows give way with level", process, warm_s=0.6, calm_s=0.6, kind="colour")  # fmt: skip


OUTBOARD_CONTROLS = (
    *(swept_knob, bent_then_squeezed, wall_behind_slow, three_in_a_row, clocked_by_blocks, cathode_lag),
    *(cell_of_two, bent_by_reduction, side_by_side, summed_link, soft_word_behind, lows_by_level),
)
