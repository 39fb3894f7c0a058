"""Level steps: settled level, gain trace and harmonics of every step of a stepped tone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from charprobe.estimators.static.step_settling import judge_settling
from charprobe.estimators.tone import (
    MIN_PERIODS,
    ToneFit,
    common_offset,
    fit_tone,
    order_amplitudes,
    orders_in_band,
)
from charprobe.stimulus.kinds.segment import Segment, Tone
from charprobe.values.arrays import Array
from charprobe.values.cut import Cut
from charprobe.values.errors import SegmentTooShortError
from charprobe.values.quantity import DB_PER_NEPER, Quantity

Direction = Literal["rising", "falling"]

ORDERS, TRACE_ORDERS = 10, 4
GUARD_S = 0.01  # left out at the end of a step: fade-out, and look-ahead to the next step
LATE = 0.5  # the level is read from this share of the step on
SKIPPED = 0.3  # the trace for the settling verdict begins at this share of the step
MOST_WINDOWS, FEWEST_WINDOWS = 32, 6
WINDOW_S, WINDOW_PERIODS = 0.008, 4.0
LOUDEST = 6  # steps that the common frequency is fitted to
FINEST_DB = 1e-6  # a window is not trusted beyond this


@dataclass(frozen=True)
class Step:
    """One step: what was played and what came back.

    Attributes
    ----------
    tone : Tone
        The step as played.
    direction : {"rising", "falling"}
        Whether the level was stepping up or down; the top step counts as rising.
    fit : ToneFit
        Tone and harmonics over the late part of the step.
    level_dbfs, std_db : float
        Level the step settles at and its standard uncertainty; extrapolated where the gain still moved.
    remaining_db : float
        How far the level still had to go, in dB; the part of `level_dbfs` that is extrapolation.
    settled : bool
        Whether less than 0.01 dB was left to go.
    """

    tone: Tone
    direction: Direction
    fit: ToneFit
    level_dbfs: float
    std_db: float
    remaining_db: float
    settled: bool

    @property
    def odd_share(self) -> float:
        """Third harmonic over fundamental, as an amplitude ratio; 0 if it lies outside the band."""
        return _ratio(self.fit, (3,))


@dataclass(frozen=True)
class LevelStepsFit:
    """All readable steps of one segment, in playing order, and the levels that lay hidden in noise."""

    frequency_hz: float
    steps: tuple[Step, ...]
    hidden_dbfs: tuple[float, ...]


def measure_level_steps(segment: Segment, cut: Cut) -> LevelStepsFit:
    """Measure every step of a `level_steps` segment.

    Parameters
    ----------
    segment : Segment
        Its tones follow each other without a gap and share one frequency and length.
    cut : Cut
        What came back, at least the stretch of the segment; steps outside it are left out.

    Returns
    -------
    LevelStepsFit
        Empty `steps` if no step rises above the noise.

    Raises
    ------
    SegmentTooShortError
        If a step holds too few periods.
    """
    tones = [tone for tone in segment.tones if _inside(tone, cut)]
    if not tones:
        return LevelStepsFit(segment.tones[0].frequency_hz, (), ())
    frequency_hz = _frequency(tones, cut)
    fits = [_fit(tone, cut, frequency_hz) for tone in tones]
    readable = [i for i, fit in enumerate(fits) if isinstance(fit.level(1), Quantity)]
    hidden = tuple(tone.level_dbfs for i, tone in enumerate(tones) if i not in readable)
    if not readable:
        return LevelStepsFit(frequency_hz, (), hidden)
    top = max(range(len(tones)), key=lambda i: tones[i].level_dbfs)
    steps = _steps(
        [tones[i] for i in readable], [fits[i] for i in readable], cut, frequency_hz, tones[top].start
    )
    return LevelStepsFit(frequency_hz, steps, hidden)


def _steps(
    tones: Sequence[Tone], fits: Sequence[ToneFit], cut: Cut, frequency_hz: float, top: int
) -> tuple[Step, ...]:
    edges_s, trace = _trace(tones, cut, frequency_hz)
    length_s = tones[0].length / cut.rate_hz
    window = (edges_s[1] - edges_s[0]) * cut.rate_hz / cut.step
    late = edges_s[:-1] >= LATE * length_s - 1e-9
    relative = np.array([float(fit.stds[0] / abs(fit.amplitudes[0])) for fit in fits])
    counts = np.array([_late(tone, cut).samples.size for tone in tones])
    std_db = np.maximum(DB_PER_NEPER * relative * np.sqrt(counts / window), FINEST_DB)
    used = edges_s[:-1] >= SKIPPED * length_s - 1e-9
    verdict = judge_settling(
        trace[:, used],
        edges_s=edges_s[np.append(used, True)],
        std_db=np.maximum(std_db, _roughness(trace[:, used])),
        late_from_s=float(edges_s[:-1][late][0]),
        step_s=length_s,
    )
    steps = []
    for i, (tone, fit) in enumerate(zip(tones, fits, strict=True)):
        level = DB_PER_NEPER * math.log(abs(fit.amplitudes[0])) + float(verdict.remaining_db[i])
        std = math.hypot(DB_PER_NEPER * float(relative[i]), float(verdict.remaining_std_db[i]))
        direction: Direction = "rising" if tone.start <= top else "falling"
        remaining, settled = float(verdict.remaining_db[i]), bool(verdict.settled[i])
        steps.append(Step(tone, direction, fit, level, std, remaining, settled))
    return tuple(steps)


def _trace(tones: Sequence[Tone], cut: Cut, frequency_hz: float) -> tuple[Array, Array]:
    """Level of each step in successive windows: window borders in s from the step's start, levels (k, m)."""
    per_sample = frequency_hz * cut.step / cut.rate_hz
    first = tones[0].ramp + 1
    room = int((tones[0].length - first - GUARD_S * cut.rate_hz) / cut.step)
    orders = orders_in_band(per_sample, rate_hz=1.0, orders=TRACE_ORDERS)
    least = max(WINDOW_S * cut.rate_hz, WINDOW_PERIODS / per_sample, 4.0 * (2 * orders + 2))
    count = min(MOST_WINDOWS, int(room / least))
    if count < FEWEST_WINDOWS:  # few long periods: as many windows as two periods allow
        count, orders = min(FEWEST_WINDOWS, int(room * per_sample / MIN_PERIODS)), 1
    if count < FEWEST_WINDOWS:
        needed = FEWEST_WINDOWS * MIN_PERIODS / frequency_hz + GUARD_S + first / cut.rate_hz
        raise SegmentTooShortError(found_s=tones[0].length / cut.rate_hz, needed_s=needed)
    size = room // count
    begins = np.array([math.ceil((tone.start + first - cut.start) / cut.step) for tone in tones])
    rows = cut.samples[begins[:, None] + np.arange(size * count)].reshape(-1, size)
    amplitudes = order_amplitudes(rows, cycles_per_sample=per_sample, orders=orders)[:, 0]
    levels = DB_PER_NEPER * np.log(np.maximum(amplitudes, 1e-12)).reshape(len(tones), count)
    edges_s = (first + size * cut.step * np.arange(count + 1)) / cut.rate_hz
    return np.asarray(edges_s, dtype=np.float64), np.asarray(levels)


