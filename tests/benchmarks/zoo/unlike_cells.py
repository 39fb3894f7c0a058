"""Held-out stages whose cell, detector or control is unlike all others: history, overshoot, steps, windows."""

from __future__ import annotations

import numpy as np
from numba import njit
from scipy.ndimage import uniform_filter1d

from tests.benchmarks.zoo import curves, filters, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.saturators import finely
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, decibels, keep


@njit(cache=True)
def primed_loop(wanted: Array, attack: float, release: float, prime: float) -> Array:
    """A cell that answers the faster the more light it has seen of late; times in samples."""
    out = np.empty_like(wanted)
    state, seen = 0.0, 0.0
    for n in range(wanted.size):
        seen += (min(state / 10, 1.0) - seen) / prime
        if wanted[n] > state:
            state += (wanted[n] - state) * (1 + 3 * seen) / attack
        else:
            state += (wanted[n] - state) / release
        out[n] = state
    return out


@njit(cache=True)
def chasing_loop(wanted: Array, attack: float, release: float, far: float) -> Array:
    """An attack that is the faster the farther it has to go (`far` in dB doubles it)."""
    out = np.empty_like(wanted)
    state = 0.0
    for n in range(wanted.size):
        left = wanted[n] - state
        state += left * (1 + left / far) / attack if left > 0 else left / release
        out[n] = state
    return out


@njit(cache=True)
def drifting_loop(
    level: Array, threshold: float, share: float, up: float, down: float, most: float, slow: float
) -> Array:
    """The threshold sinks by `most` dB as reduction of 10 dB stays, with a time of `slow` samples."""
    out = np.empty_like(level)
    state, sunk = 0.0, 0.0
    for n in range(level.size):
        sunk += (most * min(state / 10, 1.0) - sunk) / slow
        wanted = share * max(0.0, level[n] - threshold + sunk)
        part = up if wanted > state else down
        state = part * state + (1 - part) * wanted
        out[n] = state
    return out


@njit(cache=True)
def leaning_loop(
    level: Array, threshold: float, light: float, heavy: float, up: float, down: float, slow: float
) -> Array:
    """The share of the excess taken off moves from `light` to `heavy` with the mean reduction over `slow` samples."""
    out = np.empty_like(level)
    state, mean = 0.0, 0.0
    for n in range(level.size):
        mean += (min(state / 8, 1.0) - mean) / slow
        wanted = (light + (heavy - light) * mean) * max(0.0, level[n] - threshold)
        part = up if wanted > state else down
        state = part * state + (1 - part) * wanted
        out[n] = state
    return out


@njit(cache=True)
def bright_back_loop(
    sound: Array,
    threshold: float,
    steep: float,
    lift: float,
    corner: float,
    average: float,
    up: float,
    down: float,
) -> tuple[Array, Array]:
    """Feedback whose side chain hears highs louder: the output plus `lift` times what is above a one-pole corner."""
    out, gain = np.empty_like(sound), np.empty_like(sound)
    low, square, reduction = 0.0, 0.0, 0.0
    for n in range(sound.size):
        gain[n] = 10 ** (-reduction / 20)
        out[n] = gain[n] * sound[n]
        low += corner * (out[n] - low)
        heard = out[n] + lift * (out[n] - low)
        square = average * square + (1 - average) * 2 * heard * heard
        over = 10 * np.log10(square + 1e-12) - threshold
        wanted = steep * over if over > 0 else 0.0
        part = up if wanted > reduction else down
        reduction = part * reduction + (1 - part) * wanted
    return out, gain


@njit(cache=True)
def frozen_loop(wanted: Array, level: Array, up: float, down: float, freeze: float) -> Array:
    """Lets go only while it hears more than `freeze` dB."""
    out = np.empty_like(wanted)
    state = 0.0
    for n in range(wanted.size):
        if wanted[n] > state:
            state = up * state + (1 - up) * wanted[n]
        elif level[n] > freeze:
            state = down * state + (1 - down) * wanted[n]
        out[n] = state
    return out


@njit(cache=True)
def sticky_core(sound: Array, pace: float, leak: float, width: float, part: float, offset: float) -> Array:
    """A core with play: flux is dragged along `width` behind the sum of the voltage, which stands off by `offset`."""
    out = np.empty_like(sound)
    flux, dragged = 0.0, 0.0
    for n in range(sound.size):
        flux = leak * flux + pace * sound[n]
        at = flux + offset
        dragged = min(max(dragged, at - width), at + width)
        out[n] = sound[n] - part * (dragged * np.abs(dragged) + dragged**3) * pace * 50
    return out


