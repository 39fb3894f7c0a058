"""Held-out stages whose path moves with what passes: dull when loud, a bias that creeps, hiss ahead of the cell, hum under load."""

from __future__ import annotations

import numpy as np
from numba import njit
from scipy.signal import ellip, sosfilt

from tests.benchmarks.zoo import filters, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.saturators import finely
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, factor, keep

FINE = 4


@njit(cache=True)
def dull_loop(sound: Array, level: Array, corner: float, loud: float) -> Array:
    """A one-pole low-pass whose corner (radians a sample) sinks as the level rises over `loud`."""
    out = np.empty_like(sound)
    state = 0.0
    for n in range(sound.size):
        part = 1 - np.exp(-corner / (1 + level[n] / loud))
        state += part * (sound[n] - state)
        out[n] = state
    return out


def dull_when_loud(draw: Draw) -> Stage:
    loud, over, bend = draw.amount(0.15), draw.time(0.006), draw.amount(0.05)

    def process(sound: Array, rate: int) -> Output:
        level = np.sqrt(loops.two_times(2 * sound * sound, keep(over, rate), keep(over, rate), 0.0))
        dulled = dull_loop(sound, level, 2 * np.pi * 18_000 / rate, loud)
        return Output(finely(lambda v: v - bend * v**3, dulled), None)

    return Stage(
        "dull-when-loud", "loses treble where it is loud", process, warm_s=0.4, calm_s=0.6, turns_phase=True
    )


def creeping_bias(draw: Draw) -> Stage:
    drive, shift, slow = draw.amount(1.4), draw.amount(0.5), draw.time(0.3)

    def process(sound: Array, rate: int) -> Output:
        heard = loops.two_times(np.abs(sound), keep(slow, rate), keep(2 * slow, rate), 0.0)
        bias = shift * heard
        bent = (np.tanh(drive * sound + bias) - np.tanh(bias)) / drive
        return Output(filters.high_part(bent, 6.0, rate), None)

    return Stage(
        "creeping-bias", "its bend leans the more the longer it is driven", process, warm_s=4.0, calm_s=6.0
    )


def hiss_ahead(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -26, 4, 6), draw.time(0.005), draw.time(0.14)
    hiss, lift = 10 ** (draw.level(-84, 3) / 20), draw.level(6.0, 3)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.003, rate)
        reduction = loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0)
        own = hiss / np.sqrt(2) * np.random.default_rng(sound.size + 7).standard_normal(sound.size)
        return by(sound * 0.5 + own, reduction, lift)

    return Stage(
        "hiss-ahead", "hisses in front of its cell: quieter where it reduces", process,
    )  # fmt: skip


def loaded_supply(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -22, 3, 6), draw.time(0.006), draw.time(0.16)
    depth, slow, part = draw.amount(0.01), draw.time(0.05), draw.amount(0.05)

    def process(sound: Array, rate: int) -> Output:
        cell = by(
            sound,
            loops.two_times(
                law(mean_square(sound, 0.004, 0.004, rate)), keep(up, rate), keep(down, rate), 0.0
            ),
            2.0,
        )
        load = np.sqrt(loops.two_times(cell.sound**2, keep(slow, rate), keep(slow, rate), 0.0))
        wave = np.sin(2 * np.pi * 100 * np.arange(sound.size) / rate)
        moved = cell.sound * (1 - depth * load * (1 + wave)) + part * depth * load * wave
        return Output(moved - 0.02 * moved**3, cell.gain)

    return Stage("loaded-supply", "its supply hums the more it gives", process, warm_s=1.2, unsteady_db=0.02)


def quick_clipper(draw: Draw) -> Stage:
    top = 10 ** (draw.level(-8, 3) / 20)

    def process(sound: Array, rate: int) -> Output:
        smooth = ellip(7, 0.02, 90, 0.9 / FINE, output="sos")
        fine = np.zeros(FINE * sound.size)
        fine[::FINE] = FINE * sound
        bent = sosfilt(smooth, fine)
        bent = bent / (1 + np.abs(bent / top) ** 6) ** (1 / 6)
        return Output(sosfilt(smooth, bent)[::FINE], None)

    return Stage(
        "quick-clipper", "a clipper at four times the rate between filters that ring behind", process,
        warm_s=0.3, calm_s=0.3,
    )  # fmt: skip


def lowered_lows(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -28, 3, 6), draw.time(0.01), draw.time(0.2)
    corner = 250 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        low = filters.low_part(sound, corner, rate)
        level = mean_square(low, 0.008, 0.008, rate)
        reduction = loops.two_times(np.minimum(law(level), 10.0), keep(up, rate), keep(down, rate), 0.0)
        return Output(sound - (1 - factor(-reduction)) * low, None)

    return Stage(
        "lowered-lows", "takes lows away where they are loud", process, warm_s=1.0, calm_s=3.0,
        turns_phase=True,
    )  # fmt: skip


LATE_PATHS = (dull_when_loud, creeping_bias, hiss_ahead, loaded_supply, quick_clipper, lowered_lows)
