"""Held-out stages whose gain is made as consoles and boxes make it: coarse side chains, leads, makers of make-up, matched pairs."""

from __future__ import annotations

import numpy as np
from numba import njit
from scipy.ndimage import maximum_filter1d, uniform_filter1d
from scipy.signal import firwin, lfilter

from tests.benchmarks.zoo import curves, filters, loops
from tests.benchmarks.zoo.compressors import by, law_of, mean_square
from tests.benchmarks.zoo.declared import Declared
from tests.benchmarks.zoo.desk_paths import steep
from tests.benchmarks.zoo.stage import Array, Draw, Output, Stage, decibels, factor, keep

PAD_DB = -10.0  # behind what lifts: its overshoot must not overload the recorder


@njit(cache=True)
def slewing_loop(wanted: Array, share: float, most: float, down: float) -> Array:
    """Rises by a share of what is left, but by no more than `most` dB a sample; falls as one pole."""
    out = np.empty_like(wanted)
    state = 0.0
    for n in range(wanted.size):
        left = wanted[n] - state
        state += min(share * left, most) if left > 0 else (1 - down) * left
        out[n] = state
    return out


@njit(cache=True)
def cycle_loop(sound: Array, threshold: float, slope: float, down: float) -> Array:
    """Reduction in dB set at each rise through zero from the peak since the last one; so it falls, `down` a sample."""
    out = np.empty_like(sound)
    state, peak, before, last = 0.0, 0.0, 0.0, 0
    for n in range(sound.size):
        if before <= 0 < sound[n]:
            over = 20 * np.log10(max(peak, 1e-6)) - threshold
            wanted = (1 - slope) * over if over > 0 else 0.0
            state = wanted if wanted > state else wanted + down ** (n - last) * (state - wanted)
            peak, last = 0.0, n
        before = sound[n]
        peak = max(peak, abs(before))
        out[n] = state
    return out


@njit(cache=True)
def mixed_loop(
    sound: Array, ahead: float, threshold: float, steepness: float, average: float, up: float, down: float
) -> tuple[Array, Array]:
    """A detector that hears `ahead` of the input and the rest of the output, both by their amplitude."""
    out, gain = np.empty_like(sound), np.empty_like(sound)
    square, reduction = 0.0, 0.0
    for n in range(sound.size):
        gain[n] = 10 ** (-reduction / 20)
        out[n] = gain[n] * sound[n]
        heard = ahead * sound[n] + (1 - ahead) * out[n]
        square = average * square + (1 - average) * 2 * heard * heard
        over = 10 * np.log10(square + 1e-12) - threshold
        wanted = steepness * over if over > 0 else 0.0
        part = up if wanted > reduction else down
        reduction = part * reduction + (1 - part) * wanted
        out[n] = gain[n] * sound[n]
    return out, gain


@njit(cache=True)
def sliding_top(
    sound: Array, level: Array, open_hz: float, shut_hz: float, span: float, rate: float
) -> Array:
    """A one-pole low-pass whose corner slides down by an octave for each `span` dB of level under the open one."""
    out = np.empty_like(sound)
    state = 0.0
    for n in range(sound.size):
        corner = min(open_hz, max(shut_hz, open_hz * 2 ** (level[n] / span)))
        state += (1 - np.exp(-2 * np.pi * corner / rate)) * (sound[n] - state)
        out[n] = state
    return out


@njit(cache=True)
def treble_pair(
    sound: Array, stay: float, most: float, floor: float, up: float, down: float, hiss: Array, trim: float
) -> Array:
    """Quiet highs lifted by up to `most`, sent through hiss by a line `trim` times too loud, and lowered again."""
    out = np.empty_like(sound)
    half = (1 + stay) / 2
    sent_level, sent_low, sent_x = 0.0, 0.0, 0.0
    back_level, back_low, back_x = 0.0, 0.0, 0.0
    for n in range(sound.size):
        high = half * (sound[n] - sent_x) + stay * sent_low
        sent_x, sent_low = sound[n], high
        part = up if abs(high) > sent_level else down
        sent_level = part * sent_level + (1 - part) * abs(high)
        line = trim * (sound[n] + most * floor / (floor + sent_level) * high + hiss[n])
        lift = most * floor / (floor + back_level)
        rest = stay * back_low - half * back_x
        heard = (line - lift * rest) / (1 + lift * half)
        back_low = half * heard + rest
        back_x = heard
        part = up if abs(back_low) > back_level else down
        back_level = part * back_level + (1 - part) * abs(back_low)
        out[n] = heard / trim
    return out


