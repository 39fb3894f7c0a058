"""More faults of the bench alone: cables, plug-in hosts, cheap converters, telephones and rooms.

Nothing here shares code with a detector; sizes are mild, typical and severe.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage, signal

from charprobe.simulation.rig.resample import read_between
from charprobe.values.arrays import Array
from tests.benchmarks.fault_sound import clock_s, own_chance, peak_of


def _moved(capture: Array, late: Array) -> Array:
    """Every sample read so many samples late."""
    place = np.clip(np.arange(capture.shape[0]) - late, 0, capture.shape[0] - 1)
    spline = [ndimage.spline_filter1d(line, order=5) for line in capture.T]
    return np.stack(
        [ndimage.map_coordinates(line, place[None], order=5, prefilter=False) for line in spline], axis=1
    )


def crackle(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A bad solder joint: twelve crackles a second of 0.2 ms, at random, of random height."""
    rng = own_chance(capture, 97)
    hits = (rng.random(capture.shape[0]) < 12 / rate_hz) * rng.standard_normal(capture.shape[0])
    fall = float(np.exp(-1 / (0.0002 * rate_hz)))
    line = 10 ** (level_dbfs / 20) * signal.lfilter([1], [1, -fall], hits)
    return np.asarray(capture + line[:, None])


def long_cable(capture: Array, corner_hz: float, rate_hz: float) -> Array:
    """A high source impedance and a long cable: one pole."""
    keep = float(np.exp(-2 * np.pi * corner_hz / rate_hz))
    return np.asarray(signal.lfilter([1 - keep], [1, -keep], capture, axis=0))


def blocks_swap(capture: Array, count: float, _: float) -> Array:
    """A driver hands over two neighbouring blocks in the wrong order, at three places."""
    out, size = capture.copy(), int(count)
    for share in (0.29, 0.5, 0.71):
        at = int(share * capture.shape[0])
        out[at : at + size], out[at + size : at + 2 * size] = (
            capture[at + size : at + 2 * size],
            capture[at : at + size],
        )
    return out


def monitor_loop(capture: Array, gain_db: float, _: float) -> Array:
    """The host's monitoring feeds what is recorded back into it, 512 samples later."""
    loop = np.zeros(513)
    loop[0], loop[512] = 1.0, -(10 ** (gain_db / 20))
    return np.asarray(signal.lfilter([1.0], loop, capture, axis=0))


def dead_zone(capture: Array, share: float, _: float) -> Array:
    """An output stage without bias current: what is smaller than a share of the peak is lost at each crossing."""
    dead = share * peak_of(capture)
    return np.asarray(np.sign(capture) * np.maximum(np.abs(capture) - dead, 0.0))


def slow_amplifier(capture: Array, share: float, _: float) -> Array:
    """An amplifier that cannot follow: no step is larger than a share of the largest one."""
    most, out, now = share * float(np.abs(np.diff(capture, axis=0)).max()), np.empty_like(capture), 0.0
    for column, line in enumerate(capture.T):
        now = float(line[0])
        for n, value in enumerate(line.tolist()):
            now += min(most, max(-most, value - now))
            out[n, column] = now
    return out


def missing_codes(capture: Array, width: float, _: float) -> Array:
    """A converter never gives the codes between a quarter of the peak and a little more."""
    first = 0.25 * peak_of(capture)
    inside = (np.abs(capture) > first) & (np.abs(capture) < first + width * peak_of(capture))
    return np.where(inside, np.sign(capture) * first, capture)


