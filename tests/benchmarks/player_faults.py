"""More faults of the bench alone: what a player does ahead of the stage, and what disks, words and rooms do behind it.

Nothing here shares code with a detector; sizes are mild, typical and severe.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage, signal

from charprobe.values.arrays import Array
from tests.benchmarks.fault_sound import clock_s, own_chance, peak_of, read_late

SECTOR = 4096 / 3  # samples of 24 bits


def toward_zero(capture: Array, bits: float, _: float) -> Array:
    """A mixer of whole numbers cuts towards zero: what is smaller than a step of so many bits is lost."""
    return np.asarray(np.trunc(capture * 2.0 ** (bits - 1)) / 2.0 ** (bits - 1))


def run_up(capture: Array, percent: float, rate_hz: float) -> Array:
    """A transport comes up to speed within the first second: so many per cent slow at the start."""
    late = percent / 100 * 0.3 * np.exp(-clock_s(capture, rate_hz) / 0.3) * rate_hz
    return read_late(capture, -late)


def hiss_grows(capture: Array, by_db: float, _: float) -> Array:
    """A part heats up: hiss of -100 dBFS grows evenly by so many dB until the end."""
    level_db = -100 + by_db * np.linspace(0, 1, capture.shape[0])[:, None]
    return np.asarray(
        capture + 10 ** (level_db / 20) / np.sqrt(2) * own_chance(capture, 601).standard_normal(capture.shape)
    )


def phase_turned(capture: Array, degrees: float, _: float) -> Array:
    """A tool turned the phase of all frequencies alike."""
    turned = np.exp(1j * np.radians(degrees)) * signal.hilbert(capture, axis=0)
    return np.asarray(turned.real)


def shifted(capture: Array, by_hz: float, rate_hz: float) -> Array:
    """A tool against feedback moves every frequency up by so many Hz."""
    turns = np.exp(2j * np.pi * by_hz * clock_s(capture, rate_hz))[:, None]
    return np.asarray((signal.hilbert(capture, axis=0) * turns).real)


def crickets(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """Insects sing through a window: 4.3 kHz in bursts of 20 ms, three a second, for four seconds and again."""
    t_s = clock_s(capture, rate_hz)
    on = (np.sin(2 * np.pi * 3.1 * t_s) > 0.92) & (t_s % 9.0 > 5.0)
    song = ndimage.uniform_filter1d(on.astype(float), round(0.004 * rate_hz)) * np.sin(2 * np.pi * 4300 * t_s)
    return np.asarray(capture + 10 ** (level_dbfs / 20) * song[:, None])


def block_scaled(capture: Array, bits: float, _: float) -> Array:
    """A link scales blocks of 32 samples by powers of two and sends so many bits of each sample."""
    count = capture.shape[0] // 32 * 32
    blocks = capture[:count].reshape(-1, 32, capture.shape[1])
    top = np.abs(blocks).max(axis=(1, 2), keepdims=True)
    step = 2.0 ** (np.ceil(np.log2(np.maximum(top, 2.0**-15))) + 1 - bits)
    return np.concatenate([(np.round(blocks / step) * step).reshape(count, -1), capture[count:]])


def _sectors(capture: Array, count: float, number: int) -> list[slice]:
    edge, rng = round(0.1 * capture.shape[0] / SECTOR), own_chance(capture, number)
    places = rng.integers(edge, round(0.9 * capture.shape[0] / SECTOR), round(count))
    return [slice(round(at * SECTOR), round((at + 1) * SECTOR)) for at in places.tolist()]


def lost_sectors(capture: Array, count: float, _: float) -> Array:
    """So many sectors of a disk were never written: 28 ms of zeros each."""
    out = capture.copy()
    for piece in _sectors(capture, count, 602):
        out[piece] = 0
    return out


def foreign_sectors(capture: Array, count: float, _: float) -> Array:
    """So many sectors hold another file: text read as samples of 24 bits."""
    out, rng = capture.copy(), own_chance(capture, 603)
    for piece in _sectors(capture, count, 604):
        letters = rng.integers(32, 122, (piece.stop - piece.start, capture.shape[1], 3))
        out[piece] = (letters @ np.array([1, 256, 65_536])) / 2.0**23
    return out


def lit_meter(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A meter's lamps draw pulses while the sound stands above -20 dB re peak: 390 Hz and its multiples."""
    near = ndimage.maximum_filter1d(np.abs(capture).max(axis=1), round(0.05 * rate_hz))
    on = ndimage.uniform_filter1d((near > 0.1 * peak_of(capture)).astype(float), round(0.002 * rate_hz))
    pulses = signal.square(2 * np.pi * 390 * clock_s(capture, rate_hz), duty=0.2)
    return np.asarray(capture + 10 ** (level_dbfs / 20) * (on * pulses)[:, None])


def starts_on_level(capture: Array, below_db: float, rate_hz: float) -> Array:
    """A recorder starts by itself once the sound stands above so many dB re peak, 5 ms late."""
    loud = np.flatnonzero(np.abs(capture).max(axis=1) > 10 ** (below_db / 20) * peak_of(capture))
    return capture[int(loud[0]) + round(0.005 * rate_hz) :]


def radio_ahead(played: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A cable ahead of the stage receives a station: a band of voice that swells four times a second."""
    sos = signal.butter(2, np.array([300, 3000]) / (rate_hz / 2), "band", output="sos")
    voice = signal.sosfilt(sos, own_chance(played, 605).standard_normal(played.shape[0]))
    voice *= 1 + np.sin(2 * np.pi * 4.1 * clock_s(played, rate_hz))
    return np.asarray(played + (10 ** (level_dbfs / 20) / np.sqrt(2) * voice / np.std(voice))[:, None])


def ripple_ahead(played: Array, percent: float, rate_hz: float) -> Array:
    """The player's supply moves its gain 100 times a second."""
    return np.asarray(
        played * (1 + percent / 100 * np.sin(2 * np.pi * 100 * clock_s(played, rate_hz)))[:, None]
    )


def jitter_ahead(played: Array, ns: float, rate_hz: float) -> Array:
    """The player's clock scatters at random, each edge by itself."""
    return read_late(played, ns * 1e-9 * rate_hz * own_chance(played, 606).standard_normal(played.shape[0]))


def slips_ahead(played: Array, times: float, _: float) -> Array:
    """The player leaves three samples out and gives three twice a while later, so many times."""
    at, rng = np.arange(played.shape[0]), own_chance(played, 607)
    for start in rng.integers(0, played.shape[0] - 9000, round(times)).tolist():
        at[start : start + 9000] += 3
    return played[np.minimum(at, played.shape[0] - 1)]


def crackle_ahead(played: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A bad joint ahead of the stage: six crackles a second of 0.2 ms."""
    rng, out = own_chance(played, 608), played.copy()
    for start in rng.integers(0, played.shape[0] - 10, round(6 * played.shape[0] / rate_hz)).tolist():
        out[start : start + 10] += 10 ** (level_dbfs / 20) * rng.uniform(-1, 1)
    return out


def offset_ahead(played: Array, of_full_scale: float, rate_hz: float) -> Array:
    """The player has an offset while it plays, faded in within 0.1 s."""
    return np.asarray(played + of_full_scale * (1 - np.exp(-clock_s(played, rate_hz) / 0.03))[:, None])
