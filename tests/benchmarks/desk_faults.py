"""More faults of the bench alone: relays, players, dimmers, packets, and takes that were put together wrongly.

Nothing here shares code with a detector; sizes are mild, typical and severe. Those that are `PLAYED` happen to what
goes into the stage, the others to what comes out of it.
"""

from __future__ import annotations

import numpy as np
from scipy import signal

from charprobe.simulation.rig.resample import read_between
from charprobe.values.arrays import Array
from tests.benchmarks.fault_sound import own_chance


def _wakes(capture: Array, rate_hz: float, *, quiet_s: float, below: float = 1e-3) -> list[int]:
    """Samples at which sound begins after so much quiet."""
    loud = np.flatnonzero(np.abs(capture).max(axis=1) > below)
    begins = loud[1:][np.diff(loud) > quiet_s * rate_hz]
    return [int(at) for at in begins]


def playback_overload(capture: Array, over_db: float, _: float) -> Array:
    """The player's output stage is driven so far beyond its ceiling; what it feeds is fine."""
    top = np.abs(capture).max() * 10 ** (-over_db / 20)
    return np.asarray(top * np.tanh(np.arctanh(0.99) * np.clip(capture / top, -1, 1)) / 0.99)


def standby_relay(capture: Array, wake_s: float, rate_hz: float) -> Array:
    """A loudspeaker controller opens its relay after 0.5 s of quiet and needs so long to close it again."""
    out, before = capture.copy(), 0
    for at in _wakes(capture, rate_hz, quiet_s=0.5):
        silent = np.flatnonzero(np.abs(capture[before:at]).max(axis=1) > 1e-3)
        first = before + (int(silent[-1]) if silent.size else 0) + round(0.5 * rate_hz)
        out[min(first, at) : at + round(wake_s * rate_hz)] *= 1e-4
        before = at
    return out


def resync(capture: Array, count: float, _: float) -> Array:
    """A driver that lost its beat plays a block twice, and later leaves as many samples out."""
    size, length = int(count), capture.shape[0]
    first, second = int(0.41 * length), int(0.63 * length)
    return np.concatenate([capture[:first], capture[first - size : second], capture[second + size :]], axis=0)


def servo_step(capture: Array, amount: float, rate_hz: float) -> Array:
    """A servo lets the offset jump, and takes it back within half a second; three times."""
    out = capture.copy()
    for share in (0.28, 0.5, 0.71):
        at = int(share * capture.shape[0])
        time_s = np.arange(capture.shape[0] - at) / rate_hz
        out[at:] += amount * np.exp(-time_s / 0.25)[:, None]
    return out


def click_track(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A metronome on the neighbouring channel leaks in: 1.2 kHz for 12 ms, twice a second."""
    time_s = np.arange(capture.shape[0]) / rate_hz
    beat_s = time_s % 0.5
    blip = np.where(beat_s < 0.012, np.sin(2 * np.pi * 1200 * beat_s) * np.sin(np.pi * beat_s / 0.012), 0.0)
    return np.asarray(capture + 10 ** (level_dbfs / 20) * blip[:, None])


def dimmer(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A light dimmer: a spike of 60 us every half period of the mains, of alternate sign."""
    line = np.zeros(capture.shape[0])
    at = (np.arange(int(capture.shape[0] / rate_hz * 100.02)) + 0.31) * rate_hz / 100.02
    line[at.astype(int)] = 10 ** (level_dbfs / 20) * (-1.0) ** np.arange(at.size)
    return np.asarray(capture + signal.lfilter([1], [1, -np.exp(-1 / (6e-5 * rate_hz))], line)[:, None])


def rate_switch(capture: Array, percent: float, _: float) -> Array:
    """From the middle on the converter runs at another rate than the file says."""
    middle = int(0.52 * capture.shape[0])
    step = 1 / (1 - percent / 100)
    count = int((capture.shape[0] - middle) / step) - 1
    columns = [read_between(column, start=float(middle), step=step, count=count) for column in capture.T]
    return np.concatenate([capture[:middle], np.stack(columns, axis=1)])


def bits_change(capture: Array, bits: float, _: float) -> Array:
    """From the middle on the word is shorter: a driver changed its format."""
    out, middle = capture.copy(), int(0.45 * capture.shape[0])
    steps = 2.0 ** (bits - 1)
    out[middle:] = np.round(out[middle:] * steps) / steps
    return out


def soft_unmute(capture: Array, fade_s: float, rate_hz: float) -> Array:
    """A converter mutes itself in every pause of 0.4 s and fades in again."""
    gain = np.ones(capture.shape[0])
    rise = np.sin(0.5 * np.pi * np.linspace(0, 1, round(fade_s * rate_hz))) ** 2
    for at in _wakes(capture, rate_hz, quiet_s=0.4):
        stop = min(at + rise.size, gain.size)
        gain[at:stop] = rise[: stop - at]
    return np.asarray(capture * gain[:, None])


def hum_burst(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A motor starts near a cable: mains and its odd multiples, for 2.5 s."""
    time_s = np.arange(capture.shape[0]) / rate_hz
    line = sum(np.sin(2 * np.pi * 50.01 * order * time_s + order) / order for order in (1, 3, 5, 7))
    inside = np.clip(1.25 + 0.1 - np.abs(time_s - 0.62 * time_s[-1]), 0, 0.1) / 0.1
    return np.asarray(capture + (10 ** (level_dbfs / 20) * line * inside)[:, None])


def pot_scratch(capture: Array, dip_db: float, rate_hz: float) -> Array:
    """A worn control crackles: the gain falls at random for 40 ms, at seven places."""
    rng = own_chance(capture, 93)
    gain_db = np.zeros(capture.shape[0])
    for share in (0.13, 0.24, 0.36, 0.49, 0.6, 0.73, 0.87):
        at, size = int(share * capture.shape[0]), round(0.04 * rate_hz)
        gain_db[at : at + size] = -dip_db * np.repeat(rng.random(20), int(np.ceil(size / 20)))[:size]
    return np.asarray(capture * 10 ** (gain_db[:, None] / 20))


def concealed_packets(capture: Array, count: float, rate_hz: float) -> Array:
    """A wireless link hides lost packets of 5 ms behind the sound before them, faded over at both ends."""
    out, size, fade = capture.copy(), round(0.005 * rate_hz), round(0.0005 * rate_hz)
    shape = np.minimum(1.0, np.minimum(np.arange(size), np.arange(size)[::-1]) / fade)[:, None]
    for number in range(int(count)):
        at = int((0.15 + 0.7 * (number + 0.37) / count) * capture.shape[0])
        out[at : at + size] += shape * (capture[at - size : at] - capture[at : at + size])
    return out


def neighbour_leaks(capture: Array, level_db: float, rate_hz: float) -> Array:
    """Another channel's take of the same stimulus, played 0.37 s later, leaks in by capacity: louder in the treble."""
    late = round(0.37 * rate_hz)
    leak = 10 ** (level_db / 20) * signal.lfilter(
        *signal.butter(1, 3000, "high", fs=rate_hz), capture, axis=0
    )
    out = capture.copy()
    out[late:] += leak[:-late]
    return out


def copied_bypass(capture: Array, gain_db: float, _: float) -> Array:
    """The same take exported again, turned down and with new dither."""
    rng = np.random.default_rng(94)
    return np.asarray(10 ** (gain_db / 20) * capture + 2.0**-23 * rng.uniform(-1, 1, capture.shape))