def thump(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A door slams: 38 Hz that dies away within 0.3 s, at 0.57 of the length."""
    time_s = clock_s(capture, rate_hz) - 0.57 * capture.shape[0] / rate_hz
    line = np.where(time_s > 0, np.exp(-np.maximum(time_s, 0) / 0.1) * np.sin(2 * np.pi * 38 * time_s), 0.0)
    return np.asarray(capture + (10 ** (level_dbfs / 20) * line)[:, None])


def buzzing_phone(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A telephone shakes the desk: 173 Hz and its harmonics for 0.5 s, three times."""
    time_s = clock_s(capture, rate_hz)
    line = sum(np.sin(2 * np.pi * 173.4 * order * time_s) / order for order in range(1, 9))
    middle = 0.49 * time_s[-1]
    on = sum(np.abs(time_s - middle - later) < 0.25 for later in (-1.0, 0.0, 1.0))
    return np.asarray(capture + (10 ** (level_dbfs / 20) * line * on)[:, None])


def charging(capture: Array, amount: float, rate_hz: float) -> Array:
    """A supply was switched on just before: an offset that dies away within 2.5 s."""
    return np.asarray(capture + (amount * np.exp(-clock_s(capture, rate_hz) / 2.5))[:, None])


def fan_starts(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """From 0.45 of the length on a fan blows: noise that falls by 6 dB an octave above 300 Hz."""
    noise = own_chance(capture, 98).standard_normal(capture.shape[0])
    line = signal.sosfilt(signal.butter(1, 300, fs=rate_hz, output="sos"), noise)
    up = np.clip((clock_s(capture, rate_hz) - 0.45 * capture.shape[0] / rate_hz) / 0.8, 0, 1)
    return np.asarray(
        capture + (10 ** (level_dbfs / 20) * up * line / np.sqrt(2 * np.mean(line**2)))[:, None]
    )


def flutter(capture: Array, ppm: float, rate_hz: float) -> Array:
    """A clock that swings 12 times a second."""
    turn = 2 * np.pi * 12 / rate_hz
    return _moved(capture, 1e-6 * ppm / turn * (1 - np.cos(turn * np.arange(capture.shape[0]))))


def frame_jitter(capture: Array, nanoseconds: float, rate_hz: float) -> Array:
    """A clock pulled by the frames of a bus, a thousand times a second."""
    return _moved(
        capture, 1e-9 * nanoseconds * rate_hz * np.sin(2 * np.pi * 1000 * clock_s(capture, rate_hz))
    )


def automation(capture: Array, gain_db: float, rate_hz: float) -> Array:
    """The host's volume moves over 2 s, stays for 3 s and comes back as slowly."""
    time_s = clock_s(capture, rate_hz) - 0.5 * capture.shape[0] / rate_hz
    inside = np.clip((3.5 - np.abs(time_s)) / 2.0, 0, 1)
    return np.asarray(capture * 10 ** (gain_db * inside[:, None] / 20))


def flicker(capture: Array, percent: float, rate_hz: float) -> Array:
    """A gain that flickers 8.8 times a second, as lights on a weak mains do."""
    return np.asarray(
        capture * (1 + percent / 100 * np.sin(2 * np.pi * 8.8 * clock_s(capture, rate_hz)))[:, None]
    )


def word_cut(capture: Array, bits: float, _: float) -> Array:
    """Lower bits are cut off, neither rounded nor dithered."""
    step = 2.0 ** (1 - bits)
    return np.asarray(np.floor(capture / step) * step)


def detector_tone(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A motion detector sings at 19.3 kHz, its pitch creeping by 40 Hz."""
    time_s = clock_s(capture, rate_hz)
    turns = 19_300 * time_s + 20 * time_s**2 / time_s[-1]
    return np.asarray(capture + (10 ** (level_dbfs / 20) * np.sin(2 * np.pi * turns))[:, None])


def wrapped(capture: Array, over_db: float, _: float) -> Array:
    """What passes the largest number begins again at the smallest."""
    top = peak_of(capture) * 10 ** (-over_db / 20)
    return np.asarray((capture + top) % (2 * top) - top)


def tail_of_buffer(capture: Array, samples: float, _: float) -> Array:
    """Every two seconds or so a buffer's last samples come late: read between those before, and caught up."""
    out, size = capture.copy(), int(samples)
    for at in np.arange(0.07, 0.95, 0.06) * capture.shape[0]:
        for column, line in enumerate(capture.T):
            out[int(at) : int(at) + size, column] = read_between(
                line, start=float(int(at)) - 0.5, step=1.0, count=size
            )
    return out
