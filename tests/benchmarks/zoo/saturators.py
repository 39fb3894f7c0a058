"""Held-out stages that colour, alone or around a gain cell, and one that does nothing."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.signal import resample_poly

from tests.benchmarks.zoo import filters, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, keep

FINE = 4  # times the rate at which strong shapers work, so that little folds back


def finely(shape: Callable[[Array], Array], sound: Array) -> Array:
    """A shaper run at `FINE` times the rate."""
    return np.asarray(resample_poly(shape(resample_poly(sound, FINE, 1)), 1, FINE))[: sound.size]


def soft(sound: Array, drive: float) -> Array:
    """Odd: a hyperbolic tangent of unit slope."""
    return np.asarray(np.tanh(drive * sound) / drive)


def iron(sound: Array, bend: float, rate_hz: int) -> Array:
    """A core that bends tones around 50 Hz by `bend` of their cube."""
    return loops.core(sound, 2 * np.pi * 50 / rate_hz, float(np.exp(-2 * np.pi * 8 / rate_hz)), bend)


def coloured(name: str, about: str, shape: Callable[[Array, int], Array]) -> Stage:
    return Stage(name, about, lambda sound, rate: Output(shape(sound, rate), None), warm_s=0.3, calm_s=0.3)


def even(draw: Draw) -> Stage:
    part = draw.amount(0.1)
    return coloured(
        "even", "second harmonic alone, falling and rising as the level", lambda x, _: x + part * x * x
    )


def odd(draw: Draw) -> Stage:
    part = draw.amount(0.12)
    return coloured("odd", "third harmonic alone", lambda x, _: x - part * x**3)


def lopsided(draw: Draw) -> Stage:
    part, bend = draw.amount(0.15), draw.amount(0.06)
    return coloured(
        "lopsided",
        "second and third, a constant blocked behind them",
        lambda x, rate: filters.high_part(x + part * x * x - bend * x**3, 6.0, rate),
    )


def junction(draw: Draw) -> Stage:
    drive, shift = draw.amount(1.6), draw.amount(0.25)

    def shape(x: Array) -> Array:
        rest = np.tanh(shift)
        return np.asarray((np.tanh(drive * x + shift) - rest) / (drive * (1 - rest * rest)))

    return coloured("junction", "off-centre soft clipping", lambda x, _: finely(shape, x))


def crossover(draw: Draw) -> Stage:
    width = draw.amount(0.002)
    return coloured(
        "crossover",
        "a notch around zero: the quieter, the more colour",
        lambda x, _: finely(lambda v: v - 0.5 * width * np.tanh(v / width), x),
    )


def shelf_and_colour(draw: Draw) -> Stage:
    gain, turn, part = draw.level(1.7, 0.8), draw.amount(3000), draw.amount(0.05)

    def shape(x: Array, rate: int) -> Array:
        lifted = filters.high_shelf(x, turn, gain, rate)
        return lifted + part * lifted * lifted - part * lifted**3

    return coloured("shelf-and-colour", "a high shelf, then second and third", shape)


def clean(draw: Draw) -> Stage:
    gain = 10 ** (draw.level(-1.5, 3.0) / 20)
    return Stage(
        "clean",
        "gain alone",
        lambda x, _: Output(gain * x, np.full(x.size, gain)),
        calm_s=0.1,
        trace_is_gain=True,
    )


def transformer(draw: Draw) -> Stage:
    bend, lift = draw.amount(0.05), draw.level(0.6, 0.3)
    return coloured(
        "transformer",
        "low end rolls off behind a small bell, low tones saturate",
        lambda x, rate: iron(
            filters.bell(filters.high_part(x, 14.0, rate), 55.0, lift, 0.8, rate), bend, rate
        ),
    )


def slewing(draw: Draw) -> Stage:
    bend = draw.amount(0.5)
    return coloured(
        "slewing", "high tones bend first", lambda x, rate: loops.slew(x, min(0.95, 30_000 * 2 / rate), bend)
    )


def core_behind(draw: Draw) -> Stage:
    law, up, down, bend = law_of(draw, -22, 4, 6), draw.time(0.006), draw.time(0.15), draw.amount(0.9)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.003, rate)
        cell = by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 2.0)
        return Output(iron(cell.sound, bend, rate), cell.gain)

    return Stage("core-behind", "gain cell, then a core that bends low tones", process, turns_phase=True)


def core_ahead(draw: Draw) -> Stage:
    law, up, down, bend = law_of(draw, -22, 4, 6), draw.time(0.006), draw.time(0.15), draw.amount(0.3)

    def process(sound: Array, rate: int) -> Output:
        bent = iron(sound, bend, rate)
        level = mean_square(bent, 0.003, 0.003, rate)
        return by(bent, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 2.0)

    return Stage("core-ahead", "a core that bends low tones, then the gain cell", process, turns_phase=True)


def colour_in_loop(draw: Draw) -> Stage:
    threshold, steep, bend = draw.level(-24), draw.ratio(3) - 1, draw.amount(1.5)
    average, up, down = draw.time(0.004), draw.time(0.008), draw.time(0.2)

    def process(sound: Array, rate: int) -> Output:
        kept = (keep(average, rate), keep(up, rate), keep(down, rate))
        return Output(*loops.back_loop(3 * sound, threshold, steep, *kept, bend, True))

    return Stage("colour-in-loop", "senses its own coloured output", process, calm_s=3.0)


def tube_like(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -26, 2.5, 14), draw.time(0.008), draw.time(0.22)
    part = draw.amount(0.006)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.004, 0.004, rate)
        reduction = loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0)
        cell = by(sound, reduction, 2.0)
        return Output(cell.sound + part * reduction * cell.sound * np.abs(cell.sound) ** 0.5, cell.gain)

    return Stage("bends-as-it-reduces", "its cell colours the more it reduces", process)


def clipped_compressor(draw: Draw) -> Stage:
    law, up, down, drive = law_of(draw, -24, 3, 3), draw.time(0.004), draw.time(0.1), draw.amount(1.5)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.003, rate)
        cell = by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 2.0)
        return Output(finely(lambda v: soft(v, drive), cell.sound), cell.gain)

    return Stage("soft-clip-behind", "gain cell, then soft clipping", process)


SATURATORS = (
    even,
    odd,
    lopsided,
    junction,
    crossover,
    shelf_and_colour,
    clean,
    transformer,
    slewing,
    core_behind,
    core_ahead,
    colour_in_loop,
    tube_like,
    clipped_compressor,
)
