"""Held-out stages whose path is no plain gain: mixes, emphasis, sagging bias, feed-through, a pair that undoes itself."""

from __future__ import annotations

import numpy as np
from numba import njit
from scipy.signal import firwin, lfilter

from tests.benchmarks.zoo import filters, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.saturators import finely
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, factor, keep

RATE_HZ = 48_000


@njit(cache=True)
def grid_loop(sound: Array, drive: float, bias: float, charge: float, leak: float) -> Array:
    """A valve whose grid draws current on peaks: its coupling capacitor charges and shifts the bias."""
    out = np.empty_like(sound)
    stored = 0.0
    rest = np.tanh(bias)
    for n in range(sound.size):
        grid = drive * sound[n] + bias - stored
        over = grid - 0.9
        if over > 0:
            stored += charge * over
        stored -= leak * stored
        out[n] = (np.tanh(grid) - rest) / drive
    return out


@njit(cache=True)
def sag_loop(sound: Array, slow: float, depth: float, bend: float) -> tuple[Array, Array]:
    """A supply that sags with the mean of what it delivers: gain falls and the bend grows."""
    out, gain = np.empty_like(sound), np.empty_like(sound)
    sag = 0.0
    for n in range(sound.size):
        sag += (np.abs(sound[n]) - sag) * slow
        gain[n] = 1 / (1 + depth * sag)
        cell = gain[n] * sound[n]
        out[n] = cell + bend * (1 + 2 * sag) * cell * cell - 0.5 * bend * cell**3
    return out, gain


@njit(cache=True)
def flux_loop(sound: Array, pace: float, leak: float, most: float) -> Array:
    """An input winding: what comes out is the change of a flux that cannot pass `most`."""
    out = np.empty_like(sound)
    flux, before = 0.0, 0.0
    for n in range(sound.size):
        flux = leak * flux + pace * sound[n]
        bent = most * np.tanh(flux / most)
        out[n] = (bent - leak * before) / pace
        before = bent
    return out


def control_through(draw: Draw) -> Stage:
    law, up, down, part = law_of(draw, -23, 4, 4), draw.time(0.003), draw.time(0.12), draw.amount(0.0004)

    def process(sound: Array, rate: int) -> Output:
        reduction = loops.two_times(
            law(mean_square(sound, 0.002, 0.002, rate)), keep(up, rate), keep(down, rate), 0.0
        )
        cell = by(sound, reduction, 2.0)
        return Output(cell.sound + filters.high_part(part * reduction, 12.0, rate), None)

    return Stage("control-through", "its control voltage comes through", process)


def beside_dry(draw: Draw) -> Stage:
    law, up, down, part = law_of(draw, -32, 8, 6), draw.time(0.005), draw.time(0.1), draw.amount(1.5)

    def process(sound: Array, rate: int) -> Output:
        reduction = loops.two_times(
            law(mean_square(sound, 0.003, 0.003, rate)), keep(up, rate), keep(down, rate), 0.0
        )
        gain = (1 + part * factor(-reduction)) / (1 + part)
        return Output(sound * gain, gain)

    return Stage("beside-dry", "strong compression beside the dry sound", process, trace_is_gain=True)


def late_wet(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -26, 5, 4), draw.time(0.006), draw.time(0.14)
    late, part = round(14 * draw.amount(1.0)), 0.5 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        reduction = loops.two_times(
            law(mean_square(sound, 0.003, 0.003, rate)), keep(up, rate), keep(down, rate), 0.0
        )
        wet = np.concatenate([np.zeros(late), by(sound, reduction).sound])[: sound.size]
        return Output((1 - part / 2) * sound + part / 2 * wet, None)

    return Stage(
        "late-wet", "a compressed path that comes later than the dry one", process,
        ahead_s=0.0, turns_phase=True,
    )  # fmt: skip


def emphasised(draw: Draw) -> Stage:
    drive, lift, shift = draw.amount(0.7), draw.amount(6.0), draw.amount(0.05)

    def process(sound: Array, rate: int) -> Output:
        up = filters.high_shelf(sound, 2500.0, lift, rate)
        rest = np.tanh(shift)
        bent = finely(lambda x: (np.tanh(drive * x + shift) - rest) / (drive * (1 - rest * rest)), up)
        flat = filters.high_shelf(bent, 2500.0, -lift, rate)
        return Output(filters.bell(filters.high_part(flat, 20.0, rate), 70.0, 1.5, 1.0, rate), None)

    return Stage("emphasised", "bends between emphasis and its undoing", process, warm_s=0.6, calm_s=0.6)


