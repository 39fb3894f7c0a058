"""More faults of the bench alone: interfaces that help, players that loop, links without a cable, converters in pairs.

Nothing here shares code with a detector; sizes are mild, typical and severe.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage, signal

from charprobe.simulation.rig.resample import read_between
from charprobe.values.arrays import Array
from tests.benchmarks.fault_sound import own_chance


def equaliser(capture: Array, gain_db: float, rate_hz: float) -> Array:
    """A treble shelf of 4 kHz was left in."""
    amplitude, omega = 10 ** (gain_db / 40), 2 * np.pi * 4000 / rate_hz
    cosine, alpha = np.cos(omega), np.sin(omega) / np.sqrt(2)
    root, more, less = 2 * np.sqrt(amplitude) * alpha, amplitude + 1, amplitude - 1
    b = [more + less * cosine + root, -2 * (less + more * cosine), more + less * cosine - root]
    a = [more - less * cosine + root, 2 * (less - more * cosine), more - less * cosine - root]
    b = [amplitude * b[0], amplitude * b[1], amplitude * b[2]]
    return np.asarray(signal.lfilter(b, a, capture, axis=0))


def clip_safe(capture: Array, step_db: float, rate_hz: float) -> Array:
    """An interface turns its gain down for good, within 20 ms, once a peak has come close to the loudest."""
    peaks = np.abs(capture).max(axis=1)
    first = int(np.argmax(peaks > 0.9 * peaks.max()))
    ramp = np.clip((np.arange(capture.shape[0]) - first) / (0.02 * rate_hz), 0, 1)
    return np.asarray(capture * 10 ** (step_db * ramp[:, None] / 20))


def loop_fade(capture: Array, fade_s: float, rate_hz: float) -> Array:
    """A player that loops stops at 0.44 of the length and fades in again; nothing moves."""
    out, at, size = capture.copy(), int(0.44 * capture.shape[0]), round(fade_s * rate_hz)
    out[at : at + size] *= np.linspace(0, 1, size)[:, None]
    return out


def compensation_moves(capture: Array, samples: float, rate_hz: float) -> Array:
    """From the middle on sound comes later, faded over within 5 ms: a plug-in's delay was compensated anew."""
    length, fade = capture.shape[0], round(0.005 * rate_hz)
    middle = int(0.53 * length)
    up = np.clip((np.arange(length) - middle) / fade, 0, 1)[:, None]
    late = np.stack(
        [
            read_between(np.pad(line, 4096), start=4096 - samples, step=1.0, count=length)
            for line in capture.T
        ],
        axis=1,
    )
    return np.asarray((1 - up) * capture + up * late)


def played_louder(capture: Array, gain_db: float, _: float) -> Array:
    """The second half was played at another level."""
    out = capture.copy()
    out[int(0.5 * capture.shape[0]) :] *= 10 ** (gain_db / 20)
    return out


def offset_steps(capture: Array, amount: float, _: float) -> Array:
    """The converter's offset jumps at 0.47 of the length and stays."""
    out = capture.copy()
    out[int(0.47 * capture.shape[0]) :] += amount
    return out


def widener(capture: Array, level_db: float, rate_hz: float) -> Array:
    """A widener adds the other side, turned in phase by all-pass filters and 12 ms late."""
    other, late = capture, round(0.012 * rate_hz)
    for corner_hz in (180.0, 700.0, 2600.0):
        turn = (np.tan(np.pi * corner_hz / rate_hz) - 1) / (np.tan(np.pi * corner_hz / rate_hz) + 1)
        other = signal.lfilter([turn, 1], [1, turn], other, axis=0)
    out = capture.copy()
    out[late:] += 10 ** (level_db / 20) * other[:-late]
    return out


