"""More faults of the bench alone: what is wrong ahead of the stage, and what links, hosts and recorders add behind it.

Nothing here shares code with a detector; sizes are mild, typical and severe.
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

import numpy as np
import soundfile
from scipy import ndimage, signal

from charprobe.values.arrays import Array
from tests.benchmarks.fault_sound import clock_s, own_chance, peak_of


def _level_db(line: Array, time_s: float, rate_hz: float) -> Array:
    keep = np.exp(-1 / (time_s * rate_hz))
    power = signal.lfilter([1 - keep], [1, -keep], line**2)
    return np.asarray(10 * np.log10(np.maximum(power, 1e-12)))


def soft_limit(capture: Array, from_db: float, _: float) -> Array:
    """A recorder's soft limit: from a level below the peak on all that is above it counts half."""
    knee = 10 ** (from_db / 20) * peak_of(capture)
    return np.asarray(capture - 0.5 * (capture - np.clip(capture, -knee, knee)))


def host_sleeps(capture: Array, after_s: float, rate_hz: float) -> Array:
    """A host switches its plug-ins off once their input was silent for so long: zeros until the next block that sounds."""
    block, out = 512, capture.copy()
    loud = np.abs(capture).max(axis=1) > 10 ** (-75 / 20) * peak_of(capture)
    rest = np.inf
    for at in range(0, capture.shape[0], block):
        rest = 0 if loud[at : at + block].any() else rest + block
        if rest > after_s * rate_hz:
            out[at : at + block] = 0
    return out


