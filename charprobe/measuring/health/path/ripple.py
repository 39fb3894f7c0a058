"""Lines that a path lays on its gain or its clock: every tone swings by as much, whatever its level."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from charprobe.measuring.health.path.under_tones import turned_still
from charprobe.placing.take import Take, once
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array, Flags
from charprobe.values.fast_length import fast_length
from charprobe.values.hann import hann
from charprobe.values.phasor import phasor
from charprobe.values.wording import number_text

FROM_HZ, TO_HZ, STEP_HZ = 60.0, 2000.0, 5.0  # of a swing
MAINS_HZ, NEAR_HZ = (100.0, 120.0), 8.0
LEAST_SHARE = 5e-4  # of the gain: 0.004 dB moves no number
LEAST_S = 3e-9  # of the clock: less is below what a tone of 20 kHz shows
CLEAR, BESIDE_BINS = 5.0, 41  # times what the tones swing by at other frequencies
SAME = 1.3  # share of loud tones over that of quieter ones: a sound beside the tones adds unlike shares
SETTLED_FROM, BEFORE_END_S, LEAST_TONE_S = 0.3, 0.01, 0.08
LEAST_TONE_HZ = 400.0
TO_TONE = 0.85  # of a tone's own frequency: from there on its offset and its mirror sound
FEWEST = 4  # tones of one frequency
FOLDED_ORDER, FOLDED_NEAR_HZ = 30, 20.0  # harmonics folded at half the rate, as wide as short tones show
BLOCK_S, LEAST_BLOCKS = 0.016, 100  # in which the gain is read for slow swings
SLOW_FROM_HZ, SLOW_TO_HZ = 0.5, 28.0
SLOW_LEAST_DBFS = -50.0
MOST_LEFT = 0.5  # of the power of what the gain moves by that a slow swing leaves


@once
def check_ripple(bypass: Take) -> list[Health]:
    """Look for a gain that swings while the stage is off: ``hum`` with the mains, else ``level-drift``.

    A stage may swing by itself, so only a bypass is judged. Sound that hums beside a tone leaves as much at
    every level, a gain that swings leaves the same share of every tone.
    """
    found = _line(bypass, "gain", LEAST_SHARE) or _slow_line(bypass)
    if found is None:
        return []
    mains = min(abs(found.hz - mains_hz) for mains_hz in MAINS_HZ) < NEAR_HZ
    message = (
        f"With the stage off the gain swings by {number_text(100 * found.size, 2)} % at "
        f"{number_text(found.hz, 0 if found.hz > SLOW_TO_HZ else 1)} Hz ({bypass.label}): "
        f"{'ripple of a supply' if mains else 'nothing was turned'}. "
        "Short tones, noise beside a tone and fast attacks carry it. Try another supply or input, and "
        f"retake. {ALL_GIVEN}"
    )
    return [Health("hum" if mains else "level-drift", "warn", message, channel=bypass.channel)]


def _slow_line(take: Take) -> _Line | None:
    """A swing slower than tones are long, from the gain of all of them over the whole take.

    One sine explains most of what the gain of equal tones moves by; of a line near one tone, or of a worn
    contact, it does not.
    """
    times, gains = _blocks(take)
    if times.size < LEAST_BLOCKS:
        return None
    at = np.rint(times / BLOCK_S).astype(int)
    moves = np.bincount(at, gains)
    sizes = np.abs(np.fft.rfft(moves, count := fast_length(4 * moves.size)))
    hz = np.fft.rfftfreq(count, BLOCK_S)
    inside = np.flatnonzero((hz > SLOW_FROM_HZ) & (hz < SLOW_TO_HZ))
    swing_hz = float(hz[inside[np.argmax(sizes[inside])]])
    waves = np.stack([wave(2 * np.pi * swing_hz * times) for wave in (np.cos, np.sin)], axis=1)
    parts = np.linalg.lstsq(waves, gains, rcond=None)[0]
    left = float(np.var(gains - waves @ parts)) / max(float(np.var(gains)), 1e-30)
    size = float(np.hypot(*parts))
    return _Line(swing_hz, size) if size > LEAST_SHARE and left < MOST_LEFT else None


def _blocks(take: Take) -> tuple[Array, Array]:
    """Times within tones, in seconds, and the gain there over that of all tones of their kind."""
    rate_hz = take.stimulus.rate_hz
    size = round(BLOCK_S * rate_hz)
    window = hann(size)
    groups: dict[tuple[float, float], list[tuple[Array, Array]]] = {}
    for tone in take.single_tones():
        first, stop = tone.start + SETTLED_FROM * tone.length, tone.stop - BEFORE_END_S * rate_hz
        if tone.frequency_hz < LEAST_TONE_HZ or tone.level_dbfs < SLOW_LEAST_DBFS or stop - first < 2 * size:
            continue
        cut = take.cut(first, stop)
        count = cut.samples.size // size
        if not np.all(np.isfinite(cut.samples)):
            continue
        per_sample = tone.frequency_hz / rate_hz
        turns = phasor(per_sample * (cut.start - tone.start), per_sample * cut.step, count * size)
        heard = np.abs((cut.samples[: count * size] * turns.conj()).reshape(count, size) @ window)
        times = (cut.start + size * cut.step * (np.arange(count) + 0.5)) / rate_hz
        groups.setdefault((tone.frequency_hz, round(tone.level_dbfs, 3)), []).append((times, heard))
    whole = [tuple(np.concatenate(each) for each in zip(*found, strict=True)) for found in groups.values()]
    gains = [heard / max(float(heard.mean()), 1e-30) - 1 for _, heard in whole]
    empty = np.zeros(0)
    return np.concatenate([empty, *(times for times, _ in whole)]), np.concatenate([empty, *gains])


def check_clock_line(take: Take) -> list[Health]:
    """Look for a clock that is pulled to and fro evenly: code ``clock-drift``. No stage moves time itself."""
    found = _line(take, "clock", LEAST_S)
    if found is None:
        return []
    message = (
        f"The clock swings by {number_text(1e9 * found.size, 0)} ns at {found.hz:.0f} Hz ({take.label}): "
        "frames of a bus, or a converter that follows a bad clock. Lines beside tones, high harmonics and "
        f"treble carry it. Let the converter run on its own clock, and retake. {ALL_GIVEN}"
    )
    return [Health("clock-drift", "warn", message, channel=take.channel)]


@dataclass(frozen=True)
class _Line:
    """Frequency of a swing and its size: a share of the gain, or seconds."""

    hz: float
    size: float


def _line(take: Take, what: str, least: float) -> _Line | None:
    """The largest swing that all tones show alike; None if there is none."""
    spectra = _swings(take)
    hz: Array = FROM_HZ + STEP_HZ * np.arange(round((TO_HZ - FROM_HZ) / STEP_HZ) + 1.0)
    best: _Line | None = None
    usual, other, seen = np.full(hz.size, np.inf), np.full(hz.size, np.inf), np.zeros(hz.size, dtype=int)
    for tone_hz, tones in spectra.items():
        per = 1.0 if what == "gain" else 2 * np.pi * tone_hz
        sizes = np.array([gain if what == "gain" else clock for gain, clock in tones]) / per
        half = len(tones) // 2
        valid = hz < TO_TONE * tone_hz
        if what == "clock":
            valid &= ~_folded(tone_hz, hz, take.stimulus.rate_hz)
        usual[valid] = np.minimum(usual, np.median(sizes[:half], axis=0))[valid]
        other[valid] = np.minimum(other, np.median(sizes[half:], axis=0))[valid]
        seen += valid
    if not seen.any():
        return None
    usual, other = (np.where(seen, each, 0.0) for each in (usual, other))
    for at in np.flatnonzero(usual > least):
        around = usual[max(0, at - BESIDE_BINS) : at + BESIDE_BINS + 1]
        alike = 1 / SAME < other[at] / usual[at] < SAME
        if alike and usual[at] > CLEAR * float(np.median(around)) and (best is None or usual[at] > best.size):
            best = _Line(float(hz[at]), float(usual[at]))
    return best


def _folded(tone_hz: float, hz: Array, rate_hz: int) -> Flags:
    """Where harmonics that a digital stage folds at half the rate sound beside a tone: no swing of a path."""
    orders = tone_hz * np.arange(2, FOLDED_ORDER + 1)
    beside = np.abs(np.abs((orders + rate_hz / 2) % rate_hz - rate_hz / 2) - tone_hz)
    return np.asarray(np.min(np.abs(hz[:, None] - beside), axis=1) < FOLDED_NEAR_HZ)


@once
def _swings(take: Take) -> dict[float, list[tuple[Array, Array]]]:
    """By tone frequency, the loudest first: what the gain of each swings by, and its phase in radians."""
    tones = [tone for tone in take.single_tones() if tone.frequency_hz > LEAST_TONE_HZ]
    found: dict[float, list[tuple[Array, Array]]] = {}
    for tone in sorted(tones, key=lambda tone: -tone.level_dbfs)[: len(tones) // 2]:
        if (swing := _swing(take, tone)) is not None:
            found.setdefault(tone.frequency_hz, []).append(swing)
    return {hz: swings for hz, swings in found.items() if len(swings) >= FEWEST}


def _swing(take: Take, tone: Tone) -> tuple[Array, Array] | None:
    rate_hz = take.stimulus.rate_hz
    stop, size = tone.stop - BEFORE_END_S * rate_hz, round(rate_hz / STEP_HZ)
    cut = take.cut(max(tone.start + SETTLED_FROM * tone.length, stop - 0.99 * size), stop)
    if cut.samples.size < LEAST_TONE_S * rate_hz or not np.all(np.isfinite(cut.samples)):
        return None
    window = _window(cut.samples.size)
    turned = turned_still(cut, tone, window, rate_hz=rate_hz) * window
    whole = max(float(turned.real.sum()), 1e-30)
    first, last = round(FROM_HZ / STEP_HZ), round(TO_HZ / STEP_HZ)
    gain, phase = (
        2 * np.abs(np.fft.rfft(part, size))[first : last + 1] / whole for part in (turned.real, turned.imag)
    )
    return gain, phase


@lru_cache(maxsize=16)
def _window(count: int) -> Array:
    """Window of one tone; most are of a few lengths. Not to be changed."""
    return np.blackman(count)
