"""Faults of the bench alone: what a desk, a clock or a driver does unasked.

Nothing here shares code with a detector; sizes are mild, typical and severe.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import signal

from charprobe.simulation.rig.resample import read_between
from charprobe.values.arrays import Array
from tests.benchmarks.fault_sound import own_chance


def _at(capture: Array, share: float) -> int:
    return int(share * capture.shape[0])


def _each(capture: Array, change: Callable[[Array], Array]) -> Array:
    return np.stack([change(column) for column in capture.T], axis=1)


def clock_changes(capture: Array, ppm: float, _: float) -> Array:
    """From the middle on another clock drives the converter."""
    middle = _at(capture, 0.53)
    count = int((capture.shape[0] - middle) * (1 - 1e-6 * ppm)) - 1
    later = _each(
        capture, lambda column: read_between(column, start=float(middle), step=1 + 1e-6 * ppm, count=count)
    )
    return np.concatenate([capture[:middle], later])


def limiter(capture: Array, threshold_dbfs: float, rate_hz: float) -> Array:
    """A peak limiter at a level below the loudest sample: at once down, 80 ms back up."""
    level = np.abs(capture).max(axis=1)
    top = 10 ** (threshold_dbfs / 20) * level.max()
    wanted = np.minimum(1.0, top / np.maximum(level, 1e-12))
    keep, held, gain = float(np.exp(-1 / (0.08 * rate_hz))), 1.0, np.empty_like(wanted)
    for n, want in enumerate(wanted.tolist()):
        held = min(want, 1 - keep * (1 - held))
        gain[n] = held
    return capture * gain[:, None]


def slow_gain(capture: Array, most_db: float, rate_hz: float) -> Array:
    """A leveller that takes 4 s down and 12 s up."""
    block = round(0.05 * rate_hz)
    gain_db, gains = 0.0, []
    for start in range(0, capture.shape[0], block):
        power = float(np.mean(capture[start : start + block] ** 2))
        level_db = 10 * np.log10(2 * power + 1e-12)
        want = 0.0 if level_db < -60 else float(np.clip(0.3 * (-24 - level_db), -most_db, most_db))
        gain_db += (want - gain_db) * 0.05 / (4 if want < gain_db else 12)
        gains.append(gain_db)
    at = block * np.arange(1, len(gains) + 1)
    return np.asarray(capture * 10 ** (np.interp(np.arange(capture.shape[0]), at, gains)[:, None] / 20))


def channels_swap(capture: Array, other_db: float, _: float) -> Array:
    """From the middle on the neighbouring channel sounds: another gain, two samples later."""
    middle = _at(capture, 0.47)
    later = 10 ** (other_db / 20) * np.roll(capture, 2, axis=0)
    return np.concatenate([capture[:middle], later[middle:]])


def polarity_flips(capture: Array, share: float, _: float) -> Array:
    """Polarity turns round at a part of the take."""
    out = capture.copy()
    out[_at(capture, share) :] *= -1
    return out


def notch(capture: Array, depth_db: float, rate_hz: float) -> Array:
    """A desk's equaliser cuts at 1 kHz."""
    amplitude, omega = 10 ** (-depth_db / 40), 2 * np.pi * 1000 / rate_hz
    alpha = np.sin(omega) / 8
    b = [1 + alpha * amplitude, -2 * np.cos(omega), 1 - alpha * amplitude]
    a = [1 + alpha / amplitude, -2 * np.cos(omega), 1 - alpha / amplitude]
    return np.asarray(signal.lfilter(b, a, capture, axis=0))


def reflection(capture: Array, level_db: float, rate_hz: float) -> Array:
    """A desk reflects 1.3 ms later what is left below 5 kHz and above 300 Hz."""
    sos = signal.butter(1, (300, 5000), "bandpass", fs=rate_hz, output="sos")
    late = round(1.3e-3 * rate_hz)
    echo = 10 ** (level_db / 20) * signal.sosfilt(sos, capture, axis=0)
    out = capture.copy()
    out[late:] += echo[:-late]
    return out


def stale_buffer(capture: Array, count: float, _: float) -> Array:
    """At three places a block is the one before it again; nothing moves."""
    out, size = capture.copy(), int(count)
    for share in (0.31, 0.52, 0.74):
        at = _at(capture, share)
        out[at : at + size] = capture[at - size : at]
    return out