def sparse_key(draw: Draw) -> Declared:
    law, up, down = law_of(draw, -22, 4, 5), draw.time(0.006), draw.time(0.14)
    every = 24

    def process(sound: Array, rate: int) -> Output:
        heard = steep(np.abs(sound) * np.pi / 2, 0.35 * rate / every, "lowpass", 2, rate)[::every]
        slow = rate / every
        kept = np.exp(-1 / (up * slow)), np.exp(-1 / (down * slow))
        reduction = loops.two_times(law(decibels(np.abs(heard))), *kept, 0.0)
        steps = np.repeat(reduction, every)[: sound.size]
        return by(sound, loops.two_times(steps, keep(0.0005, rate), keep(0.0005, rate), 0.0), 1.0)

    return Declared(
        "sparse-key", "its side chain runs at a twenty-fourth of the rate", process, trace_is_gain=True, kind="compressor"
    )  # fmt: skip


def lead_key(draw: Draw) -> Declared:
    law, up, down = law_of(draw, -26, 3, 6), draw.time(0.008), draw.time(0.2)
    lead = draw.time(0.006)

    def process(sound: Array, rate: int) -> Output:
        level = np.maximum(mean_square(sound, 0.004, 0.012, rate), -60.0)
        rise = np.maximum(np.diff(level, prepend=level[0]), 0.0) * lead * rate
        return by(sound, loops.two_times(law(level + rise), keep(up, rate), keep(down, rate), 0.0))

    return Declared(
        "lead-key", "its side chain hears how fast the level rises, too", process,
        trace_is_gain=True, kind="compressor", warm_s=2.5,
    )  # fmt: skip


def auto_made_up(draw: Draw) -> Declared:
    threshold, ratio, knee = draw.level(-28), draw.ratio(4), draw.amount(8.0)
    up, down = draw.time(0.01), draw.time(0.25)

    def process(sound: Array, rate: int) -> Output:
        def law(level: Array) -> Array:
            return curves.corner(level, threshold=threshold, slope=1 / ratio, knee=knee)

        lift = 0.6 * float(law(np.array([0.0]))[0])
        level = loops.two_times(np.maximum(mean_square(sound, 0.003, 0.003, rate), -80.0), keep(up, rate), keep(down, rate), -80.0)  # fmt: skip
        return by(sound, law(level) - lift, PAD_DB)

    return Declared(
        "auto-made-up", "gives back six tenths of what it takes at full scale", process,
        trace_is_gain=True, kind="compressor", calm_s=4.0, true={"static.slope": 1 / ratio, "static.ratio": ratio},
    )  # fmt: skip


def eight_bit_key(draw: Draw) -> Declared:
    law, step = law_of(draw, -24, 3), draw.amount(0.375)
    up, down = draw.time(0.005), draw.time(0.16)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.006, 0.02, rate)
        return by(sound, loops.two_times(law(step * np.floor(level / step)), keep(up, rate), keep(down, rate), 0.0))  # fmt: skip

    return Declared(
        "eight-bit-key", "knows the level in steps, and glides between their reductions", process,
        trace_is_gain=True, kind="compressor",
    )  # fmt: skip


def both_ways(draw: Draw) -> Declared:
    threshold, steepness = draw.level(-26), min(0.95, draw.amount(0.8))
    ahead, up, down = min(0.8, draw.amount(0.4)), draw.time(0.006), draw.time(0.15)

    def process(sound: Array, rate: int) -> Output:
        kept = keep(0.004, rate), keep(up, rate), keep(down, rate)
        return Output(*mixed_loop(sound, ahead, threshold, steepness, *kept))

    return Declared(
        "both-ways", "hears a mix of its input and its output", process, trace_is_gain=True, kind="compressor"
    )