def blanked_dither(capture: Array, bits: float, rate_hz: float) -> Array:
    """Exported with dither that ends where the sound does: nothing is added once 30 ms lay within four steps."""
    step = 2.0 ** (1 - bits)
    size, high = round(0.03 * rate_hz), np.abs(capture).max(axis=1)
    quiet = ndimage.maximum_filter1d(high, size, origin=(size - 1) // 2) < 4 * step  # of what has been
    noise = own_chance(capture, 501).triangular(-1, 0, 1, capture.shape) * step
    rounded = step * np.round((capture + noise) / step)
    return np.where(quiet[:, None], 0.0, rounded)


def silence_removed(capture: Array, left_s: float, rate_hz: float) -> Array:
    """An editor shortens every pause below -60 dB re peak to so many seconds."""
    half = round(0.01 * rate_hz)
    quiet = ndimage.maximum_filter1d(np.abs(capture).max(axis=1), half) < 1e-3 * peak_of(capture)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], quiet, [False]]).astype(int)))
    keep, left = np.ones(capture.shape[0], dtype=bool), round(left_s * rate_hz)
    for start, stop in edges.reshape(-1, 2):
        keep[start + left // 2 : max(stop - (left - left // 2), start + left // 2)] = False
    return capture[keep]


def tuned(capture: Array, share: float, rate_hz: float) -> Array:
    """A pitch correction pulls 1 kHz a share of the way to the next semitone, 21 cents below: grains of 40 ms, faded over."""
    ratio, size = 2 ** (-21.3 * share / 1200), round(0.04 * rate_hz)
    hop, out = size // 2, np.zeros_like(capture)
    window = np.hanning(size + 1)[:-1, None]
    at = np.arange(size) * ratio
    for start in range(0, capture.shape[0] - size - 1, hop):
        whole = np.floor(at).astype(int)
        part = (at - whole)[:, None]
        grain = (1 - part) * capture[start + whole] + part * capture[start + whole + 1]
        out[start : start + size] += window * grain
    return out


def nearest_sample(capture: Array, points: float, _: float) -> Array:
    """Converted to 44.1 kHz and back by the nearest of so many points between two samples."""
    up, count = round(points), capture.shape[0]
    fine = signal.resample_poly(capture, up, 1) if up > 1 else capture
    low_at = np.arange(int(count * 147 / 160)) * 160 / 147
    low = fine[np.minimum(np.round(up * low_at).astype(int), fine.shape[0] - 1)]
    fine = signal.resample_poly(low, up, 1) if up > 1 else low
    return np.asarray(
        fine[np.minimum(np.round(up * np.arange(count) * 147 / 160).astype(int), fine.shape[0] - 1)]
    )


def keyed_from_outside(capture: Array, dip_db: float, rate_hz: float) -> Array:
    """A limiter linked with the neighbouring channel, where a drum sounds every 0.6 s: down at once, back in 0.2 s."""
    since_s = clock_s(capture, rate_hz) % 0.6
    return np.asarray(capture * 10 ** (-dip_db * np.exp(-since_s / 0.2)[:, None] / 20))


def played_levelled(played: Array, most_db: float, rate_hz: float) -> Array:
    """The player keeps a loudness: soft passages up to so many dB louder, down within 0.1 s, up within 2 s."""
    level, step = _level_db(played[:, 0], 0.05, rate_hz), round(0.01 * rate_hz)
    now, made = 0.0, []
    for each in np.clip(-18 - level[::step], 0, most_db).tolist():
        now += (0.005 if each > now else 0.1) * (each - now)
        made.append(now)
    gain_db = np.interp(np.arange(level.size), step * np.arange(len(made)), made)
    return np.asarray(played * 10 ** (gain_db[:, None] / 20))


def streamed(played: Array, kbit: float, rate_hz: float) -> Array:
    """The stimulus came to the player as a coded stream; what was recorded is as it was."""
    quiet = ["ffmpeg", "-nostdin", "-v", "error", "-y"]
    with tempfile.TemporaryDirectory() as folder:
        plain, packed, out = (Path(folder) / file for file in ("in.wav", "coded.ogg", "out.wav"))
        soundfile.write(plain, np.repeat(played[:, :1], 2, axis=1), round(rate_hz), subtype="FLOAT")
        subprocess.run([*quiet, "-i", plain, "-c:a", "libvorbis", "-b:a", f"{kbit:.0f}k", packed], check=True)
        subprocess.run([*quiet, "-i", packed, "-c:a", "pcm_f32le", out], check=True)
        made = np.asarray(soundfile.read(out, always_2d=True)[0][:, :1], dtype=float)
    return np.pad(made, ((0, max(0, len(played) - len(made))), (0, 0)))[: len(played)]


def hum_ahead(played: Array, level_dbfs: float, rate_hz: float) -> Array:
    """The player hums: mains and two harmonics go through the stage with the sound."""
    start = own_chance(played, 502).uniform(0, 2 * np.pi, 3)
    t_s = clock_s(played, rate_hz)
    hum = sum(np.sin(2 * np.pi * 50 * (n + 1) * t_s + at) / (n + 1) for n, at in enumerate(start))
    return np.asarray(played + 10 ** (level_dbfs / 20) * np.asarray(hum)[:, None])


def noise_ahead(played: Array, level_dbfs: float, _: float) -> Array:
    """A noisy player: its hiss goes through the stage with the sound."""
    noise = own_chance(played, 503).standard_normal(played.shape)
    return np.asarray(played + 10 ** (level_dbfs / 20) / np.sqrt(2) * noise)


def room_ahead(played: Array, level_db: float, rate_hz: float) -> Array:
    """Played by a loudspeaker and taken up by a microphone ahead of the stage: reflections that die away in 0.15 s."""
    count, rng = round(0.3 * rate_hz), np.random.default_rng(504)
    tail = rng.standard_normal(count) * np.exp(-np.arange(count) / (0.06 * rate_hz))
    tail[: round(0.002 * rate_hz)] = 0
    tail *= 10 ** (level_db / 20) / np.sqrt(np.sum(tail**2))
    return np.asarray(played + signal.fftconvolve(played, tail[:, None], axes=0)[: played.shape[0]])


def watermarked(capture: Array, level_db: float, rate_hz: float) -> Array:
    """A store hides a mark: chips between 2 and 5 kHz, so far below the sound of the last 20 ms."""
    sos = signal.butter(4, np.array([2000, 5000]) / (rate_hz / 2), "band", output="sos")
    chips = np.repeat(own_chance(capture, 505).choice([-1.0, 1.0], capture.shape[0] // 6 + 1), 6)
    mark = signal.sosfilt(sos, chips[: capture.shape[0]])
    mark *= 10 ** (level_db / 20) / np.sqrt(np.mean(mark**2))
    return np.asarray(capture + (mark * 10 ** (_level_db(capture[:, 0], 0.02, rate_hz) / 20))[:, None])


def bass_guard(capture: Array, most_db: float, rate_hz: float) -> Array:
    """A loudspeaker's protection was left in: what lies below 120 Hz is turned down once it comes within 12 dB of the peak."""
    low = signal.sosfilt(signal.butter(2, 120 / (rate_hz / 2), output="sos"), capture, axis=0)
    over = _level_db(low[:, 0], 0.05, rate_hz) - 20 * np.log10(peak_of(capture)) + 15
    share = np.clip(over / 12, 0, 1)[:, None]
    return np.asarray(capture - (1 - 10 ** (-most_db * share / 20)) * low)


def clarity(capture: Array, most_db: float, rate_hz: float) -> Array:
    """A recorder's speech mode lifts 2 to 6 kHz where they are soft."""
    sos = signal.butter(1, np.array([2000, 6000]) / (rate_hz / 2), "band", output="sos")
    band = signal.sosfilt(sos, capture, axis=0)
    share = np.clip((-20 - _level_db(band[:, 0], 0.1, rate_hz)) / 30, 0, 1)[:, None]
    return np.asarray(capture + (10 ** (most_db * share / 20) - 1) * band)


def head_switching(capture: Array, dip_db: float, rate_hz: float) -> Array:
    """A recorder of rotating heads changes over 50 times a second: the sound dips for ten samples."""
    inside = (np.arange(capture.shape[0]) + 17) % round(rate_hz / 50) < 10
    return np.asarray(capture * np.where(inside, 10 ** (-dip_db / 20), 1.0)[:, None])


def diversity(capture: Array, apart_db: float, rate_hz: float) -> Array:
    """A wireless receiver changes between two aerials at random, about every 0.7 s: each has its gain, faded over in 2 ms."""
    rng, now, at, state = own_chance(capture, 506), 0, 0, np.zeros(capture.shape[0])
    while at < capture.shape[0]:
        after = at + round(rate_hz * rng.exponential(0.7))
        state[at:after], now, at = now, 1 - now, after
    smooth = ndimage.uniform_filter1d(state, round(0.002 * rate_hz))
    return np.asarray(capture * 10 ** (apart_db * smooth[:, None] / 20))


def safety_track(capture: Array, apart_db: float, rate_hz: float) -> Array:
    """A recorder takes its second, softer input for 0.5 s around peaks within 2 dB of the largest; its gain is not quite the same."""
    over = np.abs(capture).max(axis=1) > 10 ** (-2 / 20) * peak_of(capture)
    near = ndimage.maximum_filter1d(over.astype(float), round(0.5 * rate_hz))
    smooth = ndimage.uniform_filter1d(near, round(0.005 * rate_hz))
    return np.asarray(capture * 10 ** (apart_db * smooth[:, None] / 20))


def powerline(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """Data over the mains: bursts of 3 ms of noise above 8 kHz, about fourteen a second."""
    rng = own_chance(capture, 507)
    sos = signal.butter(4, np.array([8000, 20_000]) / (rate_hz / 2), "band", output="sos")
    noise, on = signal.sosfilt(sos, rng.standard_normal(capture.shape[0])), np.zeros(capture.shape[0])
    for at in rng.integers(0, capture.shape[0], round(14 * capture.shape[0] / rate_hz)).tolist():
        on[at : at + round(0.003 * rate_hz)] = 1
    return np.asarray(capture + (10 ** (level_dbfs / 20) / np.std(noise) / np.sqrt(2) * noise * on)[:, None])
