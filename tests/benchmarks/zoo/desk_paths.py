"""Held-out stages whose path is a desk's: input amplifiers, equalisers, a box's band, converters, a companded line."""

from __future__ import annotations

import numpy as np
from scipy.signal import butter, firwin, lfilter, sosfilt

from tests.benchmarks.zoo import filters, loops
from tests.benchmarks.zoo.compressors import by
from tests.benchmarks.zoo.declared import Declared
from tests.benchmarks.zoo.saturators import finely
from tests.benchmarks.zoo.stage import Array, Draw, Output, decibels, factor, keep

HALF = 48  # samples on either side of a converter's filter


def steep(sound: Array, corner_hz: float, side: str, order: int, rate_hz: int) -> Array:
    """A Butterworth filter."""
    return np.asarray(sosfilt(butter(order, corner_hz, side, fs=rate_hz, output="sos"), sound))


def shelf(sound: Array, corner_hz: float, gain_db: float, side: int, rate_hz: int) -> Array:
    """Second-order shelf of Butterworth poles by the bilinear transform, half its dB at the corner; `side` -1 for bass."""
    lift, s = 10 ** (gain_db / 40), side
    turn = 2 * np.pi * corner_hz / rate_hz
    cosine, alpha = np.cos(turn), np.sin(turn) / np.sqrt(2)
    swing = 2 * np.sqrt(lift) * alpha
    b = lift * np.array([
        (lift + 1) + s * (lift - 1) * cosine + swing,
        -2 * s * ((lift - 1) + s * (lift + 1) * cosine),
        (lift + 1) + s * (lift - 1) * cosine - swing,
    ])  # fmt: skip
    a = np.array([
        (lift + 1) - s * (lift - 1) * cosine + swing,
        2 * s * ((lift - 1) - s * (lift + 1) * cosine),
        (lift + 1) - s * (lift - 1) * cosine - swing,
    ])  # fmt: skip
    return np.asarray(lfilter(b / a[0], a / a[0], sound))


def input_amplifier(draw: Draw) -> Declared:
    lift, low, treble = draw.level(0.8, 0.8), 24 * draw.amount(1.0), 45_000 * draw.amount(1.0)
    second, third = draw.amount(0.004), draw.amount(0.002)
    hiss = 10 ** (draw.level(-93, 4) / 20)

    def process(sound: Array, rate: int) -> Output:
        own = hiss / np.sqrt(2) * np.random.default_rng(sound.size + 3).standard_normal(sound.size)
        heard = steep(factor(np.array([lift]))[0] * sound, low, "highpass", 2, rate)
        bent = heard + second * heard * heard - third * heard**3
        return Output(filters.low_part(bent, min(treble, 0.45 * rate), rate) + own, None)

    return Declared(
        "input-amplifier", "a quiet input amplifier: coupling, a little second and third, its own hiss", process,
        warm_s=0.6, calm_s=0.6, kind="colour",
    )  # fmt: skip


def rumble_and_air(draw: Draw) -> Declared:
    low, corner, gain = 75 * draw.amount(1.0), 6000 * draw.amount(0.9), draw.level(4.0, 2)

    def process(sound: Array, rate: int) -> Output:
        cut = steep(sound, low, "highpass", 3, rate)
        return Output(0.5 * filters.high_shelf(cut, corner, gain, rate), None)

    return Declared(
        "rumble-and-air", "a steep low cut and a first-order shelf", process, warm_s=0.5, calm_s=0.5,
        true={"response.low_corner": low, "response.shelf_gain": gain, "response.shelf_corner": corner},
    )  # fmt: skip


def tone_tilt(draw: Draw) -> Declared:
    centre, gain = 700 * draw.amount(1.0), draw.level(2.0, 1)

    def process(sound: Array, rate: int) -> Output:
        return Output(filters.high_shelf(sound, centre, 2 * gain, rate) * 10 ** (-gain / 20), None)

    return Declared(
        "tone-tilt", "lows down and highs up around one frequency", process, warm_s=0.4, calm_s=0.4,
        true={"response.shelf_corner": centre},  # bass down or treble up: one curve
    )  # fmt: skip