def slewing_attack(draw: Draw) -> Declared:
    law, up, pace, down = law_of(draw, -24, 6, 4), draw.time(0.002), draw.amount(0.6), draw.time(0.13)

    def process(sound: Array, rate: int) -> Output:
        level = decibels(loops.peak_kept(np.abs(sound), round(0.006 * rate), keep(0.01, rate)))
        moved = slewing_loop(law(level), 1 - keep(up, rate), pace * 1000 / rate, keep(down, rate))
        return by(sound, moved, 1.5)

    return Declared(
        "slewing-attack", "an attack that is fast where little is to do, and slews where much is", process,
        trace_is_gain=True, kind="compressor",
    )  # fmt: skip


def dull_when_quiet(draw: Draw) -> Stage:
    quiet, span = draw.level(-38, 4), draw.level(6.0, 2)
    up, down = draw.time(0.003), draw.time(0.12)

    def process(sound: Array, rate: int) -> Output:
        highs = filters.high_part(sound, 1200.0, rate)
        level = np.maximum(mean_square(highs, up, down, rate), -80.0) - quiet
        return Output(sliding_top(sound, level, 0.4 * rate, 1500.0, span, float(rate)), None)

    return Stage(
        "dull-when-quiet",
        "shuts its treble where there is little of it",
        process,
        calm_s=2.0,
        turns_phase=True,
    )


def mistracked_pair(draw: Draw) -> Stage:
    most, floor = draw.amount(2.2), 10 ** (draw.level(-48, 3) / 20)
    trim, hiss = 10 ** (draw.level(-1.5, 0.8) / 20), 10 ** (draw.level(-78, 3) / 20)
    up, down = draw.time(0.002), draw.time(0.08)

    def process(sound: Array, rate: int) -> Output:
        own = hiss / np.sqrt(2) * np.random.default_rng(sound.size + 11).standard_normal(sound.size)
        stay = float(np.exp(-2 * np.pi * 1500 / rate))
        return Output(
            treble_pair(sound, stay, most, floor, keep(up, rate), keep(down, rate), own, trim), None
        )

    return Stage(
        "mistracked-pair", "lifts quiet highs, and lowers them again by a line that is set wrong", process,
        calm_s=2.0, turns_phase=True,
    )  # fmt: skip


def turned_beside(draw: Draw) -> Stage:
    law, up, down = law_of(draw, -28, 5, 6), draw.time(0.004), draw.time(0.15)
    part, corner = min(0.45, draw.amount(0.3)), 900 * draw.amount(1.0)

    def process(sound: Array, rate: int) -> Output:
        level = mean_square(sound, 0.004, 0.004, rate)
        wet = by(sound, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 3.0).sound
        turned = wet - 2 * filters.high_part(wet, corner, rate)
        return Output((1 - part) * sound + part * turned, None)

    return Stage(
        "turned-beside",
        "a compressed path with its phase turned beside the dry one",
        process,
        turns_phase=True,
    )


def guarded_input(draw: Draw) -> Declared:
    top, up, down = draw.level(-5, 1.5), draw.time(0.0002), draw.time(0.05)
    late = 40 / 48_000

    def process(sound: Array, rate: int) -> Output:
        half = round(late * rate)
        wanted = curves.corner(decibels(loops.peak_kept(np.abs(sound), round(0.005 * rate), keep(0.01, rate))), threshold=top, slope=0.1, knee=1.0)  # fmt: skip
        cell = by(sound, loops.two_times(wanted, keep(up, rate), keep(down, rate), 0.0), -1.0)
        return Output(np.asarray(lfilter(firwin(2 * half + 1, 0.94), [1.0], cell.sound)), None)

    return Declared(
        "guarded-input",
        "a converter that holds the last few dB back",
        process,
        late_s=late,
        kind="limiter",
    )