def slips(capture: Array, count: float, _: float) -> Array:
    """A sample lost, and one doubled a while later, so many times."""
    keep = np.arange(capture.shape[0])
    for number in range(int(count)):
        at = _at(capture, 0.2 + 0.6 * (number + 0.5) / count)
        keep[at : at + capture.shape[0] // 40] += 1
    return np.asarray(capture[np.minimum(keep, capture.shape[0] - 1)])


def offset_creeps(capture: Array, amount: float, _: float) -> Array:
    return np.asarray(capture + np.linspace(0, amount, capture.shape[0])[:, None])


def ripple(capture: Array, percent: float, rate_hz: float) -> Array:
    """A supply's 100 Hz ripple modulates the gain."""
    time_s = np.arange(capture.shape[0]) / rate_hz
    return np.asarray(capture * (1 + percent / 100 * np.sin(2 * np.pi * 100 * time_s))[:, None])


def punched_in(capture: Array, other_db: float, _: float) -> Array:
    """A piece of another take, 3.4 samples later and of another gain, pasted in without a click's silence."""
    first, last = _at(capture, 0.4), _at(capture, 0.6)
    other = _each(
        capture, lambda column: read_between(column, start=first - 3.4, step=1.0, count=last - first)
    )
    out = capture.copy()
    out[first:last] = 10 ** (other_db / 20) * other
    return out


def telephone(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A mobile telephone near a cable: bursts of 0.6 ms, 217 a second, for 2 s."""
    time_s = np.arange(capture.shape[0]) / rate_hz
    on = ((time_s * 217) % 1 < 0.125) & (np.abs(time_s - 0.55 * time_s[-1]) < 1.0)
    return np.asarray(capture + 10 ** (level_dbfs / 20) * on[:, None])


def rumble(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A ventilator or a tram below 20 Hz: narrow noise around 9 Hz."""
    rng = own_chance(capture, 91)
    sos = signal.butter(2, (7, 12), "bandpass", fs=rate_hz, output="sos")
    line = signal.sosfilt(sos, rng.standard_normal(capture.shape[0]))
    return np.asarray(capture + (10 ** (level_dbfs / 20) * line / np.sqrt(2 * np.mean(line**2)))[:, None])


def jitter(capture: Array, nanoseconds: float, rate_hz: float) -> Array:
    """A clock whose edges scatter at random."""
    rng = own_chance(capture, 92)
    move = 1e-9 * nanoseconds * rate_hz * rng.standard_normal(capture.shape[0])
    return np.asarray(capture + move[:, None] * np.gradient(capture, axis=0))


def soft_converter(capture: Array, third_db: float, _: float) -> Array:
    """A converter that bends: third harmonic so far below a tone of full scale."""
    bend = 4 * 10 ** (third_db / 20)
    top = np.abs(capture).max()
    return np.asarray(capture - bend * capture**3 / max(top, 1e-12) ** 2)


def loose_plug(capture: Array, dip_db: float, rate_hz: float) -> Array:
    """The level dips for 60 ms, five times."""
    gain_db = np.zeros(capture.shape[0])
    for share in (0.22, 0.37, 0.51, 0.66, 0.78):
        at = _at(capture, share)
        gain_db[at : at + round(0.06 * rate_hz)] = dip_db
    smooth = signal.fftconvolve(np.pad(gain_db, 48, mode="edge"), np.full(97, 1 / 97), "valid")
    return np.asarray(capture * 10 ** (smooth[:, None] / 20))


def compander(capture: Array, mistracking: float, rate_hz: float) -> Array:
    """A wireless link squeezes 2:1 and stretches 1:2 with another time: gain errors at every edge."""
    power = capture[:, 0] ** 2
    levels = [
        10 * np.log10(signal.lfilter([1 - k], [1, -k], power) + 1e-9)
        for k in (np.exp(-1 / (time_s * rate_hz)) for time_s in (0.02, 0.02 * (1 + mistracking / 100)))
    ]
    return np.asarray(capture * 10 ** (0.5 * (levels[1] - levels[0])[:, None] / 20))
