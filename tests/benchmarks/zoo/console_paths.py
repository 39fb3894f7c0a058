"""Held-out stages whose path is a console's: converters with steps, clippers that average, makers of bass, tape between emphases."""

from __future__ import annotations

import numpy as np
from numba import njit
from scipy.signal import lfilter, remez

from tests.benchmarks.zoo import filters, loops
from tests.benchmarks.zoo.declared import Declared
from tests.benchmarks.zoo.desk_paths import shelf, steep
from tests.benchmarks.zoo.saturators import finely
from tests.benchmarks.zoo.stage import Array, Draw, Output


@njit(cache=True)
def play_in(sound: Array, play: float) -> Array:
    """What follows its input at a distance of up to `play`, held softly where it turns."""
    out = np.empty_like(sound)
    state = 0.0
    for n in range(sound.size):
        away = sound[n] - state
        if abs(away) > play:
            state = sound[n] - np.copysign(play, away)
        out[n] = sound[n] + 0.2 * (state - sound[n])
    return out


@njit(cache=True)
def leaning_loop(sound: Array, drive: float, rest: float, lean: float, pace: float) -> Array:
    """A valve whose working point sinks with the mean of what its bend makes."""
    out = np.empty_like(sound)
    shift = 0.0
    for n in range(sound.size):
        at = rest - shift
        out[n] = (np.tanh(drive * sound[n] + at) - np.tanh(at)) / drive
        shift += (lean * max(0.0, drive * abs(sound[n]) - 0.3) - shift) * pace
    return out


def averaged_bend(draw: Draw) -> Declared:
    drive = 2.0 * draw.amount(1.0)

    def process(sound: Array, _: int) -> Output:
        before = np.concatenate([[0.0], sound[:-1]])
        step = sound - before

        def whole(v: Array) -> Array:
            return np.asarray(np.logaddexp(drive * v, -drive * v) / drive**2)

        still = np.abs(step) < 1e-5
        mean = (whole(sound) - whole(before)) / np.where(still, 1.0, step)
        return Output(np.where(still, np.tanh(drive * (sound + before) / 2) / drive, mean), None)

    return Declared(
        "averaged-bend", "a soft clip that takes its mean between samples", process, warm_s=0.2, calm_s=0.2, kind="colour"
    )  # fmt: skip


def pressed_tape(draw: Draw) -> Declared:
    lift, drive, play = draw.level(8.0, 3), draw.amount(0.9), 10 ** (draw.level(-54, 4) / 20)
    bump, top = 70 * draw.amount(0.9), 15_000 * draw.amount(0.8)
    hiss = 10 ** (draw.level(-84, 3) / 20)

    def process(sound: Array, rate: int) -> Output:
        keen = filters.high_shelf(sound, 3200.0, lift, rate)
        bent = finely(lambda v: np.tanh(drive * play_in(v, play)) / drive, keen)
        own = hiss / np.sqrt(2) * np.random.default_rng(sound.size + 13).standard_normal(sound.size)
        flat = filters.high_shelf(bent + own, 3200.0, -lift, rate)
        return Output(
            filters.low_part(filters.bell(flat, bump, 2.0, 0.8, rate), min(top, 0.4 * rate), rate), None
        )

    return Declared(
        "pressed-tape", "tape with play, between a lift of the highs and its undoing", process,
        warm_s=0.5, calm_s=0.5, kind="colour",
    )  # fmt: skip


def bass_maker(draw: Draw) -> Declared:
    corner, part = 120 * draw.amount(0.8), draw.amount(0.4)

    def process(sound: Array, rate: int) -> Output:
        lows = steep(sound, corner, "lowpass", 2, rate)
        made = steep(steep(np.abs(lows), 60.0, "highpass", 2, rate), 400.0, "lowpass", 2, rate)
        return Output(sound + part * made, None)

    return Declared("bass-maker", "adds the octave of its lows, as much at any level", process, warm_s=0.6, calm_s=0.6, kind="colour")  # fmt: skip


def ladder_step(draw: Draw) -> Declared:
    step = 10 ** (draw.level(-80, 4) / 20)

    def process(sound: Array, _: int) -> Output:
        return Output(finely(lambda v: v + step * np.tanh(v / (0.05 * step)), sound), None)

    return Declared(
        "ladder-step",
        "a converter whose highest bit weighs too much",
        process,
        warm_s=0.2,
        calm_s=0.2,
        kind="colour",
    )


def narrow_passage(draw: Draw) -> Declared:
    edge, wide = 14_800 * draw.amount(1.0) ** 0.2, draw.amount(0.08)
    late = 60 / 48_000

    def process(sound: Array, rate: int) -> Output:
        half = round(late * rate)
        band = remez(2 * half + 1, [0, edge, edge + 2200, rate / 2], [1, 0], weight=[1, wide], fs=rate)
        return Output(np.asarray(lfilter(band, [1.0], sound)), None)

    return Declared(
        "narrow-passage", "through a converter of a lower rate: a steep end, a rippled band", process,
        late_s=late, warm_s=0.3, calm_s=0.3,
    )  # fmt: skip


def peaking_ends(draw: Draw) -> Declared:
    low, high = 28 * draw.amount(0.8), 16_000 * draw.amount(0.8) ** 0.5
    gain = draw.level(3.0, 1.5)

    def process(sound: Array, rate: int) -> Output:
        turn = np.tan(np.pi * low / rate)
        bottom = np.array([1 + turn / 1.3 + turn**2, 2 * (turn**2 - 1), 1 - turn / 1.3 + turn**2])
        cut = lfilter(np.array([1.0, -2.0, 1.0]) / bottom[0], bottom / bottom[0], sound)
        return Output(filters.bell(np.asarray(cut), min(high, 0.42 * rate), gain, 1.5, rate), None)

    return Declared("peaking-ends", "an input winding: a bump above its low cut, a peak at the top", process, warm_s=0.8, calm_s=0.8)  # fmt: skip


def leaning_valve(draw: Draw) -> Declared:
    drive, rest, lean, pace = 1.2 * draw.amount(1.0), draw.amount(0.25), draw.amount(0.3), draw.time(0.06)

    def process(sound: Array, rate: int) -> Output:
        bent = leaning_loop(sound, drive, rest, lean, 1 / (pace * rate))
        return Output(filters.high_part(bent, 8.0, rate), None)

    return Declared(
        "leaning-valve", "a valve whose working point sinks when driven: gain and even orders move", process,
        warm_s=2.0, calm_s=2.0, kind="colour",
    )  # fmt: skip


def shelved_iron(draw: Draw) -> Declared:
    gain, corner, bend = draw.level(-4.0, 2), 180 * draw.amount(1.0), draw.amount(0.03)

    def process(sound: Array, rate: int) -> Output:
        lows = shelf(sound, corner, gain, -1, rate)
        pace, leak = 2 * np.pi * 60 / rate, float(np.exp(-2 * np.pi * 12 / rate))
        return Output(loops.core(lows, pace, leak, bend), None)

    return Declared(
        "shelved-iron", "a bass shelf, then iron that bends what is left of the lows", process,
        warm_s=0.6, calm_s=0.6, kind="colour",
        true={"response.shelf_gain": gain, "response.shelf_corner": corner},
    )  # fmt: skip


CONSOLE_PATHS = (
    averaged_bend,
    pressed_tape,
    bass_maker,
    ladder_step,
    narrow_passage,
    peaking_ends,
    leaning_valve,
    shelved_iron,
)