def speech_strip(draw: Draw) -> Stage:
    low, bottom, most = 75 * draw.amount(1.0), draw.level(-46, 3), draw.level(9.0, 3)
    open_s, close_s = draw.time(0.003), draw.time(0.15)
    law, up, down = law_of(draw, -24, 3, 6), draw.time(0.007), draw.time(0.18)
    centre, bell, top = 3500 * draw.amount(0.8), draw.level(3.0, 1.5), draw.level(-6, 2)

    def process(sound: Array, rate: int) -> Output:
        cut = steep(sound, low, "highpass", 2, rate)
        wanted = np.minimum(
            curves.below(mean_square(cut, 0.004, 0.02, rate), threshold=bottom, slope=2.0), most
        )
        quiet = by(cut, loops.two_times(wanted, keep(close_s, rate), keep(open_s, rate), most)).sound
        level = mean_square(quiet, 0.005, 0.005, rate)
        held = by(quiet, loops.two_times(law(level), keep(up, rate), keep(down, rate), 0.0), 4.0).sound
        bright = filters.bell(held, centre, bell, 0.9, rate)
        peak = decibels(loops.peak_kept(np.abs(bright), round(0.005 * rate), keep(0.02, rate)))
        last = loops.two_times(
            curves.corner(peak, threshold=top, slope=0.05), keep(0.0005, rate), keep(0.08, rate), 0.0
        )
        return Output(by(bright, last).sound, None)

    return Stage("speech-strip", "low cut, expander, compressor, a bell and a limiter", process, calm_s=4.0)


def cycle_set(draw: Draw) -> Declared:
    threshold, slope, down = draw.level(-20), 1 / draw.ratio(4), draw.time(0.08)

    def process(sound: Array, rate: int) -> Output:
        return by(sound, cycle_loop(sound, threshold, slope, keep(down, rate)), 1.0)

    return Declared(
        "cycle-set",
        "sets its gain anew where a period begins",
        process,
        trace_is_gain=True,
        kind="compressor",
    )


def pulled_together(draw: Draw) -> Stage:
    bottom, threshold, most = draw.level(-42, 3), draw.level(-18, 3), draw.level(8.0, 2)
    lift_s, drop_s, up, down = draw.time(0.15), draw.time(0.01), draw.time(0.006), draw.time(0.2)

    def process(sound: Array, rate: int) -> Output:
        level = np.maximum(mean_square(sound, 0.006, 0.006, rate), -80.0)
        lift = np.minimum(0.5 * np.clip(bottom - level, 0.0, 60.0), most)
        lifted = loops.two_times(lift, keep(lift_s, rate), keep(drop_s, rate), most)
        taken = loops.two_times(
            curves.corner(level, threshold=threshold, slope=0.4, knee=6),
            keep(up, rate),
            keep(down, rate),
            0.0,
        )
        return by(sound, taken - lifted, PAD_DB)

    return Stage(
        "pulled-together", "lifts what is quiet and takes what is loud, with times of their own", process,
        trace_is_gain=True, calm_s=4.0,
    )  # fmt: skip


def levelled_then_stopped(draw: Draw) -> Declared:
    law, up, down = law_of(draw, -28, 2.5, 10), draw.time(0.04), draw.time(0.4)
    top, ahead, back = draw.level(-12, 2), draw.time(0.002), draw.time(0.05)

    def process(sound: Array, rate: int) -> Output:
        slow = loops.two_times(
            law(mean_square(sound, 0.01, 0.01, rate)), keep(up, rate), keep(down, rate), 0.0
        )
        first = by(sound, slow, 5.0)
        late = round(ahead * rate)
        wanted = curves.corner(decibels(np.abs(first.sound)), threshold=top, slope=0.0)
        peaks = maximum_filter1d(wanted, late + 1, origin=late // 2, mode="constant")
        fast = loops.two_times(peaks, 0.0, keep(back, rate), 0.0)
        smooth = uniform_filter1d(fast, late + 1, origin=late // 2, mode="constant")
        rest = np.zeros(late)
        held = factor(5.0 - np.concatenate([rest, slow])[: sound.size] - smooth)
        return Output(np.concatenate([rest, sound])[: sound.size] * held, held)

    return Declared(
        "levelled-then-stopped", "a leveller, then a limiter that looks ahead", process,
        late_s=ahead, trace_is_gain=True, kind="compressor", calm_s=5.0, warm_s=2.0,
    )  # fmt: skip


CONSOLE_CONTROLS = (
    sparse_key,
    lead_key,
    auto_made_up,
    eight_bit_key,
    both_ways,
    slewing_attack,
    dull_when_quiet,
    mistracked_pair,
    turned_beside,
    guarded_input,
    speech_strip,
    cycle_set,
    pulled_together,
    levelled_then_stopped,
)
