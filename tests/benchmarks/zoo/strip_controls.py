"""Held-out stages as strips build them: one knob, blends of releases, gears, riders, neighbours, two cells in a row."""

from __future__ import annotations

import numpy as np
from numba import njit
from scipy.ndimage import uniform_filter1d
from scipy.signal import firwin, lfilter

from tests.benchmarks.zoo import curves, filters, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.saturators import finely
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, decibels, factor, keep

HALF_S = 63 / 48_000  # half of a linear-phase filter


@njit(cache=True)
def divider_loop(
    sound: Array, drive: float, onset: float, steep: float, up: float, down: float, slow: float
) -> tuple[Array, Array]:
    """A divider hears its own output through a quick and a slow capacitor; its gain is 1 / (1 + control)."""
    out, gain = np.empty_like(sound), np.empty_like(sound)
    quick, far = 0.0, 0.0
    for n in range(sound.size):
        control = steep * max(0.0, 0.7 * quick + 0.3 * far - onset)
        gain[n] = drive / (1 + control)
        out[n] = gain[n] * sound[n]
        heard = np.abs(out[n])
        quick += (heard - quick) * (up if heard > quick else down)
        far += (quick - far) * slow
    return out, gain


@njit(cache=True)
def geared_loop(
    wanted: Array, up: float, gears: tuple[float, float, float], high: float, low: float
) -> Array:
    """Lets go in three gears: over `high` dB, down to `low` dB, and below."""
    out = np.empty_like(wanted)
    state = 0.0
    for n in range(wanted.size):
        if wanted[n] > state:
            part = up
        else:
            part = gears[0] if state > high else gears[1] if state > low else gears[2]
        state = part * state + (1 - part) * wanted[n]
        out[n] = state
    return out


@njit(cache=True)
def rider_loop(wanted: Array, level: Array, freeze: float, up: float, down: float) -> Array:
    """Rides towards what is wanted, either way, and stays where it hears less than `freeze` dB."""
    out = np.empty_like(wanted)
    state = 0.0
    for n in range(wanted.size):
        if level[n] > freeze:
            part = up if wanted[n] > state else down
            state = part * state + (1 - part) * wanted[n]
        out[n] = state
    return out


@njit(cache=True)
def bell_loop(
    sound: Array,
    bell: tuple[float, float, float, float, float],
    threshold: float,
    steep: float,
    average: float,
    up: float,
    down: float,
) -> tuple[Array, Array]:
    """Feedback through a bell: what lies at its centre is heard louder."""
    out, gain = np.empty_like(sound), np.empty_like(sound)
    x1, x2, y1, y2, square, reduction = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for n in range(sound.size):
        gain[n] = 10 ** (-reduction / 20)
        out[n] = gain[n] * sound[n]
        heard = bell[0] * out[n] + bell[1] * x1 + bell[2] * x2 - bell[3] * y1 - bell[4] * y2
        x1, x2, y1, y2 = out[n], x1, heard, y1
        square = average * square + (1 - average) * 2 * heard * heard
        wanted = max(0.0, steep * (10 * np.log10(square + 1e-12) - threshold))
        part = up if wanted > reduction else down
        reduction = part * reduction + (1 - part) * wanted
    return out, gain


def one_knob(draw: Draw) -> Stage:
    knob, onset, steep = draw.level(9.0, 4), 0.12 * draw.amount(1.0), 6 * draw.amount(1.0)
    up, down, slow = draw.time(0.002), draw.time(0.12), draw.time(0.6)

    def process(sound: Array, rate: int) -> Output:
        shares = (1 - keep(up, rate), 1 - keep(down, rate), 1 - keep(slow, rate))
        out, gain = divider_loop(sound, 10 ** (knob / 20), onset, steep, *shares)
        trim = 10 ** (-0.6 * knob / 20)
        return Output(trim * out, trim * gain)

    return Stage(
        "one-knob", "one knob drives a divider that hears itself, and trims its output", process,
        warm_s=9.0, calm_s=7.0, trace_is_gain=True,
    )  # fmt: skip


def blended_release(draw: Draw) -> Stage:
    law, quick, lazy = law_of(draw, -25, 4, 6), draw.time(0.003), draw.time(0.12)
    fast, slow, half = draw.time(0.08), draw.time(0.7), draw.amount(4.0)

    def process(sound: Array, rate: int) -> Output:
        wanted = law(mean_square(sound, 0.004, 0.004, rate))
        near = loops.two_times(wanted, keep(quick, rate), keep(fast, rate), 0.0)
        far = loops.two_times(wanted, keep(lazy, rate), keep(slow, rate), 0.0)
        part = far / (far + half)
        return by(sound, (1 - part) * near + part * far, 3.0)

    return Stage(
        "blended-release", "blends a fast and a slow reduction by the depth of the slow one", process,
        warm_s=2.0, calm_s=7.0, trace_is_gain=True,
    )  # fmt: skip


