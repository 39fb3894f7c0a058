"""Held-out stages whose path is a rack's: rails apart, servos, slewing, echoes, turned phases, coarse words."""

from __future__ import annotations

import numpy as np
from numba import njit
from scipy.signal import lfilter

from tests.benchmarks.zoo import filters, loops
from tests.benchmarks.zoo.compressors import mean_square
from tests.benchmarks.zoo.declared import Declared
from tests.benchmarks.zoo.desk_paths import steep
from tests.benchmarks.zoo.saturators import FINE, finely
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, keep


@njit(cache=True)
def paced(sound: Array, most: float) -> Array:
    """Follows its input by no more than `most` a sample."""
    out = np.empty_like(sound)
    state = 0.0
    for n in range(sound.size):
        state += min(max(sound[n] - state, -most), most)
        out[n] = state
    return out


@njit(cache=True)
def servo_loop(sound: Array, top: float, pace: float) -> Array:
    """Upper halves softly held under `top`; a slow sum of the output is taken off the input."""
    out = np.empty_like(sound)
    servo = 0.0
    for n in range(sound.size):
        at = sound[n] - servo
        out[n] = top * np.tanh(at / top) if at > 0 else at
        servo += pace * out[n]
    return out


def keen_when_loud(draw: Draw) -> Stage:
    corner, threshold, part = 2500 * draw.amount(1.0), draw.level(-24), draw.amount(0.5)
    up, down = draw.time(0.006), draw.time(0.15)

    def process(sound: Array, rate: int) -> Output:
        highs = steep(sound, corner, "highpass", 2, rate)
        level = mean_square(sound, 0.006, 0.02, rate)
        wanted = np.clip((level - threshold) / 12, 0.0, 1.0)
        share = loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0)
        made = finely(lambda v: np.square(np.tanh(2 * v)), highs)
        return Output(sound + part * share * filters.high_part(made, 300.0, rate), None)

    return Stage("keen-when-loud", "adds even harmonics of the highs once it is loud, with times", process)


def hard_slew(draw: Draw) -> Declared:
    pace = 9000 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        return Output(finely(lambda v: paced(v, pace / (FINE * rate)), sound), None)

    return Declared(
        "hard-slew",
        "clean up to a rate of change, and no faster",
        process,
        warm_s=0.2,
        calm_s=0.2,
        kind="colour",
    )


def servoed_rail(draw: Draw) -> Declared:
    top, pace = 0.6 * draw.amount(1.0), 2 * np.pi * 3.0 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        return Output(servo_loop(sound, top, pace / rate), None)

    return Declared(
        "servoed-rail", "upper halves bend, and a servo holds the mean", process, warm_s=1.5, calm_s=1.5, kind="colour"
    )  # fmt: skip


def rails_apart(draw: Draw) -> Declared:
    up, low = 10 ** (draw.level(-6, 2) / 20), 10 ** (draw.level(-9, 2) / 20)

    def process(sound: Array, rate: int) -> Output:
        return Output(filters.high_part(finely(lambda v: np.clip(v, -low, up), sound), 5.0, rate), None)

    return Declared("rails-apart", "clips hard, at rails of unlike height", process, warm_s=0.5, calm_s=0.5, kind="colour")  # fmt: skip


def faint_echo(draw: Draw) -> Declared:
    part, late = 10 ** (draw.level(-44, 4) / 20), draw.time(0.03)

    def process(sound: Array, rate: int) -> Output:
        after = round(late * rate)
        return Output(sound + part * np.concatenate([np.zeros(after), sound])[: sound.size], None)

    return Declared("faint-echo", "what it plays is heard once more, faintly", process, warm_s=0.5, calm_s=0.5, kind="plain")  # fmt: skip


def phase_rotator(draw: Draw) -> Declared:
    corner = 180 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        warp = np.tan(np.pi * corner / rate)
        stay = (warp - 1) / (warp + 1)
        out = sound
        for _ in range(4):
            out = np.asarray(lfilter([stay, 1.0], [1.0, stay], out))
        return Output(out, None)

    return Declared("phase-rotator", "turns the phases of lows four times over, and no level", process, warm_s=0.5, calm_s=0.5, kind="plain")  # fmt: skip


def ranged_words(draw: Draw) -> Declared:
    bits = 10 + round(2 * (draw.amount(1.0) - 1))

    def process(sound: Array, _: int) -> Output:
        step = 2.0 ** (np.clip(np.ceil(np.log2(np.abs(sound) + 1e-12)), -8, 0) - bits)
        return Output(np.round(sound / step) * step, None)

    return Declared("ranged-words", "a converter whose steps grow with the sound", process, warm_s=0.2, calm_s=0.2)  # fmt: skip


RACK_PATHS = (
    keen_when_loud,
    hard_slew,
    servoed_rail,
    rails_apart,
    faint_echo,
    phase_rotator,
    ranged_words,
)
