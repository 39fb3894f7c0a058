"""More faults of the bench alone: buffers that slip by the clock, edited heads, processing in the path, hot and dying gear.

Nothing here shares code with a detector; sizes are mild, typical and severe.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage, signal

from charprobe.values.arrays import Array
from tests.benchmarks.fault_sound import clock_s, own_chance, peak_of, read_late

FRAME, HOP = 2048, 1024


def _level(capture: Array, time_s: float, rate_hz: float) -> Array:
    """Mean level of the last so many seconds over the peak, shape (n, 1)."""
    keep = float(np.exp(-1 / (time_s * rate_hz)))
    return np.asarray(signal.lfilter([1 - keep], [1, -keep], np.abs(capture), axis=0)) / peak_of(capture)


def _quiet(capture: Array, rate_hz: float, least_s: float) -> list[tuple[int, int]]:
    """Stretches of at least so long in which nothing passes a thousandth of the peak."""
    half = round(0.005 * rate_hz)
    low = ndimage.maximum_filter1d(np.abs(capture).max(axis=1), 2 * half + 1) < 1e-3 * peak_of(capture)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], low, [False]]).astype(int))).reshape(-1, 2)
    return [(int(a), int(b)) for a, b in edges if b - a > least_s * rate_hz]


def drift_slips(capture: Array, samples: float, _: float) -> Array:
    """Two clocks unlocked: whenever 40 ppm have come to so many samples, as many are repeated."""
    count, late = int(samples), np.arange(capture.shape[0]) * 40e-6
    return np.asarray(
        capture[np.maximum(np.arange(capture.shape[0]) - (late // count).astype(int) * count, 0)]
    )


def dithered_normal(capture: Array, target_dbfs: float, _: float) -> Array:
    """Brought to a peak, then dithered to 16 bits."""
    rng, step = own_chance(capture, 204), 2.0**-15
    scaled = 10 ** (target_dbfs / 20) / peak_of(capture) * capture / step
    dither = rng.random(capture.shape) - rng.random(capture.shape)
    return np.asarray(np.clip(np.round(scaled + dither), -(2**15), 2**15 - 1) * step)


def open_microphone(capture: Array, level_db: float, rate_hz: float) -> Array:
    """A microphone hears the loudspeaker: 8 ms away, from 200 Hz to 6 kHz, in a room of 0.25 s."""
    late, count = round(0.008 * rate_hz), round(0.3 * rate_hz)
    room = np.random.default_rng(201).standard_normal(count) * np.exp(
        -6.9 * np.arange(count) / (0.25 * rate_hz)
    )
    room[0] = np.sqrt(np.sum(room[1:] ** 2))
    sos = signal.butter(2, (200, 6000), "bandpass", fs=rate_hz, output="sos")
    heard = signal.sosfilt(
        sos, signal.fftconvolve(capture, room[:, None] / np.sqrt(2) / room[0], axes=0), axis=0
    )
    out = capture.copy()
    out[late:] += 10 ** (level_db / 20) * heard[: capture.shape[0] - late]
    return out


def straight_filled(capture: Array, samples: float, _: float) -> Array:
    """Six times so many samples are lost, and bridged by a straight line."""
    out, count = capture.copy(), int(samples)
    for share in own_chance(capture, 202).uniform(0.15, 0.9, 6):
        at = int(share * capture.shape[0])
        out[at : at + count] = np.linspace(capture[at - 1], capture[at + count], count + 2)[1:-1]
    return out


def scrape_flutter(capture: Array, ns: float, rate_hz: float) -> Array:
    """Tape rubs: the time moves by so many ns RMS, as a noise from 1 to 3 kHz."""
    sos = signal.butter(2, (1000, 3000), "bandpass", fs=rate_hz, output="sos")
    line = signal.sosfilt(sos, own_chance(capture, 204).standard_normal(capture.shape[0]))
    return read_late(capture, 1e-9 * ns * rate_hz * line / line.std())


def stepping_code(capture: Array, bits: float, rate_hz: float) -> Array:
    """A link sends differences in words of so many bits, whose step follows the sound."""
    most, out = int(2 ** (bits - 1)) - 1, np.empty_like(capture)
    for n, line in enumerate(capture.T):
        now, step, made = 0.0, 1e-4, []
        for each in line.tolist():
            word = max(-most, min(most, round((each - now) / step)))
            now += word * step
            step = min(0.1, max(2.0**-22, step * (1.15 if abs(word) > 0.6 * most else 0.985)))
            made.append(now)
        out[:, n] = made
    return out


def wandering_hum(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """Hum of a small generator: 60 Hz and its harmonics, wandering by half a hertz within seconds."""
    count, rng = capture.shape[0], own_chance(capture, 204)
    step = round(0.1 * rate_hz)
    walk = ndimage.gaussian_filter1d(rng.standard_normal(count // step + 2), 8)
    hz = 60 + 0.5 * np.interp(np.arange(count), step * np.arange(walk.size), walk / np.abs(walk).max())
    phase = 2 * np.pi * np.cumsum(hz) / rate_hz
    hum = sum(np.sin(order * phase) / order for order in (1, 2, 3, 5, 7, 9))
    return np.asarray(capture + (10 ** (level_dbfs / 20) * hum)[:, None])


def clock_warms(capture: Array, ppm: float, rate_hz: float) -> Array:
    """A clock is off by so much when switched on and comes to itself with a time of 8 s."""
    return read_late(capture, 1e-6 * ppm * rate_hz * 8 * (1 - np.exp(-clock_s(capture, rate_hz) / 8)))


def heads_faded(capture: Array, fade_s: float, rate_hz: float) -> Array:
    """An editor took pauses of 0.1 s and more out and put them back: what follows each fades in."""
    out, count = capture.copy(), max(2, round(fade_s * rate_hz))
    for _, last in _quiet(capture, rate_hz, 0.1):
        head = last + round(0.004 * rate_hz)
        rise = np.linspace(0, 1, count)[: max(0, capture.shape[0] - head), None]
        out[head : head + count] *= rise
        out[last:head] = 0
    return out


def mains_jitter(capture: Array, ns: float, rate_hz: float) -> Array:
    """A converter's clock is pulled by its supply at 100 Hz."""
    return read_late(capture, 1e-9 * ns * rate_hz * np.sin(2 * np.pi * 100 * clock_s(capture, rate_hz)))