def even_delay(draw: Draw) -> Stage:
    law, ahead, up, down = law_of(draw, -20, 6, 5), draw.time(0.004), draw.time(0.0015), draw.time(0.11)

    def process(sound: Array, rate: int) -> Output:
        half = round(HALF_S * rate)
        late = round((ahead + HALF_S) * rate) - half
        square = uniform_filter1d(2 * sound * sound, late + 1, origin=late // 2, mode="constant")
        level = decibels(np.sqrt(np.maximum(square, 0.0)))
        reduction = loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0)
        cell = by(np.concatenate([np.zeros(late), sound])[: sound.size], reduction, 1.0)
        return Output(np.asarray(lfilter(firwin(2 * half + 1, 0.93), [1.0], cell.sound)), None)

    return Stage(
        "even-delay", "looks ahead by its mean, behind it a filter that delays all alike", process,
        late_s=ahead + HALF_S,
    )  # fmt: skip


def three_gears(draw: Draw) -> Stage:
    law, up = law_of(draw, -26, 5, 4), draw.time(0.005)
    gears, high, low = (draw.time(0.05), draw.time(0.2), draw.time(0.6)), draw.amount(6.0), draw.amount(2.0)

    def process(sound: Array, rate: int) -> Output:
        wanted = law(mean_square(sound, 0.003, 0.003, rate))
        kept = (keep(gears[0], rate), keep(gears[1], rate), keep(gears[2], rate))
        return by(sound, geared_loop(wanted, keep(up, rate), kept, high, low), 2.0)

    return Stage(
        "three-gears", "lets go in three gears, by how deep it still is", process,
        calm_s=6.0, trace_is_gain=True,
    )  # fmt: skip


def lifted_attack(draw: Draw) -> Stage:
    share, most, quick, slow = draw.amount(0.5), draw.level(6.0, 2), draw.time(0.002), draw.time(0.04)

    def process(sound: Array, rate: int) -> Output:
        near = np.maximum(mean_square(sound, quick, slow, rate), -70.0)
        far = np.maximum(mean_square(sound, slow, slow, rate), -70.0)
        lift = np.clip(share * (near - far - 3.0), 0.0, most)
        return by(sound, -loops.two_times(lift, keep(0.0005, rate), keep(0.02, rate), 0.0))

    return Stage("lifted-attack", "lifts attacks, whatever their level", process, trace_is_gain=True)


def bell_in_loop(draw: Draw) -> Stage:
    threshold, steep, lift = draw.level(-24), draw.ratio(4) - 1, draw.level(7.0, 3)
    centre, average = 2500 * draw.amount(1.0), draw.time(0.003)
    up, down = draw.time(0.015), draw.time(0.2)

    def process(sound: Array, rate: int) -> Output:
        pulse = np.zeros(8)
        pulse[0] = 1.0
        h = filters.bell(pulse, centre, lift, 0.8, rate)
        turn, height = 2 * np.pi * centre / rate, 10 ** (lift / 40)
        side = np.sin(turn) / (2 * 0.8)
        a1, a2 = -2 * np.cos(turn) / (1 + side / height), (1 - side / height) / (1 + side / height)
        bell = (h[0], h[1] + a1 * h[0], h[2] + a1 * h[1] + a2 * h[0], a1, a2)
        kept = keep(average, rate), keep(up, rate), keep(down, rate)
        return Output(*bell_loop(sound, bell, threshold, steep, *kept))

    return Stage(
        "bell-in-loop", "hears its own output through a bell", process, calm_s=3.0, trace_is_gain=True
    )