def _roughness(trace: Array) -> Array:
    """Scatter of one window about a smooth course, from third differences; shape (k,)."""
    third = np.diff(trace, n=3, axis=1)
    return np.asarray(
        np.sqrt(np.mean(third**2, axis=1) / 20.0)
    )  # binomial weights 1, 3, 3, 1 squared add up to 20


def _fit(tone: Tone, cut: Cut, frequency_hz: float) -> ToneFit:
    late = _late(tone, cut)
    return fit_tone(
        late, frequency_hz=frequency_hz, phase_origin=float(tone.start), orders=ORDERS, refine=False
    )


def _late(tone: Tone, cut: Cut) -> Cut:
    return cut.between(tone.start + LATE * tone.length, tone.stop - GUARD_S * cut.rate_hz)


def _inside(tone: Tone, cut: Cut) -> bool:
    return cut.start <= tone.start + tone.ramp and cut.start + cut.step * cut.samples.size >= tone.stop


def _frequency(tones: Sequence[Tone], cut: Cut) -> float:
    """Frequency all steps share, fitted to the loudest of them."""
    loudest = sorted(tones, key=lambda tone: -tone.level_dbfs)[:LOUDEST]
    nominal = tones[0].frequency_hz
    offset = common_offset(
        [_late(tone, cut) for tone in loudest],
        frequencies_hz=[nominal] * len(loudest),
        phase_origins=[float(tone.start) for tone in loudest],
        orders=1,
    )
    bin_hz = cut.rate_hz / (tones[0].length * (1 - LATE))
    return nominal * (1 + offset) if abs(offset) * nominal < bin_hz / 2 else nominal


def _ratio(fit: ToneFit, orders: Sequence[int]) -> float:
    """Root sum of squares of some orders over the fundamental, noise taken off."""
    chosen = [n - 1 for n in orders if n <= fit.orders]
    power = np.abs(fit.amplitudes[chosen]) ** 2 - 2 * fit.stds[chosen] ** 2
    return math.sqrt(max(0.0, float(power.sum()))) / float(abs(fit.amplitudes[0]))
