"""More faults of the bench alone: effects left in, takes put together from others, gear that rings, sticks or wanders.

Nothing here shares code with a detector; sizes are mild, typical and severe.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage, signal

from charprobe.values.arrays import Array
from tests.benchmarks.fault_sound import clock_s, own_chance, peak_of, read_late

QUIET = 1e-3  # of the peak


def _sounds(capture: Array, rate_hz: float, pause_s: float) -> list[tuple[int, int]]:
    """Stretches of sound between pauses of at least so long."""
    half = round(0.5 * pause_s * rate_hz)
    loud = ndimage.maximum_filter1d(np.abs(capture).max(axis=1), 2 * half + 1) > QUIET * peak_of(capture)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], loud, [False]]).astype(int))).reshape(-1, 2)
    return [(int(a) + half, int(b) - half) for a, b in edges]


def _bell(capture: Array, at_hz: float, quality: float, gain_db: float, rate_hz: float) -> Array:
    """A second-order bell, by the usual bilinear form."""
    turn, root = 2 * np.pi * at_hz / rate_hz, 10 ** (gain_db / 40)
    width = np.sin(turn) / (2 * quality)
    b = [1 + width * root, -2 * np.cos(turn), 1 - width * root]
    a = [1 + width / root, -2 * np.cos(turn), 1 - width / root]
    return np.asarray(signal.lfilter(b, a, capture, axis=0))


def chorus(capture: Array, level_db: float, rate_hz: float) -> Array:
    """An effect was left in: a copy 7 ms later, whose delay swings by 1.5 ms 0.7 times a second."""
    swing = (0.007 + 0.0015 * np.sin(2 * np.pi * 0.7 * clock_s(capture, rate_hz))) * rate_hz
    return np.asarray(capture + 10 ** (level_db / 20) * read_late(capture, swing))


def phase_rotator(capture: Array, corner_hz: float, rate_hz: float) -> Array:
    """A transmitter's phase rotator: four all-passes of first order at one frequency."""
    at = np.tan(np.pi * corner_hz / rate_hz)
    keep, out = (at - 1) / (at + 1), capture
    for _ in range(4):
        out = signal.lfilter([keep, 1], [1, keep], out, axis=0)
    return np.asarray(out)


def backlash(capture: Array, share: float, _: float) -> Array:
    """Magnetic parts stick: the output follows once the input has turned back by a share of the peak."""
    play, out = share * peak_of(capture), np.empty_like(capture)
    for n, line in enumerate(capture.T):
        now, made = 0.0, []
        for each in line.tolist():
            now = min(max(now, each - play), each + play)
            made.append(now)
        out[:, n] = made
    return out


