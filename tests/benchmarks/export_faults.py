"""More faults of the bench alone: what an editor, an export, a pull-down or a mixed-up folder does to takes.

Nothing here shares code with a detector; sizes are mild, typical and severe.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage, signal

from charprobe.simulation.rig.resample import read_between
from charprobe.values.arrays import Array
from tests.benchmarks.fault_sound import own_chance

BLOCK, HOP = 2048, 512


def pulled_down(capture: Array, per_mille: float, _: float) -> Array:
    """The clock ran slower by so much than the file's label says: film and video rates meet."""
    step = 1 + per_mille / 1000
    count = int(capture.shape[0] / step) - 1
    return np.stack([read_between(line, start=0.0, step=step, count=count) for line in capture.T], axis=1)


def _spliced(capture: Array, at: int, lost: int, fade: int) -> Array:
    """Samples from `at` on taken out, the ends faded over each other."""
    up = np.sin(0.5 * np.pi * np.linspace(0, 1, fade))[:, None] ** 2
    joined = (1 - up) * capture[at : at + fade] + up * capture[at + lost : at + lost + fade]
    return np.concatenate([capture[:at], joined, capture[at + lost + fade :]])


def crossfaded(capture: Array, lost_s: float, rate_hz: float) -> Array:
    """A piece cut out while sound runs, faded over within 10 ms."""
    return _spliced(capture, int(0.45 * capture.shape[0]), round(lost_s * rate_hz), round(0.01 * rate_hz))


def pause_cut(capture: Array, lost_s: float, rate_hz: float) -> Array:
    """A piece of the quietest pause near the middle cut out, faded over within 10 ms."""
    size = round(lost_s * rate_hz)
    heard = ndimage.uniform_filter1d(capture[:, 0] ** 2, size + round(0.02 * rate_hz))
    first, last = int(0.3 * heard.size), int(0.7 * heard.size)
    return _spliced(
        capture, first + int(np.argmin(heard[first:last])) - size // 2, size, round(0.01 * rate_hz)
    )


def between_samples(capture: Array, over_db: float, _: float) -> Array:
    """An interface whose filter clips what would pass between samples: no sample is flat."""
    fine = signal.resample_poly(capture, 4, 1, axis=0)
    top = np.abs(fine).max() * 10 ** (-over_db / 20)
    return np.asarray(signal.resample_poly(np.clip(fine, -top, top), 1, 4, axis=0)[: capture.shape[0]])


def _frames(line: Array) -> Array:
    _, _, found = signal.stft(line, nperseg=BLOCK, noverlap=BLOCK - HOP)
    return np.asarray(found)


def stretched(capture: Array, percent: float, _: float) -> Array:
    """Made longer at the same pitch, as editors do, by turning the phases of short spectra on."""
    factor, out = 1 / (1 + percent / 100), []
    for line in capture.T:
        found = _frames(line)
        at = np.arange(0, found.shape[1] - 1, factor)
        phase, frames = np.angle(found[:, 0]), []
        for each in at:
            low = int(each)
            size = np.abs(found[:, low]) * (1 - each + low) + np.abs(found[:, low + 1]) * (each - low)
            frames.append(size * np.exp(1j * phase))
            phase = phase + np.angle(found[:, low + 1]) - np.angle(found[:, low])
        out.append(
            signal.istft(np.array(frames).T, nperseg=BLOCK, noverlap=BLOCK - HOP, input_onesided=True)[1]
        )
    return np.stack(out, axis=1)


def denoised(capture: Array, depth_db: float, _: float) -> Array:
    """Spectra are turned down wherever they are no louder than the quietest tenth of the take."""
    out = []
    for line in capture.T:
        found = _frames(line)
        size = np.abs(found)
        usual = np.quantile(size, 0.1, axis=1, keepdims=True)
        keep = np.clip((size / (2.5 * usual + 1e-12)) ** 2 - 0.5, 10 ** (-depth_db / 20), 1)
        out.append(signal.istft(found * keep, nperseg=BLOCK, noverlap=BLOCK - HOP)[1][: line.size])
    return np.stack(out, axis=1)


