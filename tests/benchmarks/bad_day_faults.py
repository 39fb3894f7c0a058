"""More faults of the bench alone: clip gains, worn joints, waking amplifiers, sound enhancers and half-made exports.

Nothing here shares code with a detector; sizes are mild, typical and severe.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage, signal

from charprobe.simulation.rig.resample import read_between
from charprobe.values.arrays import Array
from tests.benchmarks.fault_sound import clock_s, own_chance, peak_of


def _sounds(capture: Array, rate_hz: float, *, below: float = 1e-3) -> list[tuple[int, int]]:
    """Stretches that hold sound, parted by at least 60 ms below a level."""
    half = round(0.03 * rate_hz)
    loud = ndimage.maximum_filter1d(np.abs(capture).max(axis=1), 2 * half + 1) > below * peak_of(capture)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], loud, [False]]).astype(int)))
    return [(int(first), int(last)) for first, last in edges.reshape(-1, 2)]


def held_samples(capture: Array, each: float, _: float) -> Array:
    """Only one sample of so many is new, the others repeat it: a rate converted by repeating."""
    keep = np.arange(capture.shape[0]) // int(each) * int(each)
    return np.asarray(capture[keep])


def chime(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """Another program announces a message: two bells of 880 and 1318 Hz that die away."""
    line = np.zeros(capture.shape[0])
    for share, pitch_hz, later_s in (
        (0.37, 880.0, 0.0),
        (0.37, 1318.5, 0.18),
        (0.66, 880.0, 0.0),
        (0.66, 1318.5, 0.18),
    ):
        time_s = clock_s(capture, rate_hz, from_share=share) - later_s
        rung = np.where(time_s > 0, np.exp(-np.maximum(time_s, 0) / 0.15), 0.0)
        line += rung * np.sin(2 * np.pi * pitch_hz * time_s)
    return np.asarray(capture + (10 ** (level_dbfs / 20) * line)[:, None])


def phantom_pop(capture: Array, amount: float, rate_hz: float) -> Array:
    """Supply voltage comes onto a line at 0.41 of the length: a step that two couplings take back, and a spike."""
    time_s = np.maximum(clock_s(capture, rate_hz, from_share=0.41), 0)
    on = clock_s(capture, rate_hz, from_share=0.41) > 0
    line = (
        amount
        * on
        * (1.3 * np.exp(-time_s / 0.06) - 0.3 * np.exp(-time_s / 0.5) + 0.2 * np.exp(-time_s / 2e-4))
    )
    return np.asarray(capture + line[:, None])


def leg_lost(capture: Array, last_s: float, rate_hz: float) -> Array:
    """One leg of a balanced line loses contact for so long: half the level, and hum of -85 dBFS."""
    time_s = clock_s(capture, rate_hz, from_share=0.44)
    off = (time_s > 0) & (time_s < last_s)
    hum = 10 ** (-85 / 20) * (np.sin(2 * np.pi * 50 * time_s) + 0.4 * np.sin(2 * np.pi * 150 * time_s))
    return np.asarray(np.where(off[:, None], 0.5 * capture + hum[:, None], capture))


def clip_gain(capture: Array, gain_db: float, rate_hz: float) -> Array:
    """In the editor a stretch from pause to pause, a quarter to a half of the take, has a gain of its own."""
    parts = _sounds(capture, rate_hz)
    first, last = parts[len(parts) // 4][0], parts[max(len(parts) // 2, len(parts) // 4)][1]
    out = capture.copy()
    out[first:last] *= 10 ** (gain_db / 20)
    return out


def each_normalised(capture: Array, target_dbfs: float, rate_hz: float) -> Array:
    """Cut at its pauses, every stretch was brought to one peak by itself, by 30 dB at most."""
    out = capture.copy()
    for first, last in _sounds(capture, rate_hz):
        peak = float(np.abs(capture[first:last]).max())
        out[first:last] *= min(10 ** (target_dbfs / 20) / peak, 10**1.5)
    return out


def warming_up(capture: Array, off_db: float, rate_hz: float) -> Array:
    """A cold preamp: its gain is off at first and settles with a time of 6 s."""
    return np.asarray(capture * 10 ** (off_db * np.exp(-clock_s(capture, rate_hz) / 6)[:, None] / 20))


def stepped_fader(capture: Array, step_db: float, rate_hz: float) -> Array:
    """A remote fader hunts: every 0.7 s it goes one step up, or one back, at random."""
    place = (clock_s(capture, rate_hz) / 0.7).astype(int)
    where = np.random.default_rng(101).integers(0, 2, place.max() + 1)
    return np.asarray(capture * 10 ** (step_db * where[place][:, None] / 20))


def relocked(capture: Array, samples: float, rate_hz: float) -> Array:
    """At 0.48 of the length the clock loses its lock by so many samples and is drawn back with a time of 0.5 s."""
    time_s = clock_s(capture, rate_hz, from_share=0.48)
    late = np.where(time_s > 0, samples * np.exp(-np.maximum(time_s, 0) / 0.5), 0.0)
    place = np.clip(np.arange(capture.shape[0]) - late, 0, capture.shape[0] - 1)
    return np.stack([ndimage.map_coordinates(line, place[None], order=5) for line in capture.T], axis=1)


def warped_piece(capture: Array, percent: float, rate_hz: float) -> Array:
    """A warp marker: 2 s in the middle are played slower, all behind them comes later."""
    first = int(0.46 * capture.shape[0])
    last = first + round(2 * rate_hz)
    step = 1 / (1 + percent / 100)
    count = int((last - first) / step)
    piece = [read_between(line, start=float(first), step=step, count=count) for line in capture.T]
    return np.concatenate([capture[:first], np.stack(piece, axis=1), capture[last:]])


def exchanged_neighbours(capture: Array, last_s: float, rate_hz: float) -> Array:
    """For so long each two neighbouring samples come in the wrong order."""
    first = int(0.43 * capture.shape[0])
    count = round(last_s * rate_hz) // 2
    out = capture.copy()
    out[first : first + 2 * count : 2] = capture[first + 1 : first + 2 * count : 2]
    out[first + 1 : first + 2 * count : 2] = capture[first : first + 2 * count : 2]
    return out


def short_mantissa(capture: Array, bits: float, _: float) -> Array:
    """A link that sends so many bits and a range for each sample: its rounding follows the sound."""
    fraction, exponent = np.frexp(capture)
    return np.asarray(np.ldexp(np.round(fraction * 2.0**bits) / 2.0**bits, exponent))


def noisy_gain(capture: Array, level_db: float, _: float) -> Array:
    """A gain cell that hisses: noise so far below the sound, and only with it."""
    noise = own_chance(capture, 102).standard_normal(capture.shape[0])
    return np.asarray(capture * (1 + 10 ** (level_db / 20) * noise[:, None]))


def one_side_flat(capture: Array, below_db: float, _: float) -> Array:
    """A stage with a bad bias is flat on the upper side only, so far below the peak."""
    return np.asarray(np.minimum(capture, 10 ** (-below_db / 20) * peak_of(capture)))


def even_bend(capture: Array, second_db: float, _: float) -> Array:
    """A single-ended input bends: second harmonic so far below a tone of full scale."""
    return np.asarray(capture + 2 * 10 ** (second_db / 20) * capture**2)


def uneven_codes(capture: Array, depth: float, _: float) -> Array:
    """A converter whose codes lean one way and the other, eleven times over its range, by so much of the peak."""
    top = peak_of(capture)
    return np.asarray(capture + depth * top * np.sin(2 * np.pi * 5.5 * capture / top))


def near_copy(capture: Array, level_db: float, rate_hz: float) -> Array:
    """Both outputs of a mirror feed one input: the same again, 0.1 ms later."""
    late, line = round(1e-4 * rate_hz), capture.copy()
    line[late:] += 10 ** (level_db / 20) * capture[:-late]
    return line


def voice_mode(capture: Array, top_hz: float, rate_hz: float) -> Array:
    """The driver's voice mode: nothing above a frequency, nothing below 120 Hz."""
    top = signal.butter(8, min(top_hz, 0.49 * rate_hz), fs=rate_hz, output="sos")
    cut = signal.butter(2, 120.0, "high", fs=rate_hz, output="sos")
    return np.asarray(signal.sosfilt(np.vstack([top, cut]), capture, axis=0))