def bass_weight(draw: Draw) -> Declared:
    corner, gain, drive = 110 * draw.amount(1.0), draw.level(5.0, 3), draw.amount(0.35)

    def process(sound: Array, rate: int) -> Output:
        lifted = shelf(0.5 * sound, corner, gain, -1, rate)
        return Output(np.tanh(drive * lifted) / drive, None)

    return Declared(
        "bass-weight", "a second-order bass shelf, then a soft output", process, warm_s=0.5, calm_s=0.5,
        kind="colour", true={"response.shelf_gain": gain, "response.shelf_corner": corner},
    )  # fmt: skip


def narrow_box(draw: Draw) -> Declared:
    low, high, drive = 180 * draw.amount(1.0), 5500 * draw.amount(1.0), draw.amount(1.2)

    def process(sound: Array, rate: int) -> Output:
        bent = finely(lambda v: np.tanh(drive * v) / drive, steep(sound, low, "highpass", 1, rate))
        return Output(steep(bent, high, "lowpass", 4, rate), None)

    return Declared(
        "narrow-box",
        "a driven box that passes the middle alone",
        process,
        warm_s=0.4,
        calm_s=0.4,
        kind="colour",
    )


def round_trip(draw: Draw) -> Declared:
    late, low, lost = max(draw.time(0.0019), HALF / 44_100), 2.5 * draw.amount(1.0), draw.level(-0.4, 0.3)

    def process(sound: Array, rate: int) -> Output:
        whole = round(late * rate) - HALF
        passed = lfilter(
            firwin(2 * HALF + 1, 0.92), [1.0], np.concatenate([np.zeros(whole), sound])[: sound.size]
        )
        return Output(10 ** (lost / 20) * filters.high_part(np.asarray(passed), low, rate), None)

    return Declared(
        "round-trip", "through two converters: late, band limited, no constant", process,
        late_s=late, warm_s=1.0, calm_s=1.0,
    )  # fmt: skip


def soft_top(draw: Draw) -> Declared:
    begins, top = 10 ** (draw.level(-8, 2) / 20), 10 ** (draw.level(-2, 1) / 20)

    def process(sound: Array, rate: int) -> Output:
        def shape(v: Array) -> Array:
            over, room = np.maximum(np.abs(v) - begins, 0.0), top - begins
            return np.sign(v) * (np.minimum(np.abs(v), begins) + room * np.tanh(over / room))

        return Output(finely(shape, sound), None)

    return Declared(
        "soft-top",
        "straight up to a level, then rounded into its ceiling",
        process,
        warm_s=0.2,
        calm_s=0.2,
        kind="colour",
    )


def companded_line(draw: Draw) -> Declared:
    pace, treble, hiss = draw.time(0.012), 7500 * draw.amount(1.0), 10 ** (draw.level(-58, 3) / 20)

    def process(sound: Array, rate: int) -> Output:
        kept = keep(pace, rate)
        level = decibels(loops.two_times(np.abs(sound) * np.pi / 2, kept, kept, 0.0))
        sent = by(sound, 0.5 * np.maximum(level, -80.0)).sound
        own = hiss / np.sqrt(2) * np.random.default_rng(sound.size + 7).standard_normal(sound.size)
        heard = steep(sent + own, treble, "lowpass", 2, rate)
        back = decibels(loops.two_times(np.abs(heard) * np.pi / 2, kept, kept, 0.0))
        return by(heard, -np.maximum(back, -40.0))

    return Declared(
        "companded-line", "squeezed 2:1, sent through hiss and a dull line, and spread again", process,
        warm_s=0.8, calm_s=0.8,
    )  # fmt: skip


def cabinet(draw: Draw) -> Declared:
    drive, shift, high = 4 * draw.amount(1.0), draw.amount(0.2), 4200 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        tight, rest = steep(sound, 90.0, "highpass", 1, rate), np.tanh(shift)
        bent = finely(lambda v: (np.tanh(drive * v + shift) - rest) / drive, tight)
        low = filters.bell(filters.high_part(bent, 60.0, rate), 110.0, 4.0, 1.5, rate)
        return Output(steep(low, high, "lowpass", 4, rate), None)

    return Declared(
        "cabinet", "an amplifier driven hard into its box", process, warm_s=0.5, calm_s=0.5, kind="colour"
    )


DESK_PATHS = (
    input_amplifier,
    rumble_and_air,
    tone_tilt,
    bass_weight,
    narrow_box,
    round_trip,
    soft_top,
    companded_line,
    cabinet,
)