def primed_cell(draw: Draw) -> Stage:
    law, attack, release, prime = law_of(draw, -24, 4, 8), draw.time(0.015), draw.time(0.12), draw.time(0.6)

    def process(sound: Array, rate: int) -> Output:
        wanted = law(mean_square(sound, 0.003, 0.003, rate))
        return by(sound, primed_loop(wanted, attack * rate, release * rate, prime * rate), 1.0)

    return Stage(
        "primed-cell", "attacks the faster the more it has reduced of late", process,
        warm_s=1.5, calm_s=6.0, trace_is_gain=True,
    )  # fmt: skip


def chasing_attack(draw: Draw) -> Stage:
    law, attack, release, far = law_of(draw, -23, 5, 4), draw.time(0.02), draw.time(0.15), draw.amount(4.0)

    def process(sound: Array, rate: int) -> Output:
        wanted = law(mean_square(sound, 0.001, 0.001, rate))
        return by(sound, chasing_loop(wanted, attack * rate, release * rate, far))

    return Stage("chasing-attack", "attacks the faster the farther it has to go", process, trace_is_gain=True)


def diode_bridge(draw: Draw) -> Stage:
    threshold, part = draw.level(-22), draw.amount(0.03)
    slope, width = 1 / draw.ratio(5), draw.amount(4.0)
    up, down = draw.time(0.004), draw.time(0.12)

    def process(sound: Array, rate: int) -> Output:
        wanted = curves.gradual(
            mean_square(sound, 0.003, 0.003, rate), threshold=threshold, slope=slope, width=width
        )
        cell = by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0), 2.0)
        bent = part * (1 - cell.gain / 10 ** (2.0 / 20)) * sound**3
        return Output(cell.sound - bent + 0.3 * part * cell.sound**2, cell.gain)

    return Stage("diode-bridge", "a bridge that bends what it sheds, knee without end", process)


def drifting_bias(draw: Draw) -> Stage:
    threshold, share, most = draw.level(-24), 1 - 1 / draw.ratio(3), draw.amount(0.8)
    up, down, slow = draw.time(0.008), draw.time(0.2), draw.time(1.5)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.003, rate)
        kept = keep(up, rate), keep(down, rate)
        return by(sound, drifting_loop(level, threshold, share, *kept, most, slow * rate), 3.0)

    return Stage(
        "drifting-bias", "its threshold sinks while it reduces", process,
        warm_s=12.0, calm_s=14.0, trace_is_gain=True,
    )  # fmt: skip


def leaning_ratio(draw: Draw) -> Stage:
    threshold, light, heavy = draw.level(-24), 1 - 1 / draw.ratio(2), 1 - 1 / draw.ratio(5)
    up, down, slow = draw.time(0.006), draw.time(0.12), draw.time(0.3)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.003, rate)
        return by(
            sound, leaning_loop(level, threshold, light, heavy, keep(up, rate), keep(down, rate), slow * rate)
        )

    return Stage(
        "leaning-ratio", "its ratio rises with what it has reduced of late", process,
        warm_s=3.0, calm_s=5.0, trace_is_gain=True,
    )  # fmt: skip


def bright_feedback(draw: Draw) -> Stage:
    threshold, steep, lift = draw.level(-26), draw.ratio(4) - 1, draw.amount(1.0)
    average, up, down, corner = draw.time(0.003), draw.time(0.02), draw.time(0.25), 1500 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        part = 1 - np.exp(-2 * np.pi * corner / rate)
        kept = keep(average, rate), keep(up, rate), keep(down, rate)
        return Output(*bright_back_loop(sound, threshold, steep, lift, part, *kept))

    return Stage(
        "bright-feedback",
        "feedback whose side chain hears highs louder",
        process,
        calm_s=3.0,
        trace_is_gain=True,
    )