def noise_shaped(capture: Array, bits: float, _: float) -> Array:
    """Exported with so many bits, the rounding pushed into the treble by error feedback of second order."""
    rng, step = own_chance(capture, 96), 2.0 ** (1 - bits)
    out = np.empty_like(capture)
    for column, line in enumerate(capture.T):
        dither = (rng.random(line.size) - rng.random(line.size)) * step
        before = older = 0.0
        kept = np.empty(line.size)
        for n, (value, shake) in enumerate(zip(line.tolist(), dither.tolist(), strict=True)):
            wanted = value - 1.6 * before + 0.7 * older
            kept[n] = round((wanted + shake) / step) * step
            older, before = before, kept[n] - wanted
        out[:, column] = kept
    return out


def word_slips(capture: Array, count: float, _: float) -> Array:
    """A word clock that is not locked: one sample lost, again and again."""
    lost = [int((0.15 + 0.7 * (n + 0.61) / count) * capture.shape[0]) for n in range(int(count))]
    return np.delete(capture, lost, axis=0)


def rate_matcher(capture: Array, ppm: float, rate_hz: float) -> Array:
    """A software rate matcher follows the fill of a buffer: the clock runs off and is pulled back, every 3 s."""
    length = capture.shape[0]
    time_s = np.arange(length) / rate_hz
    rate = 1e-6 * ppm * (2 * ((time_s / 3.0) % 1) - 1)
    place = np.clip(np.arange(length) + np.cumsum(rate), 0, length - 1)
    spline = [ndimage.spline_filter1d(line, order=5) for line in capture.T]
    return np.stack(
        [ndimage.map_coordinates(line, place[None], order=5, prefilter=False) for line in spline], axis=1
    )


def two_converters(capture: Array, apart_db: float, rate_hz: float) -> Array:
    """Two converters share the range: below -24 dB re peak the other one, of another gain, is heard."""
    heard = ndimage.maximum_filter1d(np.abs(capture).max(axis=1), round(0.01 * rate_hz))
    loud = (heard > heard.max() * 10 ** (-24 / 20)).astype(float)
    loud = ndimage.uniform_filter1d(loud, round(0.002 * rate_hz))
    return np.asarray(capture * 10 ** (apart_db * (1 - loud)[:, None] / 20))


def frame_whine(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A bus that sends a frame each millisecond is heard: 1 kHz and its multiples, and a beat of 8 a second."""
    time_s = np.arange(capture.shape[0]) / rate_hz
    line = sum(np.sin(2 * np.pi * 1000.3 * order * time_s + order**2) for order in range(1, 15)) / 4
    return np.asarray(
        capture + (10 ** (level_dbfs / 20) * line * (1 + 0.3 * np.sin(2 * np.pi * 8 * time_s)))[:, None]
    )


def ducked(capture: Array, dip_db: float, rate_hz: float) -> Array:
    """A notification turns everything else down for 1 s, over 50 ms each way."""
    time_s = np.arange(capture.shape[0]) / rate_hz - 0.46 * capture.shape[0] / rate_hz
    inside = np.clip((0.55 - np.abs(time_s)) / 0.05, 0, 1)
    return np.asarray(capture * 10 ** (dip_db * inside[:, None] / 20))


def brickwall(capture: Array, over_db: float, rate_hz: float) -> Array:
    """A limiter on the bus with a ceiling of -0.1 dBFS, driven so far over it; it looks 2 ms ahead."""
    top = 10 ** (-0.1 / 20)
    driven = capture * top * 10 ** (over_db / 20) / np.abs(capture).max()
    ahead = round(0.002 * rate_hz)
    peaks = ndimage.maximum_filter1d(np.abs(driven).max(axis=1), 2 * ahead + 1)
    wanted = np.minimum(1.0, top / np.maximum(peaks, 1e-12))
    keep, held, gain = float(np.exp(-1 / (0.06 * rate_hz))), 1.0, np.empty_like(wanted)
    for n, want in enumerate(wanted.tolist()):
        held = min(want, 1 - keep * (1 - held))
        gain[n] = held
    return np.asarray(driven * np.minimum(wanted, ndimage.uniform_filter1d(gain, ahead))[:, None])
