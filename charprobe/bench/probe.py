"""What one input heard of one step of the level probe."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.fft import irfft, rfft

from charprobe.bench.probe_sound import RAMP_S, TONE_HZ, TONE_S, ProbePlan, sweep
from charprobe.values.arrays import Array

HEARD_DB = 12.0  # a tone this far above the noise is there
FOUND = 8.0  # a sweep so many times the rms of what else correlates: noise reaches 5 in a second
BESIDE_DB = 30.0  # an output that an input hears so much softer than another comes by crosstalk
FLAT_RUN = 3  # equal samples at the top of a wave: it is cut off
NOISE_HZ = ((300.0, 800.0), (1200.0, 1800.0), (2200.0, 2800.0))  # beside the tone and its harmonics
LEAST_NOISE_DBFS = -130.0  # less beside a tone is rounding: silence may well be exact
LOWEST_DBFS = -180.0


@dataclass(frozen=True)
class ChannelProbe:
    """What one input heard of one step; levels in dBFS, a full-scale sine is 0.

    Attributes
    ----------
    channel : int
        Number of the input among those recorded, from 1.
    peak_dbfs, noise_dbfs : float
        Largest sample of the whole step; noise of the silence before it.
    gain_db, delay_s : float or None
        Of the tone and of the sweep; None where the step is not heard.
    polarity : int
        1, or -1 where the path inverts.
    clipped : bool
        Whether tops of the tone are flat, or full scale is reached.
    moved_db : float
        Gain of the tone's second half over that of its first.
    sweep_db, held_db : float
        Gain of the first sweep, and of the one after tone and burst over it: what holds a gain down shows.
    hears : tuple of int
        Outputs that are heard, by their place among those played to.
    muted_db : float
        Noise beside the tone over that of silence; 0 where the one is mere rounding.
    """

    channel: int
    peak_dbfs: float
    noise_dbfs: float
    gain_db: float | None
    delay_s: float | None
    polarity: int
    clipped: bool
    moved_db: float
    sweep_db: float
    held_db: float
    hears: tuple[int, ...]
    muted_db: float


@dataclass(frozen=True)
class _Arrival:
    """A sweep that came back: samples late, and its size over the one played, negative where inverted."""

    delay: int
    size: float


def read_probe(came: Array, level_dbfs: float, plan: ProbePlan) -> tuple[ChannelProbe, ...]:
    """Read what came back of `probe_sound`; `came` has shape (n, channels), n at least that of the sound."""
    return tuple(_channel(came[:, index], index + 1, level_dbfs, plan) for index in range(came.shape[1]))


def _channel(came: Array, channel: int, level_dbfs: float, plan: ProbePlan) -> ChannelProbe:
    """Read one input of one step."""
    came, rate_hz = np.asarray(came, dtype=np.float64), plan.rate_hz
    before = [_arrival(came, start, plan) for start in plan.before]
    after = [_arrival(came, start, plan) for start in plan.after]
    loudest = max((abs(one.size) for one in before if one), default=0.0)
    least = loudest * 10 ** (-BESIDE_DB / 20)
    hears = tuple(index for index, one in enumerate(before) if one and abs(one.size) > least)
    nearest = next((index for index in hears if abs(_size(before[index])) == loudest), None)
    first = None if nearest is None else before[nearest]
    last = None if nearest is None else after[nearest]
    quiet = came[: round(0.8 * plan.rest)]
    start, ramp = plan.tone + (first.delay if first else 0), round(2 * RAMP_S * rate_hz)
    held = came[start + ramp : start + round(TONE_S * rate_hz) - ramp]
    level = _tone_dbfs(held, rate_hz)
    heard = first is not None and level > _tone_dbfs(quiet, rate_hz) + HEARD_DB
    half = len(held) // 2
    moved = _tone_dbfs(held[half:], rate_hz) - _tone_dbfs(held[:half], rate_hz) if heard else 0.0
    peak = float(np.abs(came).max(initial=0.0))
    beside = _noise_dbfs(held, rate_hz)
    return ChannelProbe(
        channel=channel,
        peak_dbfs=_db(peak),
        noise_dbfs=_db(float(np.sqrt(2 * np.var(quiet)))),
        gain_db=level - level_dbfs if heard else None,
        delay_s=first.delay / rate_hz if heard and first else None,
        polarity=-1 if _size(first) < 0 else 1,
        clipped=_is_cut(held, peak),
        moved_db=moved,
        sweep_db=_db(loudest),
        held_db=_db(abs(_size(last))) - _db(loudest) if heard and last else 0.0,
        hears=hears,
        muted_db=beside - _noise_dbfs(quiet, rate_hz) if heard and beside > LEAST_NOISE_DBFS else 0.0,
    )


def _size(one: _Arrival | None) -> float:
    return one.size if one else 0.0


def _db(size: float) -> float:
    return float(20 * np.log10(max(size, 1e-9)))


def _arrival(came: Array, start: int, plan: ProbePlan) -> _Arrival | None:
    """Find a sweep that was played at `start`; None where it is not heard before the next sound."""
    played = sweep(plan.rate_hz)
    came = came[start : start + len(played) + plan.rest]
    count = len(came) + len(played)
    match = irfft(rfft(came, count) * np.conj(rfft(played, count)), count)[: plan.rest]
    if not len(came):
        return None
    at = int(np.argmax(np.abs(match)))
    rest = np.delete(match, slice(max(0, at - len(played)), at + len(played)))
    if not len(rest) or np.abs(match[at]) <= FOUND * np.sqrt(np.mean(rest**2)):
        return None
    return _Arrival(at, float(match[at] / (played @ played)))


def _tone_dbfs(samples: Array, rate_hz: int) -> float:
    """Level of the tone in a stretch of sound."""
    turns = np.exp(-2j * np.pi * TONE_HZ / rate_hz * np.arange(len(samples))) * np.hanning(len(samples))
    size = 2 * np.abs(samples @ turns) / max(np.hanning(len(samples)).sum(), 1e-9)
    return _db(float(size))


def _noise_dbfs(samples: Array, rate_hz: int) -> float:
    """Level that white noise would have which is as dense as the sound beside tone and harmonics."""
    window = np.hanning(len(samples)) ** 2
    power = np.abs(rfft(samples * window)) ** 2 / max(float((window**2).sum()), 1e-9)
    frequency = np.arange(len(power)) * rate_hz / max(len(samples), 1)
    chosen = np.zeros(len(power), dtype=bool)
    for low, high in NOISE_HZ:
        chosen |= (frequency >= low) & (frequency <= high)
    mean = float(np.median(power[chosen])) / np.log(2) if chosen.any() else 0.0  # of exponential scatter
    return float(10 * np.log10(max(2 * mean, 10 ** (LOWEST_DBFS / 10))))


def _is_cut(held: Array, peak: float) -> bool:
    """Whether the tops of a wave are flat."""
    if peak < 10 ** (-40 / 20):
        return False
    tops = np.abs(held) >= np.abs(held).max(initial=0.0) * (1 - 1e-6)
    runs = np.convolve(tops, np.ones(FLAT_RUN), "valid")
    return bool(peak >= 0.9999 or (runs >= FLAT_RUN).sum() >= 4)
