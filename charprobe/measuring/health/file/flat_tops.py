"""Flat tops: where a waveform stops at a ceiling instead of turning round."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.values.arrays import Array, Flags, Index

LEAST_SAMPLES = 3
FLAT = 1e-4  # of the ceiling: samples this close together are flat
GRAIN = 4.0  # times the noise: two samples of one ceiling seldom differ by more
STEEP = 8.0  # times that: the step into and out of a flat top; a smooth top cannot exceed 7
NEAR = 0.98  # of the highest value: where tops are looked for
FINE_STEP = 2.0**-14  # of a recorder whose top value is not met by chance
LEAST_CEILING = 2.0**-8  # -48 dBFS
LEAST_ALIKE = 3  # flat tops below full scale that must lie at one height within a stretch
LEAST_SHARE = 0.3  # of the samples at or above that height that must belong to them


@dataclass(frozen=True)
class FlatTops:
    """Flat tops on one side of the waveform within one stretch of a capture.

    Attributes
    ----------
    start, stop : int
        First sample of the first and sample after the last flat top, from the start of the capture.
    count, longest : int
        How many, and the samples of the longest.
    ceiling : float
        Where they lie, full scale = 1; negative on the lower side.
    """

    start: int
    stop: int
    count: int
    longest: int
    ceiling: float


def find_flat_tops(
    samples: Array, *, start: int, highest: float, step: float, noise: float
) -> FlatTops | None:
    """Find flat tops on the upper side of a stretch of one channel.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Finite, full scale = 1; turn the sign for the lower side.
    start : int
        Place of ``samples[0]`` in the capture.
    highest : float
        Highest value met in the capture so far; tops well below it are not looked at.
    step : float
        Distance between the values the recorder can tell apart.
    noise : float
        RMS of the capture where it is quietest.

    Notes
    -----
    A top is flat if at least three samples lie within a tolerance t of one another and the waveform falls by
    more than `STEEP` t on both sides. At full scale t is one `step`, elsewhere the larger of that and `FLAT`
    of the ceiling, or `GRAIN` times the noise. Samples of a sine near its top differ by d, d + c, d + 2c, ...
    with constant c: two differences within t leave the next within 3 t, and rounding adds at most 4 t, so
    clean tones never count, whatever frequency, phase and word length. Below full scale `LEAST_ALIKE` tops or
    more must lie within 2 t of one height and hold `LEAST_SHARE` of all samples there or higher: a ceiling
    holds most of them, tops made flat by chance do not. At full scale runs of one or two samples count too
    if they hold `LEAST_SHARE` of all samples above `NEAR`: of a tone that is not cut, 5 % do in 16 bits.
    Missed are other ceilings met for one or two samples only.
    """
    ceiling = float(np.max(samples, initial=0.0))
    if ceiling < LEAST_CEILING or ceiling < NEAR * highest:
        return None
    if ceiling >= 1 - 2 * step:
        first, last = _short_tops(samples, near=1 - 2 * step)  # long ones too: a cut treble has no others
        if first.size == 0 or step > FINE_STEP or ceiling > 1 + step:
            first, last = _flat_runs(samples, near=1 - 2 * step, flat=1.01 * step)
        if first.size:
            return _summed(samples, first, last, start)
    smooth = max(FLAT * ceiling, 1.01 * step)
    for flat in sorted({max(smooth, GRAIN * noise), smooth}, reverse=True):
        first, last = _flat_runs(samples, near=NEAR * ceiling, flat=flat)
        if first.size == 0:
            continue
        height = float(np.median(samples[first]))
        alike = np.abs(samples[first] - height) <= 2 * flat
        first, last = first[alike], last[alike]
        share = np.sum(last - first + 1) / np.count_nonzero(samples >= height - 2 * flat)
        if first.size >= LEAST_ALIKE and share >= LEAST_SHARE:
            return _summed(samples, first, last, start)
    return None


def _summed(samples: Array, first: Index, last: Index, start: int) -> FlatTops:
    return FlatTops(
        start=start + int(first[0]),
        stop=start + int(last[-1]) + 1,
        count=int(first.size),
        longest=int(np.max(last - first)) + 1,
        ceiling=float(np.median(samples[first])),
    )


def _runs(mask: Flags) -> tuple[Index, Index]:
    """First place of each run of true values, and the place after its last."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return edges[::2], edges[1::2]


def _short_tops(samples: Array, *, near: float) -> tuple[Index, Index]:
    """First and last sample of each run at full scale, however short, if most high samples lie in them."""
    top = samples >= near
    if np.count_nonzero(top) < LEAST_SHARE * np.count_nonzero(samples >= NEAR):
        return np.zeros(0, dtype=np.intp), np.zeros(0, dtype=np.intp)
    starts, stops = _runs(top)
    return starts, stops - 1


def _flat_runs(samples: Array, *, near: float, flat: float) -> tuple[Index, Index]:
    """First and last sample of each flat top at `near` or above that is steep on both sides."""
    level = np.abs(np.diff(samples)) <= flat
    level &= (samples[1:] >= near) & (samples[:-1] >= near)
    first, last = _runs(level)
    inside = (first > 0) & (last + 1 < samples.size) & (last - first + 1 >= LEAST_SAMPLES)
    first, last = first[inside], last[inside]
    fall = STEEP * flat
    steep = (samples[first] - samples[first - 1] > fall) & (samples[last] - samples[last + 1] > fall)
    steep &= np.abs(samples[first] - samples[last]) <= 2 * flat
    return first[steep], last[steep]