def flat_window(draw: Draw) -> Stage:
    law, span, down = law_of(draw, -22, 4, 3), draw.time(0.015), draw.time(0.1)

    def process(sound: Array, rate: int) -> Output:
        count = max(1, round(span * rate))
        square = uniform_filter1d(2 * sound * sound, count, origin=(count - 1) // 2, mode="constant")
        level = decibels(np.sqrt(np.maximum(square, 0.0)))
        return by(sound, loops.two_times(law(level), 0.0, keep(down, rate), 0.0))

    return Stage("flat-window", "mean square over a flat window", process, trace_is_gain=True)


def stepped_gain(draw: Draw) -> Stage:
    law, up, down, step = law_of(draw, -23, 3, 4), draw.time(0.005), draw.time(0.14), 0.25

    def process(sound: Array, rate: int) -> Output:
        wanted = loops.two_times(
            law(mean_square(sound, 0.004, 0.004, rate)), keep(up, rate), keep(down, rate), 0.0
        )
        return by(sound, np.round(wanted / step) * step)

    return Stage("stepped-gain", "its gain moves in steps of 0.25 dB", process, trace_is_gain=True)


def held_control(draw: Draw) -> Stage:
    law, up, down, hold = law_of(draw, -21, 6, 3), draw.time(0.004), draw.time(0.1), 0.001

    def process(sound: Array, rate: int) -> Output:
        count = round(hold * rate)
        blocks = -(-sound.size // count)
        padded = np.zeros(blocks * count)
        padded[: sound.size] = sound
        peaks = np.abs(padded).reshape(blocks, count).max(axis=1)
        level = decibels(loops.peak_kept(peaks, round(0.01 / hold), keep(0.02, round(1 / hold))))
        reduction = loops.two_times(law(level), keep(up, round(1 / hold)), keep(down, round(1 / hold)), 0.0)
        late = np.concatenate([[0.0], reduction[:-1]])  # a block is heard before it is answered
        return by(sound, np.repeat(late, count)[: sound.size])

    return Stage("held-control", "its gain is set once a millisecond", process, trace_is_gain=True)


def crossed_behind(draw: Draw) -> Stage:
    law, up, down, width = law_of(draw, -24, 4, 6), draw.time(0.008), draw.time(0.18), draw.amount(0.0008)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.003, rate)
        cell = by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 4.0)
        return Output(finely(lambda v: v - 0.3 * width * np.tanh(v / width), cell.sound), cell.gain)

    return Stage("crossed-behind", "gain cell, then a notch around zero", process)


def slewed_behind(draw: Draw) -> Stage:
    law, up, down, bend = law_of(draw, -22, 4, 4), draw.time(0.005), draw.time(0.12), draw.amount(0.6)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.003, 0.003, rate)
        cell = by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 3.0)
        return Output(loops.slew(cell.sound, min(0.95, 30_000 * 2 / rate), bend), cell.gain)

    return Stage(
        "slewed-behind", "gain cell, then an output that bends high tones", process, turns_phase=True
    )


def sticky_iron(draw: Draw) -> Stage:
    width, part, offset = draw.amount(0.02), draw.amount(0.04), draw.amount(0.1)

    def process(sound: Array, rate: int) -> Output:
        leak = float(np.exp(-2 * np.pi * 8 / rate))
        bent = sticky_core(sound, 2 * np.pi * 50 / rate, leak, width, part, offset)
        return Output(filters.high_part(bent, 6.0, rate), None)

    return Stage("sticky-iron", "a core with play and a constant in it", process, warm_s=1.0, calm_s=1.0)


def two_detectors(draw: Draw) -> Stage:
    fast_law, slow_law = law_of(draw, -14, 6, 2), law_of(draw, -26, 2.5, 8)
    up, fast, slow, down = draw.time(0.001), draw.time(0.05), draw.time(0.05), draw.time(0.4)

    def process(sound: Array, rate: int) -> Output:
        peak = loops.peak_kept(np.abs(sound), round(0.005 * rate), keep(0.01, rate))
        quick = loops.two_times(fast_law(decibels(peak)), keep(up, rate), keep(fast, rate), 0.0)
        mean = slow_law(mean_square(sound, 0.005, 0.005, rate))
        return by(
            sound, np.maximum(quick, loops.two_times(mean, keep(slow, rate), keep(down, rate), 0.0)), 2.0
        )

    return Stage(
        "two-detectors", "a fast peak and a slow mean: the deeper one counts", process,
        warm_s=1.0, calm_s=4.0, trace_is_gain=True,
    )  # fmt: skip


def frozen_release(draw: Draw) -> Stage:
    law, up, down, freeze = law_of(draw, -24, 4, 4), draw.time(0.006), draw.time(0.15), draw.level(-52, 4)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.004, 0.004, rate)
        return by(sound, frozen_loop(law(level), level, keep(up, rate), keep(down, rate), freeze))

    return Stage("frozen-release", "keeps its gain in pauses", process, trace_is_gain=True)


def ever_steeper(draw: Draw) -> Stage:
    threshold, bend, up, down = draw.level(-28), draw.amount(0.02), draw.time(0.007), draw.time(0.16)

    def process(sound: Array, rate: int) -> Output:
        over = np.maximum(0.0, mean_square(sound, 0.003, 0.003, rate) - threshold)
        wanted = np.where(over < 0.4 / bend, bend * over * over, 0.8 * over - 0.16 / bend)
        return by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0))

    return Stage("ever-steeper", "the louder, the steeper", process, trace_is_gain=True)


UNLIKE_CELLS = (
    primed_cell,
    chasing_attack,
    diode_bridge,
    drifting_bias,
    leaning_ratio,
    bright_feedback,
    flat_window,
    stepped_gain,
    held_control,
    crossed_behind,
    slewed_behind,
    sticky_iron,
    two_detectors,
    frozen_release,
    ever_steeper,
)