def gated(capture: Array, threshold_dbfs: float, rate_hz: float) -> Array:
    """Stretches below a level become digital silence, faded within 5 ms; nothing is shortened."""
    peaks = ndimage.maximum_filter1d(np.abs(capture).max(axis=1), round(0.05 * rate_hz))
    open_ = ndimage.uniform_filter1d(
        (peaks > 10 ** (threshold_dbfs / 20)).astype(float), round(0.005 * rate_hz)
    )
    return np.asarray(capture * open_[:, None])


def brown_out(capture: Array, dip_db: float, rate_hz: float) -> Array:
    """The supply sags for 1.5 s and comes back, both without a step."""
    time_s = np.arange(capture.shape[0]) / rate_hz - 0.55 * capture.shape[0] / rate_hz
    dip = np.where(np.abs(time_s) < 0.75, np.cos(np.pi * time_s / 1.5) ** 2, 0.0)
    return np.asarray(capture * 10 ** (-dip_db * dip[:, None] / 20))


def stuck_bit(capture: Array, level_dbfs: float, _: float) -> Array:
    """One bit of the converter is always set."""
    bit = 1 << round(23 + level_dbfs / 6.0206)
    return np.asarray((np.round(capture * 2.0**23).astype(np.int64) | bit) / 2.0**23)


def dithered_twice(capture: Array, bits: float, _: float) -> Array:
    """Exported with so many bits, and again after a change of gain."""
    rng, step = own_chance(capture, 95), 2.0 ** (1 - bits)
    for gain in (0.97, 1 / 0.97):
        dither = (rng.random(capture.shape) - rng.random(capture.shape)) * step
        capture = np.round((gain * capture + dither) / step) * step
    return np.asarray(capture)


def low_cut(capture: Array, corner_hz: float, rate_hz: float) -> Array:
    """A preamp's low cut was on."""
    return np.asarray(
        signal.sosfilt(signal.butter(2, corner_hz, "high", fs=rate_hz, output="sos"), capture, axis=0)
    )


def loudness_lufs(capture: Array, rate_hz: float) -> float:
    """Integrated loudness of one channel as BS.1770 defines it: two filters, blocks of 0.4 s, two gates."""
    shelf, cut = ((1681.974, 3.99984), (38.13547, 0.0))
    k, high = np.tan(np.pi * shelf[0] / rate_hz), 10 ** (shelf[1] / 20)
    middle, q = high**0.4996667, 0.7071752
    a0 = 1 + k / q + k * k
    line = signal.lfilter(
        [(high + middle * k / q + k * k) / a0, 2 * (k * k - high) / a0, (high - middle * k / q + k * k) / a0],
        [1, 2 * (k * k - 1) / a0, (1 - k / q + k * k) / a0],
        capture[:, 0],
    )
    k, q = np.tan(np.pi * cut[0] / rate_hz), 0.5003270
    a0 = 1 + k / q + k * k
    line = signal.lfilter([1, -2, 1], [1, 2 * (k * k - 1) / a0, (1 - k / q + k * k) / a0], line)
    size, hop = round(0.4 * rate_hz), round(0.1 * rate_hz)
    power = np.array([np.mean(line[at : at + size] ** 2) for at in range(0, line.size - size, hop)])
    loud = power[-0.691 + 10 * np.log10(power + 1e-20) > -70]
    loud = loud[10 * np.log10(loud) > 10 * np.log10(loud.mean()) - 10]
    return float(-0.691 + 10 * np.log10(loud.mean()))


def to_loudness(capture: Array, target_lufs: float, rate_hz: float) -> Array:
    """Exported at one loudness."""
    return np.asarray(capture * 10 ** ((target_lufs - loudness_lufs(capture, rate_hz)) / 20))