def grid_current(draw: Draw) -> Stage:
    drive, bias = draw.amount(1.2), 0.3 * draw.amount(1.0)
    charge, leak = draw.time(0.004), draw.time(0.15)

    def process(sound: Array, rate: int) -> Output:
        bent = grid_loop(sound, drive, bias, 1 - keep(charge, rate), 1 - keep(leak, rate))
        return Output(filters.high_part(bent, 8.0, rate), None)

    return Stage("grid-current", "a valve whose bias shifts when driven", process, warm_s=2.0, calm_s=3.0)


def sagging_supply(draw: Draw) -> Stage:
    slow, depth, bend = draw.time(0.25), draw.amount(0.4), draw.amount(0.04)

    def process(sound: Array, rate: int) -> Output:
        out, gain = sag_loop(sound, 1 - keep(slow, rate), depth, bend)
        return Output(filters.high_part(out, 5.0, rate), gain)

    return Stage("sagging-supply", "its supply sags with the programme", process, warm_s=4.0, calm_s=5.0)


def winding_ahead(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -22, 3, 6), draw.time(0.008), draw.time(0.2)
    most = draw.amount(1.5)

    def process(sound: Array, rate: int) -> Output:
        leak = keep(1 / (2 * np.pi * 10), rate)
        bent = flux_loop(sound, 2 * np.pi * 60 / rate, leak, most)
        level = mean_square(bent, 0.004, 0.004, rate)
        cell = by(bent, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 4.0)
        return Output(cell.sound, cell.gain)

    return Stage(
        "winding-ahead", "an input winding that saturates lows, then a gain cell", process, warm_s=1.2
    )


def clipped_finely(draw: Draw) -> Stage:
    top, late = 10 ** (draw.level(-8, 3) / 20), 30

    def process(sound: Array, rate: int) -> Output:
        taps = firwin(8 * late + 1, 0.9 / 8)
        fine = np.zeros(8 * sound.size)
        fine[::8] = 8 * sound
        fine = lfilter(taps, [1.0], fine)
        bent = np.where(
            np.abs(fine) < top, fine, np.sign(fine) * (top + 0.1 * np.tanh(10 * (np.abs(fine) - top)) / 10)
        )
        down = lfilter(firwin(8 * late + 1, 0.9 / 8), [1.0], bent)
        return Output(down[::8][: sound.size], None)

    return Stage(
        "clipped-finely", "a clipper at eight times the rate, thirty samples late", process,
        late_s=late / RATE_HZ, warm_s=0.3, calm_s=0.3,
    )  # fmt: skip


def there_and_back(draw: Draw) -> Stage:
    over, back = draw.time(0.01), draw.time(0.01)

    def process(sound: Array, rate: int) -> Output:
        level = np.maximum(mean_square(sound, over, over, rate), -60.0)
        inner = by(sound, 0.5 * (level + 20.0))
        heard = np.maximum(mean_square(inner.sound, back, back, rate), -40.0)
        outer = by(inner.sound, -(heard + 20.0))
        assert inner.gain is not None and outer.gain is not None
        return Output(outer.sound, inner.gain * outer.gain)

    return Stage(
        "there-and-back", "2:1 and back again: no static gain, but edges", process, trace_is_gain=True
    )


def ducked_band(draw: Draw) -> Stage:
    law, up, down, centre = (
        law_of(draw, -30, 4, 4),
        draw.time(0.003),
        draw.time(0.08),
        4500 * draw.amount(1.0),
    )

    def process(sound: Array, rate: int) -> Output:
        band = filters.bell(sound, centre, 12.0, 0.8, rate) - sound
        level = mean_square(band / (10 ** (12 / 20) - 1), 0.002, 0.002, rate)
        reduction = loops.two_times(np.minimum(law(level), 12.0), keep(up, rate), keep(down, rate), 0.0)
        return Output(sound - (1 - factor(-reduction)) * band / (10 ** (12 / 20) - 1), None)

    return Stage(
        "ducked-band",
        "takes presence away where it is loud",
        process,
        warm_s=0.8,
        calm_s=2.0,
        turns_phase=True,
    )


def one_rail(draw: Draw) -> Stage:
    top, knee, law = 10 ** (draw.level(-7, 3) / 20), 0.08 * draw.amount(1.0), law_of(draw, -20, 2, 8)
    up, down = draw.time(0.01), draw.time(0.2)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.004, 0.004, rate)
        cell = by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 3.0)
        bent = finely(lambda x: top - knee * np.logaddexp(0.0, (top - x) / knee), cell.sound)
        zero = top - knee * np.logaddexp(0.0, top / knee)
        return Output(filters.high_part(bent - zero, 6.0, rate), cell.gain)

    return Stage("one-rail", "gain cell, then a softly clipped upper half", process, warm_s=1.5)


ODD_PATHS = (
    control_through,
    beside_dry,
    late_wet,
    emphasised,
    grid_current,
    sagging_supply,
    winding_ahead,
    clipped_finely,
    there_and_back,
    ducked_band,
    one_rail,
)
