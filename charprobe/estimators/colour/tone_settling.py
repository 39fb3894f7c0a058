"""Whether the gain had settled while each tone of a run was read."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.estimators.static.step_settling import judge_settling
from charprobe.estimators.tone import MIN_PERIODS, order_amplitudes, orders_in_band
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array
from charprobe.values.cut import Cut
from charprobe.values.quantity import DB_PER_NEPER

SKIPPED = 0.3  # the trace begins at this share of a tone
WINDOW_S = 0.008
MOST_WINDOWS, FEWEST_WINDOWS = 16, 4
TRACE_ORDERS = 10  # an order left out of a window would beat with its place and pass for movement
FINEST_DB = 1e-5  # a window is not trusted beyond this
MODEL_SHARE = 0.25  # of what was left to go, by which a law of its own may miss it
SETTLED_DB = 0.05  # with less to go, interval included, harmonics are as good as settled


@dataclass(frozen=True)
class ToneSettling:
    """What was left to go when a tone was read: where its level was heading, and how far it may have been.

    `doubt_db` covers `remaining_db` and its 95 % interval; it is 0 where nothing moved. `std_db` is the
    standard uncertainty of where the level was heading, with what noise may have hidden.
    """

    remaining_db: float
    doubt_db: float
    std_db: float


AT_REST = ToneSettling(0.0, 0.0, 0.0)


def judge_tones(
    cut: Cut, *, tones: Sequence[Tone], noise_db: Array, late_share: float, edge_s: float
) -> list[ToneSettling]:
    """Judge every tone of a run by its own level trace.

    Parameters
    ----------
    cut : Cut
        Capture of the whole run.
    tones : sequence of Tone
        Tones that lie in it whole; those of one frequency and length are judged together, in playing order.
    noise_db : ndarray, shape (tones,)
        Standard uncertainty of each tone's level over one second, in dB.
    late_share, edge_s : float
        Share of a tone from which its harmonics are read, and the time before its end that is left out.

    Notes
    -----
    Windows hold two periods or 8 ms at least. A tone that holds fewer than four of them is not judged.
    """
    groups: dict[tuple[float, int], list[int]] = defaultdict(list)
    for i, tone in enumerate(tones):
        groups[tone.frequency_hz, tone.length].append(i)
    found = [AT_REST] * len(tones)
    for members in groups.values():
        for i, one in zip(
            members,
            _judged(cut, [tones[i] for i in members], noise_db[members], late_share, edge_s),
            strict=True,
        ):
            found[i] = one
    return found


def _judged(
    cut: Cut, tones: Sequence[Tone], noise_db: Array, late_share: float, edge_s: float
) -> list[ToneSettling]:
    rate_hz, tone = cut.rate_hz / cut.step, tones[0]
    per_sample = tone.frequency_hz / rate_hz
    first = max(SKIPPED * tone.length, 2 * tone.ramp) / cut.step
    room = int(tone.length / cut.step - first - edge_s * rate_hz)
    orders = orders_in_band(per_sample, rate_hz=1.0, orders=TRACE_ORDERS)
    least = max(WINDOW_S * rate_hz, MIN_PERIODS / per_sample + 1, 4.0 * (2 * orders + 2))
    count = min(MOST_WINDOWS, int(room / least))
    if count < FEWEST_WINDOWS:
        return [AT_REST] * len(tones)
    size = _whole_periods(room // count, per_sample)
    begins = np.array([math.ceil((one.start - cut.start) / cut.step + first) for one in tones])
    rows = cut.samples[begins[:, None] + np.arange(size * count)].reshape(-1, size)
    sizes = order_amplitudes(rows, cycles_per_sample=per_sample, orders=orders)[:, 0]
    trace = DB_PER_NEPER * np.log(np.maximum(sizes, 1e-12)).reshape(len(tones), count)
    edges_s: Array = (first + size * np.arange(count + 1, dtype=np.float64)) / rate_hz
    rough = np.sqrt(np.mean(np.diff(trace, n=3, axis=1) ** 2, axis=1) / 20) if count > 4 else 0.0
    std_db = np.maximum(np.maximum(noise_db / np.sqrt(size / rate_hz), rough), FINEST_DB)
    late_from_s = min(float(edges_s[-3]), late_share * tone.length / cut.rate_hz)
    apart_s = np.diff([one.start for one in tones]).min(initial=tone.length * len(tones)) / cut.rate_hz
    verdict = judge_settling(
        trace, edges_s=edges_s, std_db=std_db, late_from_s=late_from_s, step_s=float(apart_s)
    )
    left, unsure = np.abs(verdict.remaining_db), verdict.remaining_std_db
    hidden = std_db * math.sqrt(12 / count)  # standard uncertainty of a straight movement over the trace
    stds = np.hypot(np.hypot(unsure, MODEL_SHARE * left), np.where(verdict.moving, 0.0, hidden))
    doubts = np.where(verdict.moving, left + 2 * unsure, left)
    return [ToneSettling(*map(float, row)) for row in zip(verdict.remaining_db, doubts, stds, strict=True)]


def _whole_periods(size: int, per_sample: float) -> int:
    """The longest stretch up to a size that holds whole periods, to the nearest sample: orders stay apart."""
    periods = max(MIN_PERIODS, math.floor(size * per_sample))
    return min(size, math.floor(periods / per_sample + 0.5))
