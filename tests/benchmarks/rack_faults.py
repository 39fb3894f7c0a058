"""More faults of the bench alone: oxide, iron and supplies in the path, drivers that help, neighbours that speak.

Nothing here shares code with a detector; sizes are mild, typical and severe.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage, signal

from charprobe.values.arrays import Array
from tests.benchmarks.fault_sound import clock_s, own_chance, peak_of, read_late


def _slow_level(capture: Array, time_s: float, rate_hz: float) -> Array:
    """Mean level of the last so many seconds over the peak, shape (n, 1)."""
    keep = float(np.exp(-1 / (time_s * rate_hz)))
    return np.asarray(signal.lfilter([1 - keep], [1, -keep], np.abs(capture), axis=0)) / peak_of(capture)


def pre_emphasised(capture: Array, share: float, rate_hz: float) -> Array:
    """A player raises treble for old recorders, 50 and 15 us, by a share of the full curve."""
    low, high = (2 * rate_hz * np.tan(np.pi * f / rate_hz) for f in (3183.0, 10_610.0))
    b, a = signal.bilinear([1 / low, 1], [1 / high, 1], fs=rate_hz)
    return np.asarray((1 - share) * capture + share * signal.lfilter(b, a, capture, axis=0))


def unsigned_word(capture: Array, bits: float, _: float) -> Array:
    """Words of so many bits counted from the lowest code were read as counted from zero."""
    steps = 2.0 ** (bits - 1)
    words = np.round(np.clip(capture, -1, 1 - 1 / steps) * steps) / steps
    return np.asarray(np.where(words < 0, words + 1, words - 1))


def bytes_exchanged(capture: Array, last_s: float, rate_hz: float) -> Array:
    """For so long the two lower bytes of a word of 24 bits change places."""
    first = int(0.52 * capture.shape[0])
    last = first + round(last_s * rate_hz)
    words = np.round(np.clip(capture[first:last], -1, 1 - 2**-23) * 2**23).astype(np.int64)
    mixed = (words >> 16 << 16) | ((words & 0xFF) << 8) | ((words >> 8) & 0xFF)
    out = capture.copy()
    out[first:last] = mixed / 2**23
    return out


def oxidised(capture: Array, share: float, _: float) -> Array:
    """A plug's oxide passes half of what is smaller than a share of the peak, and all of what is beyond."""
    small = share * peak_of(capture)
    return np.asarray(capture - 0.5 * small * np.tanh(capture / small))


def breathing_ground(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A ground loop through the supply: hum as strong as the sound of the last 0.1 s."""
    time_s = clock_s(capture, rate_hz)
    hum = sum(np.sin(2 * np.pi * 50 * order * time_s) / order for order in (1, 2, 3, 5, 7))
    return np.asarray(capture + 10 ** (level_dbfs / 20) * hum[:, None] * _slow_level(capture, 0.1, rate_hz))


def moving_idle_tone(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A converter's idle tone, which moves from 5.1 kHz up by as much as the sound's mean level."""
    hz = 5100 + 20_000 * _slow_level(capture, 0.05, rate_hz)
    return np.asarray(capture + 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * np.cumsum(hz, axis=0) / rate_hz))


def breathing_gain(capture: Array, most_db: float, rate_hz: float) -> Array:
    """Gain that swings evenly, once in 17 s."""
    gain_db = most_db * np.sin(2 * np.pi * clock_s(capture, rate_hz)[:, None] / 17)
    return np.asarray(capture * 10 ** (gain_db / 20))