def slow_into_fast(draw: Draw) -> Stage:
    threshold, lighting, dark = draw.level(-28), draw.time(0.03), draw.time(0.25)
    law, up, down = law_of(draw, -19, 8, 3), draw.time(0.0008), draw.time(0.07)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.005, 0.005, rate)
        drive = factor(curves.corner(level, threshold=threshold, slope=0.45, knee=8)) - 1
        first = by(sound, loops.light_cell(drive, lighting * rate, dark * rate, 1.0 * rate, 1.5), 4.0)
        peak = decibels(loops.peak_kept(np.abs(first.sound), round(0.003 * rate), keep(0.01, rate)))
        second = by(first.sound, loops.two_times(law(peak), keep(up, rate), keep(down, rate), 0.0), 2.0)
        assert first.gain is not None and second.gain is not None
        return Output(second.sound, first.gain * second.gain)

    return Stage(
        "slow-into-fast", "a light cell, then a fast cell on peaks", process,
        warm_s=6.0, calm_s=30.0, trace_is_gain=True,
    )  # fmt: skip


def hushed_ahead(draw: Draw) -> Stage:
    bottom, most, slope = draw.level(-46, 3), draw.level(9.0, 3), draw.ratio(2)
    open_s, close_s = draw.time(0.004), draw.time(0.12)
    threshold, steep, up, down = draw.level(-24), draw.ratio(3) - 1, draw.time(0.01), draw.time(0.18)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(filters.high_part(sound, 120.0, rate), 0.004, 0.02, rate)
        wanted = np.minimum(curves.below(level, threshold=bottom, slope=slope), most)
        hushed = by(sound, loops.two_times(wanted, keep(close_s, rate), keep(open_s, rate), most))
        kept = keep(0.003, rate), keep(up, rate), keep(down, rate)
        out, gain = loops.back_loop(hushed.sound, threshold, steep, *kept, 0.0, False)
        assert hushed.gain is not None
        return Output(out, gain * hushed.gain)

    return Stage(
        "hushed-ahead", "an expander that hears no lows, ahead of a feedback cell", process,
        calm_s=3.0, trace_is_gain=True,
    )  # fmt: skip


def rounded_ceiling(draw: Draw) -> Stage:
    top, up, down = draw.level(-12, 3), draw.time(0.003), draw.time(0.09)

    def process(sound: Array, rate: int) -> Output:
        wanted = curves.corner(mean_square(sound, 0.006, 0.006, rate), threshold=top - 4, slope=0.08, knee=8)
        cell = by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0), 2.0)
        height = 10 ** (top / 20)
        bent = finely(lambda v: v / (1 + np.abs(v / height) ** 3) ** (1 / 3), cell.sound)
        return Output(bent, cell.gain)

    return Stage("rounded-ceiling", "a slow limiter, then a rounded clip at its ceiling", process)


def louder_neighbour(draw: Draw) -> Stage:
    law, louder, dull = law_of(draw, -20, 4, 4), draw.level(5.0, 3), 2000 * draw.amount(1.0)
    up, down = draw.time(0.004), draw.time(0.16)

    def process(sound: Array, rate: int) -> Output:
        other = 10 ** (louder / 20) * filters.low_part(sound, dull, rate)
        both = np.maximum(np.abs(sound), np.abs(other))
        level = decibels(loops.peak_kept(both, round(0.005 * rate), keep(0.01, rate)))
        return by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 2.0)

    return Stage("louder-neighbour", "linked to a duller, louder other channel", process, trace_is_gain=True)


def slow_rider(draw: Draw) -> Stage:
    target, share, freeze = draw.level(-22, 3), min(0.9, draw.amount(0.6)), draw.level(-70, 2)
    up, down = draw.time(0.15), draw.time(0.8)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.02, 0.02, rate)
        wanted = np.clip(share * (level - target), -5.0, 15.0)
        return by(sound, rider_loop(wanted, level, freeze, keep(up, rate), keep(down, rate)))

    return Stage(
        "slow-rider", "rides the level up and down, and waits in pauses", process,
        warm_s=8.0, calm_s=8.0, trace_is_gain=True,
    )  # fmt: skip


def close_thresholds(draw: Draw) -> Stage:
    threshold, apart = draw.level(-22), draw.amount(1.5)
    gentle, steep = 1 / draw.ratio(1.8), 0.35
    up, down = draw.time(0.005), draw.time(0.14)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.004, 0.004, rate)
        wanted = curves.corner(level, threshold=threshold, slope=gentle)
        wanted = wanted + curves.corner(level, threshold=threshold + apart, slope=1 - steep)
        return by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0), 1.0)

    return Stage("close-thresholds", "two corners within a few dB of each other", process, trace_is_gain=True)


STRIP_CONTROLS = (
    one_knob,
    blended_release,
    even_delay,
    three_gears,
    lifted_attack,
    bell_in_loop,
    slow_into_fast,
    hushed_ahead,
    rounded_ceiling,
    louder_neighbour,
    slow_rider,
    close_thresholds,
)
