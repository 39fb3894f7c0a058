"""Held-out stages whose path is a strip's: a loaded winding, two valves, tape, a summing drive, air, loudness, a thin wet path."""

from __future__ import annotations

import numpy as np
from numba import njit

from tests.benchmarks.zoo import filters, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.saturators import finely
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, factor, keep


@njit(cache=True)
def winding_loop(sound: Array, pace: float, load: float, bend: float) -> Array:
    """A source with a resistance drives a winding: the current its flux draws is lost, and so moves the flux itself."""
    out = np.empty_like(sound)
    flux = 0.0
    for n in range(sound.size):
        out[n] = sound[n] - load * flux - bend * flux**3
        flux += pace * out[n]
    return out


@njit(cache=True)
def valve_pair(sound: Array, drive: float, charge: float, leak: float, cathode: float, lean: float) -> Array:
    """A valve whose cathode follows its mean, coupled into another whose grid blocks the coupling capacitor."""
    out = np.empty_like(sound)
    stored, mean = 0.0, 0.0
    rest, second = np.tanh(0.2), np.tanh(0.1)
    for n in range(sound.size):
        plate = -(np.tanh(drive * sound[n] + 0.2 - mean) - rest)
        mean += (lean * plate - mean) * cathode
        grid = 1.5 * plate + 0.1 - stored
        over = grid - 0.8
        if over > 0:
            stored += charge * over
        stored -= leak * stored
        out[n] = -(np.tanh(grid) - second) / (1.5 * drive)
    return out


def loaded_winding(draw: Draw) -> Stage:
    load, bend, treble = draw.amount(0.15), draw.amount(0.08), 30_000 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        bent = winding_loop(sound, 2 * np.pi * 50 / rate, load, bend)
        return Output(filters.low_part(bent, treble, rate), None)

    return Stage(
        "loaded-winding", "a winding whose load grows with its flux: lows turn and bend", process,
        warm_s=1.0, calm_s=1.0,
    )  # fmt: skip


def two_valves(draw: Draw) -> Stage:
    drive, charge, leak = draw.amount(0.8), draw.time(0.006), draw.time(0.2)
    cathode, lean = draw.time(0.05), draw.amount(0.3)

    def process(sound: Array, rate: int) -> Output:
        shares = 1 - keep(charge, rate), 1 - keep(leak, rate), 1 - keep(cathode, rate)
        return Output(filters.high_part(valve_pair(sound, drive, *shares, lean), 8.0, rate), None)

    return Stage(
        "two-valves", "two valves: a cathode that follows, a grid that blocks", process,
        warm_s=3.0, calm_s=3.0,
    )  # fmt: skip


def worn_tape(draw: Draw) -> Stage:
    drive, lift, bump = draw.amount(0.6), draw.level(7.0, 2), draw.level(2.0, 1)
    hiss, rough = 10 ** (draw.level(-90, 3) / 20), 10 ** (draw.level(-62, 3) / 20)

    def process(sound: Array, rate: int) -> Output:
        noise = np.random.default_rng(sound.size + 11)
        white = noise.standard_normal(sound.size)
        up = filters.high_shelf(sound, 4000.0, lift, rate)
        bent = finely(lambda v: np.tanh(drive * v) / drive, up)
        flat = filters.high_shelf(bent, 4000.0, -lift, rate)
        modulated = flat * (1 + rough * filters.low_part(white, 400.0, rate))
        head = filters.bell(filters.bell(modulated, 62.0, bump, 1.2, rate), 118.0, -bump / 2, 1.5, rate)
        own = hiss / np.sqrt(2) * noise.standard_normal(sound.size)
        return Output(filters.low_part(head, 21_000.0, rate) + own, None)

    return Stage(
        "worn-tape", "tape: soft, duller when loud, a bump of its head, hiss that moves", process,
        warm_s=0.6, calm_s=0.6,
    )  # fmt: skip


def summed_drive(draw: Draw) -> Stage:
    drive, shift, leak = draw.amount(1.0), draw.amount(0.15), 10 ** (draw.level(-44, 4) / 20)

    def process(sound: Array, rate: int) -> Output:
        late = max(1, round(20e-6 * rate))
        crossed = leak * filters.high_part(
            np.concatenate([np.zeros(late), sound])[: sound.size], 2000.0, rate
        )
        rest = np.tanh(shift)
        bent = finely(
            lambda v: np.where(v + shift > 0, np.tanh(v + shift), np.arctan(1.2 * (v + shift)) / 1.2) - rest,
            drive * (sound + crossed),
        )
        slope = drive * (1 - rest * rest)
        return Output(filters.high_part(bent / slope, 10.0, rate), None)

    return Stage(
        "summed-drive", "a summing amplifier, bent unevenly, with what crosses over", process,
        warm_s=0.5, calm_s=0.5,
    )  # fmt: skip


def steady_air(draw: Draw) -> Stage:
    corner, part, over = 3500 * draw.amount(1.0), draw.amount(0.15), draw.time(0.03)

    def process(sound: Array, rate: int) -> Output:
        highs = filters.high_part(filters.high_part(sound, corner, rate), corner, rate)
        size = np.sqrt(loops.two_times(2 * highs * highs, keep(over, rate), keep(over, rate), 0.0)) + 1e-7
        bent = finely(lambda v: v * v / np.sqrt(1 + v * v), highs / size)
        return Output(sound + part * size * filters.high_part(bent, 1.5 * corner, rate), None)

    return Stage(
        "steady-air", "adds even harmonics of the highs, as much at any level", process,
        warm_s=0.6, calm_s=0.6,
    )  # fmt: skip


def loudness_lift(draw: Draw) -> Stage:
    from_db, share, most = draw.level(-16, 3), draw.amount(0.2), draw.level(7.0, 2)
    up, down = draw.time(0.03), draw.time(0.15)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.02, 0.02, rate)
        wanted = np.minimum(share * np.maximum(0.0, from_db - level), most)
        lift = factor(loops.two_times(wanted, keep(down, rate), keep(up, rate), most)) - 1
        ends = filters.low_part(sound, 120.0, rate) + 0.6 * filters.high_part(sound, 7000.0, rate)
        return Output(sound + lift * ends, None)

    return Stage("loudness-lift", "lifts both ends where it is quiet", process, warm_s=1.2, turns_phase=True)


def thin_wet(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -32, 6, 6), draw.time(0.003), draw.time(0.12)
    cut, part = 350 * draw.amount(1.0), draw.amount(0.8)

    def process(sound: Array, rate: int) -> Output:
        thin = filters.high_part(filters.high_part(sound, cut, rate), cut, rate)
        wanted = law(mean_square(thin, 0.003, 0.003, rate))
        wet = by(thin, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0), 6.0)
        return Output((sound + part * wet.sound) / (1 + part), None)

    return Stage("thin-wet", "a crushed path without lows beside the dry one", process, turns_phase=True)


STRIP_PATHS = (
    loaded_winding,
    two_valves,
    worn_tape,
    summed_drive,
    steady_air,
    loudness_lift,
    thin_wet,
)