def talkback(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """Somebody speaks into a neighbouring channel for 2.5 s: a voice's buzz through three moving formants."""
    rng, line = own_chance(capture, 105), np.zeros(capture.shape[0])
    first = int(0.54 * capture.shape[0])
    at = first
    for _ in range(12):
        length = round(rng.uniform(0.08, 0.2) * rate_hz)
        pitch = np.cumsum(np.full(length, rng.uniform(95, 140))) / rate_hz
        buzz = 2 * (pitch % 1) - 1
        for formant_hz in rng.uniform((300, 900, 2200), (800, 2000, 3200)):
            sos = signal.iirpeak(formant_hz, 6, fs=rate_hz)
            line[at : at + length] += signal.lfilter(*sos, buzz) * np.hanning(length)
        at += round(length * rng.uniform(1.0, 1.4))
    return np.asarray(capture + (10 ** (level_dbfs / 20) * line / np.abs(line).max())[:, None])


def end_faded(capture: Array, most_db: float, _: float) -> Array:
    """In the editor the last 30 % fade by so much."""
    share = np.linspace(0, 1, capture.shape[0])[:, None]
    return np.asarray(capture * 10 ** (-most_db * np.maximum(0, (share - 0.7) / 0.3) / 20))


def knocks(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A valve is knocked against, nine times: it rings at 910 and 2310 Hz."""
    line = np.zeros(capture.shape[0])
    for share in own_chance(capture, 106).uniform(0.15, 0.9, 9):
        time_s = clock_s(capture, rate_hz, from_share=float(share))
        fall = np.where(time_s > 0, np.exp(-np.maximum(time_s, 0) / 0.02), 0.0)
        line += fall * (np.sin(2 * np.pi * 910 * time_s) + 0.4 * np.sin(2 * np.pi * 2310 * time_s))
    return np.asarray(capture + (10 ** (level_dbfs / 20) * line)[:, None])


def driver_gate(capture: Array, depth_db: float, rate_hz: float) -> Array:
    """A driver's gate without edges: below -70 dBFS the gain falls by so much, within 0.3 s, and comes back in 10 ms."""
    level = np.abs(capture).max(axis=1)
    held = ndimage.maximum_filter1d(level, round(0.02 * rate_hz))
    target = np.where(held > 10 ** (-70 / 20), 0.0, -depth_db)[:: (step := round(0.001 * rate_hz))]
    now, gains = 0.0, []
    for each in target.tolist():
        now += (each - now) / (10 if each > now else 300)
        gains.append(now)
    gain_db = np.interp(np.arange(capture.shape[0]), step * np.arange(len(gains)), gains)
    return np.asarray(capture * 10 ** (gain_db[:, None] / 20))


def slow_wow(capture: Array, ppm: float, rate_hz: float) -> Array:
    """A clock that swings once in 10 s."""
    time_s = clock_s(capture, rate_hz)
    return read_late(capture, 1e-6 * ppm * rate_hz * np.sin(2 * np.pi * 0.1 * time_s) / (2 * np.pi * 0.1))


def midscale_step(capture: Array, share: float, _: float) -> Array:
    """A converter whose codes step at the middle of its range."""
    return np.asarray(capture + share * peak_of(capture) * (capture > 0))


def iron_in_path(capture: Array, third_db: float, rate_hz: float) -> Array:
    """A transformer in the path bends bass: third harmonic so far below a full tone of 50 Hz, less with frequency."""
    keep = float(np.exp(-2 * np.pi * 50 / rate_hz))
    flux = np.sqrt(2) * signal.lfilter([1 - keep], [1, -keep], capture, axis=0)
    return np.asarray(capture - 4 * 10 ** (third_db / 20) * flux**3)


def sagging_path(capture: Array, most_db: float, rate_hz: float) -> Array:
    """A weak supply in the path: gain falls by so much under a full tone, within 0.2 s."""
    level = _slow_level(capture, 0.2, rate_hz) * np.pi / 2
    return np.asarray(capture * 10 ** (-most_db * level / 20))


def print_through(capture: Array, level_db: float, rate_hz: float) -> Array:
    """Tape lay on tape: the sound below 4 kHz again, 1.2 s ahead, and 4 dB softer 1.2 s behind."""
    dull = signal.sosfilt(signal.butter(1, 4000.0, fs=rate_hz, output="sos"), capture, axis=0)
    late, line = round(1.2 * rate_hz), np.zeros_like(capture)
    line[:-late] += dull[late:]
    line[late:] += 10 ** (-4 / 20) * dull[:-late]
    return np.asarray(capture + 10 ** (level_db / 20) * line)


def rough_piece(capture: Array, last_s: float, rate_hz: float) -> Array:
    """For so long a rate is converted by straight lines, half way between the samples."""
    first = int(0.4 * capture.shape[0])
    last = first + round(last_s * rate_hz)
    out = capture.copy()
    place = np.arange(first, last) + 0.5 * np.sin(2 * np.pi * np.arange(last - first) / 147)
    out[first:last] = np.stack([np.interp(place, np.arange(line.size), line) for line in capture.T], axis=1)
    return out


def polarity_piece(capture: Array, last_s: float, rate_hz: float) -> Array:
    """For so long the polarity is turned."""
    first, out = int(0.63 * capture.shape[0]), capture.copy()
    out[first : first + round(last_s * rate_hz)] *= -1
    return out


def clock_walks(capture: Array, samples: float, rate_hz: float) -> Array:
    """A clock of cheap parts: its error walks at random, by so many samples in 1 s."""
    step = round(0.01 * rate_hz)
    walk = np.cumsum(own_chance(capture, 107).standard_normal(capture.shape[0] // step + 2)) * samples / 10
    at = step * np.arange(walk.size)
    return read_late(
        capture, np.interp(np.arange(capture.shape[0]), at, walk - np.linspace(0, walk[-1], walk.size))
    )


def hidden_losses(capture: Array, times: float, _: float) -> Array:
    """Samples are lost and replaced by the mean of their neighbours, so many of them."""
    lost = own_chance(capture, 108).choice(np.arange(2, capture.shape[0] - 2), int(times), replace=False)
    out = capture.copy()
    out[lost] = (capture[lost - 1] + capture[lost + 1]) / 2
    return out


def self_bias(capture: Array, share: float, rate_hz: float) -> Array:
    """An input that rectifies: an offset of a share of the mean level of the last 50 ms."""
    return np.asarray(capture + share * _slow_level(capture, 0.05, rate_hz) * peak_of(capture))


def shelf_switched(capture: Array, gain_db: float, rate_hz: float) -> Array:
    """A treble shelf at 5 kHz is switched in at 0.55 of the length."""
    low = signal.sosfilt(signal.butter(1, 5000.0, fs=rate_hz, output="sos"), capture, axis=0)
    shelved = low + 10 ** (gain_db / 20) * (capture - low)
    at, out = int(0.55 * capture.shape[0]), capture.copy()
    out[at:] = shelved[at:]
    return out


def time_code(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """Time code on a neighbouring track leaks in: square waves of 1.2 and 2.4 kHz, bit by bit, rounded."""
    count = int(capture.shape[0] / rate_hz * 2400) + 2
    bits = own_chance(capture, 109).integers(0, 2, count)
    turns = np.ones(2 * count)
    turns[1::2] = bits
    wave = (-1.0) ** np.cumsum(turns)
    line = wave[(clock_s(capture, rate_hz) * 4800).astype(int)]
    line = signal.sosfilt(signal.butter(1, 6000.0, fs=rate_hz, output="sos"), line)
    return np.asarray(capture + (10 ** (level_dbfs / 20) * line)[:, None])
