"""More faults of the bench alone: what operating systems, players, cheap links and helpful plug-ins do to a take.

Nothing here shares code with a detector; sizes are mild, typical and severe.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage, signal

from charprobe.values.arrays import Array
from tests.benchmarks.fault_sound import clock_s, own_chance, peak_of


def _level_db(capture: Array, time_s: float, rate_hz: float) -> Array:
    """Mean square of the last so many seconds, re peak."""
    keep = np.exp(-1 / (time_s * rate_hz))
    power = signal.lfilter([1 - keep], [1, -keep], np.max(capture**2, axis=1))
    return np.asarray(10 * np.log10(np.maximum(power, 1e-30) / peak_of(capture) ** 2))


def _followed(want: Array, rise_s: float, fall_s: float, rate_hz: float) -> Array:
    """A control that goes after what is wanted, of one pace upwards and another downwards; in steps of 1 ms."""
    step, now, made = round(0.001 * rate_hz), float(want[0]), []
    up, down = (1 - np.exp(-0.001 / each) for each in (rise_s, fall_s))
    for each in want[::step].tolist():
        now += (up if each > now else down) * (each - now)
        made.append(now)
    return np.interp(np.arange(want.size), step * np.arange(len(made)), made)


def _places(capture: Array, count: float, number: int, edge: int) -> list[int]:
    chosen = own_chance(capture, number).integers(edge, capture.shape[0] - 2 * edge, round(count))
    return sorted(int(at) for at in chosen)


def system_gain(capture: Array, most_db: float, rate_hz: float) -> Array:
    """The operating system levels what it records: a gain up to so many dB, down in 0.3 s, up in 8 s, held in pauses."""
    level = _level_db(capture, 0.1, rate_hz)
    heard = np.maximum.accumulate(np.where(level > -60, np.arange(level.size), 0))
    gain_db = np.clip(-20 - level[heard], 0, most_db)
    return np.asarray(capture * 10 ** (_followed(gain_db, 8.0, 0.3, rate_hz)[:, None] / 20))


def mixer_rate(capture: Array, ppm: float, rate_hz: float) -> Array:
    """The system's mixer follows a clock: read along a cubic, the ratio set anew every 10 ms with so much scatter."""
    block, count = round(0.01 * rate_hz), capture.shape[0]
    fill, made, rng = 0.0, [], own_chance(capture, 401)
    for _ in range(count // block + 2):
        made.append(fill)
        fill += 1e-6 * block * (ppm * rng.standard_normal() - 0.02 * 1e6 * fill / block)
    late = np.interp(np.arange(count), block * np.arange(len(made)), made)
    at = (np.clip(np.arange(count) - late, 0, count - 1))[None]
    return np.stack([ndimage.map_coordinates(line, at, order=3) for line in capture.T], axis=1)


def microframes(capture: Array, times: float, _: float) -> Array:
    """A hub loses a frame of 6 samples; the driver gives the frame before once more."""
    out = capture.copy()
    for at in _places(capture, times, 402, 4800):
        out[at : at + 6] = capture[at - 6 : at]
    return out


def half_plug(capture: Array, corner_hz: float, rate_hz: float) -> Array:
    """A plug pulled half out: one leg of the line arrives through a capacity alone, above so many Hz."""
    b, a = signal.butter(1, corner_hz / (rate_hz / 2), "high")
    return np.asarray(0.5 * capture + 0.5 * signal.lfilter(b, a, capture, axis=0))


def filmed_contact(capture: Array, loss_db: float, rate_hz: float) -> Array:
    """A relay's contact grows a film in every 0.2 s of quiet, which takes so many dB until -30 dB re peak breaks it."""
    loud = np.max(np.abs(capture), axis=1) / peak_of(capture)
    closed, rest, made, step = True, 0, [], 48
    for block in np.maximum.reduceat(loud, np.arange(0, loud.size, step)).tolist():
        rest = rest + step if block < 1e-3 else 0
        closed = block > 10 ** (-30 / 20) or (closed and rest < 0.2 * rate_hz)
        made.append(0.0 if closed else -loss_db)
    gain_db = np.repeat(made, step)[: loud.size]
    return np.asarray(capture * 10 ** (gain_db[:, None] / 20))


def rounded_clip(capture: Array, over_db: float, rate_hz: float) -> Array:
    """Clipped on a bus, then band-limited and coupled anew: its tops are flat no more."""
    top = 10 ** (-over_db / 20) * peak_of(capture)
    sos = signal.butter(4, 19_000 / (rate_hz / 2), output="sos")
    low = signal.sosfiltfilt(sos, np.clip(capture, -top, top), axis=0)
    b, a = signal.butter(1, 8 / (rate_hz / 2), "high")
    return np.asarray(signal.lfilter(b, a, low, axis=0))


def riding_loudness(capture: Array, most_db: float, rate_hz: float) -> Array:
    """Exported to one loudness that is kept all along: the mean of 3 s decides, looked at ahead as well."""
    power = ndimage.uniform_filter1d(np.max(capture**2, axis=1), round(3 * rate_hz))
    level = 10 * np.log10(np.maximum(power, 1e-9 * peak_of(capture) ** 2) / peak_of(capture) ** 2)
    gain_db = np.clip(-25 - level, -most_db, most_db)
    return np.asarray(capture * 10 ** (ndimage.uniform_filter1d(gain_db, round(rate_hz))[:, None] / 20))


def player_bands(played: Array, gain_db: float, rate_hz: float) -> Array:
    """The stimulus went through a media player whose ten bands stood at alternate gains."""
    hz = np.linspace(0, rate_hz / 2, 8193)
    bands = 31.25 * 2.0 ** np.arange(10)
    shape = np.exp(-((np.log2(np.maximum(hz, 1)[:, None] / bands) / 0.6) ** 2)) @ (-1.0) ** np.arange(10)
    spectrum = 10 ** (gain_db * shape / 20)
    taps = signal.minimum_phase(signal.firwin2(4097, hz, spectrum**2, fs=rate_hz))
    return np.asarray(signal.fftconvolve(played, taps[:, None], axes=0)[: played.shape[0]])


def player_rate(played: Array, points: float, _: float) -> Array:
    """A player plays at 44.1 kHz: converted there and back along straight lines between so many times the points."""
    up, count = round(points), played.shape[0]
    line = signal.resample_poly(played[:, 0], up, 1) if up > 1 else played[:, 0]
    at = np.arange(round(count * 44_100 / 48_000)) * 48_000 / 44_100
    low = np.interp(up * at, np.arange(line.size), line)
    line = signal.resample_poly(low, up, 1) if up > 1 else low
    back = np.interp(up * np.arange(count) * 44_100 / 48_000, np.arange(line.size), line)
    return np.asarray(back[:, None])


def jitter_buffer(capture: Array, times: float, rate_hz: float) -> Array:
    """A receiver's buffer stretches 40 ms by a period that fits and takes as much away half a second later."""
    out, half = capture.copy(), round(0.5 * rate_hz)
    for at in _places(capture, times, 403, round(rate_hz)):
        near = capture[at : at + 960, 0]
        same = [near[lag:] @ near[: near.size - lag] for lag in range(48, 480)]
        lag = 48 + int(np.argmax(same))
        fade = np.linspace(0, 1, lag)[:, None]
        seam = (1 - fade) * capture[at : at + lag] + fade * capture[at - lag : at]
        piece = np.concatenate([seam, capture[at : at + half]])
        piece[-lag:] = (1 - fade) * piece[half : half + lag] + fade * capture[at + half - lag : at + half]
        out[at : at + half] = np.concatenate([piece[: half - lag], piece[-lag:]])
    return out


def echo_suppressor(capture: Array, depth_db: float, rate_hz: float) -> Array:
    """A conference driver takes what begins within 0.3 s after loud sound for its echo and turns it down."""
    level, late = _level_db(capture, 0.02, rate_hz), round(0.3 * rate_hz)
    before = ndimage.maximum_filter1d(level, late, origin=late // 2 - 1)
    want = np.where(before - level > 12, -depth_db, 0.0)
    return np.asarray(capture * 10 ** (_followed(want, 0.1, 0.01, rate_hz)[:, None] / 20))


def settling_highpass(capture: Array, corner_hz: float, rate_hz: float) -> Array:
    """A converter takes its offset away: a corner so high for the first quarter, 1 Hz from there on."""
    at, out, state = capture.shape[0] // 4, capture.copy(), np.zeros((1, capture.shape[1]))
    for piece, hz in ((slice(0, at), corner_hz), (slice(at, None), 1.0)):
        b, a = signal.butter(1, hz / (rate_hz / 2), "high")
        out[piece], state = signal.lfilter(b, a, capture[piece], axis=0, zi=state)
    return out


def slip_and_back(capture: Array, times: float, _: float) -> Array:
    """A buffer gives a sample twice and leaves one out 300 samples later, so that nothing is late for long."""
    out = capture.copy()
    for at in _places(capture, times, 404, 4800):
        out[at + 1 : at + 300] = capture[at : at + 299]
    return out


def hum_remover(capture: Array, width_hz: float, rate_hz: float) -> Array:
    """A plug-in takes the mains and its first ten harmonics out, each so many Hz wide."""
    out = capture
    for order in range(1, 11):
        b, a = signal.iirnotch(50 * order, 50 * order / width_hz, fs=rate_hz)
        out = signal.lfilter(b, a, out, axis=0)
    return np.asarray(out)


def block_means(capture: Array, samples: float, _: float) -> Array:
    """An export takes the offset out of each block by itself, of so many samples."""
    out, size = capture.copy(), round(samples)
    for at in range(0, capture.shape[0], size):
        out[at : at + size] -= out[at : at + size].mean(axis=0)
    return out


def bit_errors(capture: Array, count: float, _: float) -> Array:
    """A digital cable too long: so many words of 24 bits with one wrong bit each, at random."""
    out, rng = capture.copy(), own_chance(capture, 405)
    for at in rng.integers(0, capture.shape[0], round(count)).tolist():
        word = np.round(out[at] * 2**23).astype(np.int64) ^ (1 << int(rng.integers(0, 23)))
        out[at] = word / 2**23
    return out


def overload_mute(capture: Array, mute_s: float, rate_hz: float) -> Array:
    """A protection mutes for so long after a peak within 1 dB of the largest, and comes back within 5 ms."""
    over = np.max(np.abs(capture), axis=1) > 10 ** (-1 / 20) * peak_of(capture)
    at, gain = 0, np.ones(capture.shape[0])
    length, fade = round(mute_s * rate_hz), round(0.005 * rate_hz)
    for first in np.flatnonzero(over & ~np.roll(over, 1)).tolist():
        if first >= at:
            at = first + 1 + length + fade
            gain[first + 1 : at] = np.concatenate([np.zeros(length), np.linspace(0, 1, fade)])[
                : gain.size - first - 1
            ]
    return np.asarray(capture * gain[:, None])


def noise_filled(capture: Array, packets: float, _: float) -> Array:
    """A wireless link fills lost packets of 128 samples with noise as loud as what came before."""
    out, rng = capture.copy(), own_chance(capture, 406)
    for at in _places(capture, packets, 407, 4800):
        loud = np.sqrt(np.mean(capture[at - 128 : at] ** 2, axis=0))
        out[at : at + 128] = loud * rng.standard_normal((128, capture.shape[1]))
    return out


def night_mode(capture: Array, most_db: float, rate_hz: float) -> Array:
    """A player lifts bass and treble as it gets softer: up to so many dB at -50 dB re peak."""
    share = np.clip(_level_db(capture, 0.2, rate_hz) / -50, 0, 1)
    edges = np.array([120, 8000]) / (rate_hz / 2)
    middle = signal.sosfilt(signal.butter(1, edges, "band", output="sos"), capture, axis=0)
    rest = capture - middle
    return np.asarray(capture + (10 ** (most_db * share[:, None] / 20) - 1) * rest)


def phantom_load(capture: Array, gain_db: float, rate_hz: float) -> Array:
    """Phantom power comes on at 0.4 of the length: it loads the stage a little, and coupling swings out for a second."""
    out, at = capture.copy(), int(0.4 * capture.shape[0])
    out[at:] *= 10 ** (-abs(gain_db) / 20)
    t_s = clock_s(out[at:], rate_hz)
    out[at:] += 0.002 * (np.exp(-t_s / 0.8) * np.cos(2 * np.pi * 0.9 * t_s) * -np.expm1(-t_s / 0.01))[:, None]
    return out


def whistle_hunter(capture: Array, depth_db: float, rate_hz: float) -> Array:
    """A plug-in against feedback turns a line down that stands alone for 0.4 s, and lets go as slowly."""
    size, hop, out = 2048, 512, np.empty_like(capture)
    for n, line in enumerate(capture.T):
        _, _, bins = signal.stft(line, rate_hz, nperseg=size, noverlap=size - hop)
        power = np.abs(bins) ** 2
        alone = power > 0.2 * power.sum(axis=0)
        held = ndimage.uniform_filter1d(alone.astype(float), round(0.4 * rate_hz / hop), axis=1)
        gain_db = -depth_db * np.clip(2 * held - 1, 0, 1)
        _, lowered = signal.istft(bins * 10 ** (gain_db / 20), rate_hz, nperseg=size, noverlap=size - hop)
        out[:, n] = lowered[: capture.shape[0]]
    return out
