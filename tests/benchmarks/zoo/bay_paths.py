"""Held-out stages whose path bends by parts: shaped words, dulled crossing, a capacitor that yields, iron with a bias."""

from __future__ import annotations

import numpy as np
from numba import njit

from tests.benchmarks.zoo import filters, loops
from tests.benchmarks.zoo.declared import Declared
from tests.benchmarks.zoo.desk_paths import steep
from tests.benchmarks.zoo.saturators import FINE, finely
from tests.benchmarks.zoo.stage import Array, Draw, Output


@njit(cache=True)
def shaped(sound: Array, step: float, dither: Array) -> Array:
    """Rounded to steps; the error of the last two words is taken off the next."""
    out = np.empty_like(sound)
    last, before = 0.0, 0.0
    for n in range(sound.size):
        wanted = sound[n] - 1.6 * last + 0.8 * before
        out[n] = step * np.round(wanted / step + dither[n])
        last, before = out[n] - wanted, last
    return out


@njit(cache=True)
def yielding(sound: Array, pace: float, bend: float) -> Array:
    """A coupling capacitor that loses capacity by the square of the voltage across it."""
    out = np.empty_like(sound)
    across = 0.0
    for n in range(sound.size):
        out[n] = sound[n] - across
        across += pace * out[n] * (1 + bend * across * across)
    return out


def shaped_words(draw: Draw) -> Declared:
    step = 2.0 ** -(11 + round(draw.amount(1.0)))

    def process(sound: Array, _: int) -> Output:
        rng = np.random.default_rng(sound.size + 5)
        return Output(shaped(sound, step, rng.random(sound.size) - rng.random(sound.size)), None)

    return Declared("shaped-words", "a coarse converter whose noise is moved to the top", process, warm_s=0.3, calm_s=0.3, kind="plain")  # fmt: skip


def dulled_crossing(draw: Draw) -> Declared:
    notch, corner = 0.004 * draw.amount(1.0), 9000 * draw.amount(1.0) ** 0.5

    def process(sound: Array, rate: int) -> Output:
        crossed = finely(lambda v: v - notch * np.tanh(v / notch), sound)
        return Output(steep(crossed, min(corner, 0.45 * rate), "lowpass", 2, rate), None)

    return Declared("dulled-crossing", "crosses over with a notch, then loses highs", process, warm_s=0.3, calm_s=0.3, kind="colour")  # fmt: skip


def yielding_capacitor(draw: Draw) -> Declared:
    corner, bend = 25 * draw.amount(1.0), draw.amount(3.0)

    def process(sound: Array, rate: int) -> Output:
        return Output(finely(lambda v: yielding(v, 2 * np.pi * corner / (FINE * rate), bend), sound), None)

    return Declared("yielding-capacitor", "a coupling capacitor that yields to voltage: lows bend and shift", process, warm_s=0.6, calm_s=0.6, kind="colour")  # fmt: skip


def biased_iron(draw: Draw) -> Declared:
    bend, bias, top = draw.amount(0.05), 0.2 * draw.amount(1.0), 15_000 * draw.amount(1.0) ** 0.3
    low = 12 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        leak = float(np.exp(-2 * np.pi * low / rate))
        # a constant voltage whose flux settles at `bias`
        pace = 2 * np.pi * 50 / rate
        core = loops.core(sound + bias * (1 - leak) / pace, pace, leak, bend)
        rung = filters.bell(filters.high_part(core, low, rate), min(top, 0.45 * rate), 3.0, 1.5, rate)
        return Output(rung, None)

    return Declared("biased-iron", "iron with a constant current in it, ringing at the top", process, warm_s=1.0, calm_s=1.0, kind="colour")  # fmt: skip


BAY_PATHS = (shaped_words, dulled_crossing, yielding_capacitor, biased_iron)
