"""Held-out stages whose path mixes parts: iron with loops, an uneven stage in front, noise of the cell, crushed beside dry, clipped overshoot."""

from __future__ import annotations

import numpy as np
from numba import njit

from tests.benchmarks.zoo import filters, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.saturators import finely, soft
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, factor, keep


@njit(cache=True)
def looped_iron(sound: Array, pace: float, leak: float, widths: Array, share: float) -> Array:
    """A core whose current is a sum of drags of many widths: small loops lie inside large ones."""
    out = np.empty_like(sound)
    dragged = np.zeros_like(widths)
    flux = 0.0
    for n in range(sound.size):
        flux = leak * flux + pace * sound[n]
        lost = 0.0
        for k in range(widths.size):
            dragged[k] = min(max(dragged[k], flux - widths[k]), flux + widths[k])
            lost += flux - dragged[k]
        out[n] = sound[n] - share * lost / widths.size
    return out


def looped_core(draw: Draw) -> Stage:
    share, most = draw.amount(0.4), draw.amount(0.6)

    def process(sound: Array, rate: int) -> Output:
        leak = float(np.exp(-2 * np.pi * 6 / rate))
        widths = most * (np.arange(24) + 0.5) / 24
        bent = looped_iron(sound, 2 * np.pi * 60 / rate, leak, widths, share)
        return Output(filters.high_part(bent, 8.0, rate), None)

    return Stage("looped-iron", "iron with loops inside loops", process, warm_s=1.2, calm_s=1.2)


def uneven_ahead(draw: Draw) -> Stage:
    part, bend = draw.amount(0.12), draw.amount(0.03)
    threshold, steep = draw.level(-26), draw.ratio(4) - 1
    average, up, down = draw.time(0.004), draw.time(0.01), draw.time(0.25)

    def process(sound: Array, rate: int) -> Output:
        bent = filters.high_part(sound + part * sound * sound - bend * sound**3, 5.0, rate)
        kept = (keep(average, rate), keep(up, rate), keep(down, rate))
        return Output(*loops.back_loop(bent, threshold, steep, *kept, 0.0, False))

    return Stage(
        "uneven-ahead", "an uneven stage, then a cell that hears its own output", process,
        warm_s=1.2, calm_s=3.0,
    )  # fmt: skip


def noisy_cell(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -26, 4, 6), draw.time(0.006), draw.time(0.15)
    hiss = 10 ** (draw.level(-76, 4) / 20)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.003, rate)
        cell = by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 3.0)
        assert cell.gain is not None
        own = hiss / np.sqrt(2) * np.random.default_rng(sound.size).standard_normal(sound.size)
        return Output(cell.sound + (1 - cell.gain / factor(np.array(3.0))) * own, cell.gain)

    return Stage("noisy-cell", "hisses the more it reduces", process, trace_is_gain=True)


def crushed_beside(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -36, 10, 6), draw.time(0.003), draw.time(0.12)
    drive, part = draw.amount(3.0), min(0.7, draw.amount(0.35))

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.003, rate)
        wet = by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 10.0)
        crushed = finely(lambda v: soft(v + 0.2 * v * v, drive), wet.sound)
        return Output((1 - part) * sound + part * filters.high_part(crushed, 5.0, rate), None)

    return Stage("crushed-beside", "a crushed and bent path beside the dry one", process, warm_s=1.2)


def clipped_overshoot(draw: Draw) -> Stage:
    law, up, down, room = law_of(draw, -24, 5, 4), draw.time(0.02), draw.time(0.18), draw.amount(4.0)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.002, 0.002, rate)
        cell = by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 2.0)
        top = 10 ** ((2.0 + float(-law(np.array([0.0]))[0]) + room) / 20)
        return Output(finely(lambda v: np.clip(v, -top, top), cell.sound), cell.gain)

    return Stage("clipped-overshoot", "a slow attack whose overshoot a clipper takes", process)


def offset_cell(draw: Draw) -> Stage:
    law, up, down, offset = law_of(draw, -24, 4, 4), draw.time(0.004), draw.time(0.12), draw.amount(0.0006)

    def process(sound: Array, rate: int) -> Output:
        reduction = loops.two_times(
            law(mean_square(sound, 0.002, 0.002, rate)), keep(up, rate), keep(down, rate), 0.0
        )
        cell = by(sound + offset, reduction, 2.0)
        return Output(filters.high_part(cell.sound, 5.0, rate), None)

    return Stage("offset-cell", "a constant in front of its cell thumps with the gain", process, warm_s=1.0)


def crossing_even(draw: Draw) -> Stage:
    part, back, bend = draw.amount(0.06), draw.amount(0.2), draw.amount(0.02)

    def process(sound: Array, rate: int) -> Output:
        bent = sound + part * sound**2 - back * sound**4 - bend * sound**3
        return Output(filters.high_part(bent, 6.0, rate), None)

    return Stage(
        "crossing-even", "a second harmonic that dies at one level and comes back turned", process,
        warm_s=0.5, calm_s=0.5,
    )  # fmt: skip


def bent_treble(draw: Draw) -> Stage:
    drive, part, corner = draw.amount(2.0), draw.amount(0.3), 2000 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        high = filters.high_part(sound, corner, rate)
        bent = finely(lambda v: soft(v + 0.3 * v * v, drive), high)
        return Output(
            0.6 * (sound + part * filters.high_part(bent, 200.0, rate)), None
        )  # stays below full scale

    return Stage("bent-treble", "adds highs, bent, to what it lets pass", process, warm_s=0.3, calm_s=0.3)


MIXED_PATHS = (
    looped_core,
    uneven_ahead,
    noisy_cell,
    crushed_beside,
    clipped_overshoot,
    offset_cell,
    crossing_even,
    bent_treble,
)