def sleepy_stage(capture: Array, off_db: float, rate_hz: float) -> Array:
    """An output stage that saves power: behind pauses of 0.2 s its gain is low and wakes with a time of 40 ms."""
    wakes, end = [], -rate_hz
    for first, last in _sounds(capture, rate_hz):
        if first - end > 0.14 * rate_hz:
            wakes.append(first)
        end = last
    gain_db = np.zeros(capture.shape[0])
    for first in wakes:
        gain_db[first:] = off_db * np.exp(-np.arange(capture.shape[0] - first) / (0.04 * rate_hz))
    return np.asarray(capture * 10 ** (gain_db[:, None] / 20))


def squelch(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A wireless receiver opens in pauses: hiss wherever nothing was sent for 60 ms."""
    quiet = np.ones(capture.shape[0])
    for first, last in _sounds(capture, rate_hz):
        quiet[first:last] = 0
    noise = 10 ** (level_dbfs / 20) * own_chance(capture, 109).standard_normal(capture.shape[0])
    return np.asarray(capture + (quiet * noise)[:, None])


def de_emphasised(capture: Array, share: float, rate_hz: float) -> Array:
    """A flag of old recordings was set: treble is lowered from 3.2 to 10.6 kHz, by a share of the full curve."""
    low, high = (2 * rate_hz * np.tan(np.pi * f / rate_hz) for f in (3183.0, 10_610.0))
    b, a = signal.bilinear([low / high, low], [1, low], fs=rate_hz)
    return np.asarray((1 - share) * capture + share * signal.lfilter(b, a, capture, axis=0))


def breaking_shield(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A dying cable: for five stretches of 0.1 to 0.4 s hum, buzz and hiss come in at once and are gone again."""
    rng, line = own_chance(capture, 104), np.zeros(capture.shape[0])
    time_s = clock_s(capture, rate_hz)
    buzz = sum(np.sin(2 * np.pi * 50 * order * time_s) / order for order in (1, 3, 5, 7, 9, 21, 41))
    for share in (0.22, 0.35, 0.51, 0.64, 0.78):
        first = int(share * capture.shape[0])
        last = first + round(rng.uniform(0.1, 0.4) * rate_hz)
        line[first:last] = buzz[first:last] + 0.3 * rng.standard_normal(last - first)
    return np.asarray(capture + (10 ** (level_dbfs / 20) * line)[:, None])


def late_attenuator(capture: Array, below_db: float, rate_hz: float) -> Array:
    """A safe-gain preamp drops by 6 dB for 0.5 s, in one sample, whenever a peak passes a level below the loudest."""
    over = np.flatnonzero(np.abs(capture).max(axis=1) > 10 ** (-below_db / 20) * peak_of(capture))
    gain, held = np.ones(capture.shape[0]), -1
    for at in over:
        if at >= held:
            held = at + round(0.5 * rate_hz)
            gain[at + round(0.002 * rate_hz) : held] = 0.5
    return np.asarray(capture * gain[:, None])