def motorboat(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A preamp motorboats behind loud sound: spikes, four a second."""
    time_s = clock_s(capture, rate_hz)
    spikes = np.maximum(np.sin(2 * np.pi * 4 * time_s), 0) ** 8
    sos = signal.butter(1, 20, "high", fs=rate_hz, output="sos")
    line = signal.sosfilt(sos, spikes)[:, None] * np.minimum(1, 4 * _level(capture, 0.5, rate_hz))
    return np.asarray(capture + 10 ** (level_dbfs / 20) * line)


def interleaved(capture: Array, share: float, _: float) -> Array:
    """Two converters take turns, sample by sample, and differ in gain by so much."""
    return np.asarray(capture * (1 + share * (-1.0) ** np.arange(capture.shape[0]))[:, None])


def comfort_noise(capture: Array, off_db: float, rate_hz: float) -> Array:
    """Pauses of 0.1 s and more are replaced by noise made up, of another level than the path's own."""
    out, rng = capture.copy(), own_chance(capture, 204)
    for first, last in _quiet(capture, rate_hz, 0.1):
        inner = slice(first + round(0.02 * rate_hz), last - round(0.01 * rate_hz))
        own = float(np.std(capture[inner]))
        out[inner] = 10 ** (off_db / 20) * own * rng.standard_normal(out[inner].shape)
    return out


def battery_dies(capture: Array, most_db: float, _: float) -> Array:
    """A battery runs down over the last half: what is above a falling limit is flat."""
    share = np.clip(2 * np.linspace(0, 1, capture.shape[0]) - 1, 0, 1)[:, None]
    limit = 1.1 * peak_of(capture) * 10 ** (-(most_db + 0.83) * share / 20)
    return np.asarray(np.clip(capture, -limit, limit))


def hot_preamp(capture: Array, most_db: float, rate_hz: float) -> Array:
    """Parts heat up under sound within 5 s: gain falls by so much under a lasting full tone."""
    return np.asarray(capture * 10 ** (-most_db * np.pi / 2 * _level(capture, 5.0, rate_hz) / 20))


def esses_lowered(capture: Array, most_db: float, rate_hz: float) -> Array:
    """A path lowers treble from 4 kHz while treble is loud, by so much at most."""
    high = signal.sosfilt(signal.butter(1, 4000, "high", fs=rate_hz, output="sos"), capture, axis=0)
    loud = np.clip(4 * _level(high, 0.02, rate_hz) * peak_of(high) / peak_of(capture), 0, 1)
    return np.asarray(capture + (10 ** (-most_db * loud / 20) - 1) * high)


def treble_compander(capture: Array, percent: float, rate_hz: float) -> Array:
    """A noise reduction whose sides do not match: quiet treble above 2 kHz is expanded by so many per cent."""
    high = signal.sosfilt(signal.butter(1, 2000, "high", fs=rate_hz, output="sos"), capture, axis=0)
    level_db = 20 * np.log10(np.maximum(_level(high, 0.03, rate_hz), 1e-3))
    return np.asarray(capture + (10 ** (percent / 100 * level_db / 20) - 1) * high)


def enhancer(capture: Array, level_db: float, rate_hz: float) -> Array:
    """An enhancer adds what a rectifier makes of the sound above 700 Hz, as much at every level."""
    sos = signal.butter(2, 700, "high", fs=rate_hz, output="sos")
    made = signal.sosfilt(sos, np.abs(signal.sosfilt(sos, capture, axis=0)), axis=0)
    return np.asarray(capture + 10 ** (level_db / 20) * made)


def hum_eliminator(capture: Array, depth_db: float, rate_hz: float) -> Array:
    """Notches of 3 Hz at 50 Hz and its first twenty harmonics."""
    out = capture
    for order in range(1, 21):
        b, a = signal.iirnotch(50 * order, 50 * order / 3, fs=rate_hz)
        cut = signal.lfilter(b, a, out, axis=0)
        out = out + (1 - 10 ** (-depth_db / 20)) * (cut - out)
    return np.asarray(out)


def level_delays(capture: Array, ns: float, rate_hz: float) -> Array:
    """What is loud comes later: by so many ns under a full tone, within 10 ms."""
    return read_late(capture, 1e-9 * ns * rate_hz * np.pi / 2 * _level(capture, 0.01, rate_hz))


def parasitic(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """An output stage rings at 17.3 kHz on every wave's upper half from a fifth of the peak on."""
    ring = np.sin(2 * np.pi * 17_300 * clock_s(capture, rate_hz))[:, None]
    return np.asarray(capture + 10 ** (level_dbfs / 20) * ring * (capture > 0.2 * peak_of(capture)))


def steady_lowered(capture: Array, depth_db: float, rate_hz: float) -> Array:
    """A call program takes what lasts for noise: each band that has not moved for 0.4 s sinks by so much."""
    out = []
    for line in capture.T:
        found = signal.stft(line, nperseg=FRAME, noverlap=FRAME - HOP)[2]
        size = np.abs(found)
        frames = round(0.4 * rate_hz / HOP)
        least = ndimage.minimum_filter1d(size, frames, axis=1, origin=(frames - 1) // 2)
        lasts = np.clip(least / np.maximum(size, 1e-12), 0, 1) ** 4
        out.append(
            signal.istft(found * 10 ** (-depth_db * lasts / 20), nperseg=FRAME, noverlap=FRAME - HOP)[1]
        )
    return np.stack(out, axis=1)[: capture.shape[0]]