def lacquer_ticks(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A scratch on a disc: a tick of 0.3 ms every 1.8 s, each of its own height."""
    out, rng = capture.copy(), own_chance(capture, 301)
    tick = np.hanning(round(0.0003 * rate_hz))[:, None]
    for at in range(round(1.1 * rate_hz), capture.shape[0] - tick.size, round(1.8 * rate_hz)):
        out[at : at + tick.size] += 10 ** (level_dbfs / 20) * rng.uniform(-1, 1) * tick
    return out


def alternating_offset(capture: Array, level_dbfs: float, _: float) -> Array:
    """Two halves of a converter lie apart: an offset that changes its sign with every sample."""
    return np.asarray(
        capture + 10 ** (level_dbfs / 20) * (-1.0) ** np.arange(capture.shape[0])[:, None] / np.sqrt(2)
    )


def mains_hash(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A switched supply hisses for 1 ms around each crossing of the mains."""
    rng = own_chance(capture, 304)
    open_ = np.abs(np.sin(2 * np.pi * 50 * clock_s(capture, rate_hz))) < np.sin(2 * np.pi * 50 * 0.0005)
    return np.asarray(capture + 10 ** (level_dbfs / 20) * open_[:, None] * rng.standard_normal(capture.shape))


def mid_bell(capture: Array, gain_db: float, rate_hz: float) -> Array:
    """A channel's middle band was not at zero: a bell at 1 kHz, an octave and a half wide."""
    return _bell(capture, 1000, 0.9, gain_db, rate_hz)


def restarts(capture: Array, samples: float, rate_hz: float) -> Array:
    """A player begins anew behind every pause of 0.3 s, up to so many samples early or late."""
    late, rng = np.zeros(capture.shape[0]), own_chance(capture, 302)
    for first, _ in _sounds(capture, rate_hz, 0.3):
        late[max(0, first - round(0.1 * rate_hz)) :] = samples * rng.uniform(-1, 1)
    return read_late(capture, late)


def resonant_top(capture: Array, gain_db: float, rate_hz: float) -> Array:
    """An input transformer without its load: the top of the band rises around 20 kHz."""
    return _bell(capture, 20_000, 1.2, gain_db, rate_hz)


def cabinet(capture: Array, level_db: float, rate_hz: float) -> Array:
    """A loosely mounted part sings along: a resonance at 173 Hz, 2 Hz wide, so far below at its top."""
    b, a = signal.iirpeak(173, 173 / 2, fs=rate_hz)
    return np.asarray(capture + 10 ** (level_db / 20) * signal.lfilter(b, a, capture, axis=0))


def ceramic(capture: Array, third_db: float, rate_hz: float) -> Array:
    """A filter's capacitor shrinks with voltage: third harmonic so far below a full tone of 10 kHz, less with frequency."""
    slope = np.gradient(capture, axis=0) * rate_hz / (2 * np.pi * 10_000)
    return np.asarray(capture - 4 * 10 ** (third_db / 20) * slope * capture**2)


def comped(capture: Array, samples: float, rate_hz: float) -> Array:
    """The sounds around the middle come from another take, so many samples off, cut in pauses."""
    sounds, count = _sounds(capture, rate_hz, 0.1), capture.shape[0]
    chosen = [each for each in sounds if 0.35 * count < sum(each) / 2 < 0.65 * count]
    if not chosen:
        return capture
    out, edge = capture.copy(), round(0.02 * rate_hz)
    piece = slice(chosen[0][0] - edge, chosen[-1][1] + edge)
    out[piece] = read_late(capture, np.full(count, samples))[piece]
    return out


def gliding_whistle(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """Two clocks beat: a whistle that glides from 4 kHz to 200 Hz over the take."""
    turns = np.cumsum(np.geomspace(4000, 200, capture.shape[0])) / rate_hz
    turns += 1e9 * float(np.abs(capture[: 1 << 14]).sum()) % 1  # begins elsewhere in each take
    return np.asarray(capture + 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * turns)[:, None])


def tails_faded(capture: Array, fade_s: float, rate_hz: float) -> Array:
    """An editor fades every sound out into its pause of 0.1 s or more."""
    out, count = capture.copy(), max(2, round(fade_s * rate_hz))
    sounds = _sounds(capture, rate_hz, 0.1)
    for (_, last), (after, _) in zip(sounds, [*sounds[1:], (capture.shape[0], 0)], strict=True):
        first = max(0, last - count)
        out[first:last] *= np.linspace(1, 0, last - first)[:, None]
        out[last:after] = 0
    return out


def transient_shaper(capture: Array, most_db: float, rate_hz: float) -> Array:
    """An effect lifts attacks: by so much where the level of 2 ms stands above that of 30 ms."""
    fast, slow = (
        signal.lfilter([1 - keep], [1, -keep], ndimage.maximum_filter1d(np.abs(capture), 48, axis=0), axis=0)
        for keep in np.exp(-1 / (np.array([0.002, 0.03]) * rate_hz))
    )
    lift = np.clip((fast - slow) / np.maximum(fast, QUIET * peak_of(capture)), 0, 1)
    return np.asarray(capture * 10 ** (most_db * lift / 20))


def linear_phase_equaliser(capture: Array, gain_db: float, rate_hz: float) -> Array:
    """A loudspeaker correction was on: bells of either sign, linear in phase, so it rings ahead as well."""
    hz = np.linspace(0, rate_hz / 2, 4097)
    octaves = np.log2(np.maximum(hz, 1)[:, None] / np.array([90, 400, 2500, 9000]))
    shape = (np.array([1, -1, 1, -1]) * np.exp(-((octaves / 0.4) ** 2))).sum(axis=1)
    taps = signal.firwin2(8191, hz, 10 ** (gain_db * shape / 20), fs=rate_hz)
    return np.asarray(signal.fftconvolve(capture, taps[:, None], axes=0)[4095 : 4095 + capture.shape[0]])


def offset_wanders(capture: Array, amount: float, rate_hz: float) -> Array:
    """An offset follows the draught on a hot part: a slow noise below 0.5 Hz."""
    step = round(0.1 * rate_hz)
    walk = ndimage.gaussian_filter1d(
        own_chance(capture, 303).standard_normal(capture.shape[0] // step + 2), 6
    )
    line = np.interp(np.arange(capture.shape[0]), step * np.arange(walk.size), walk / np.abs(walk).max())
    return np.asarray(capture + amount * line[:, None])


def averaged(capture: Array, samples: float, _: float) -> Array:
    """Two takes were averaged against noise, so many samples apart."""
    return np.asarray((capture + read_late(capture, np.full(capture.shape[0], samples))) / 2)


def repaired(capture: Array, times: float, _: float) -> Array:
    """A repair of clicks took edges for clicks: where the bend is so many times the usual, 24 samples become a straight line."""
    out = capture.copy()
    bend = np.abs(np.diff(capture[:, 0], 2, prepend=0.0, append=0.0))
    usual = ndimage.uniform_filter1d(bend, 2001) + 1e-6 * peak_of(capture)
    at, count = 0, 24
    for found in np.flatnonzero(bend > times * usual).tolist():
        first = max(found - count // 2, 1)
        if first < at or first + count >= capture.shape[0]:
            continue
        at = first + count
        out[first:at] = np.linspace(capture[first - 1], capture[at], count + 2)[1:-1]
    return out


def spread_clock(capture: Array, ns: float, rate_hz: float) -> Array:
    """A spread-spectrum clock without a loop behind it: the time swings evenly, 1.7 thousand times a second."""
    swing = signal.sawtooth(2 * np.pi * 1700 * clock_s(capture, rate_hz), 0.5)
    return read_late(capture, 1e-9 * ns * rate_hz * swing)
