"""The gain of a stage at every sample around a level step, from bursts repeated at other carrier phases."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.estimators.timing.trace.carrier_means import CALM_PERIODS, half_period_means
from charprobe.estimators.timing.trace.coupling import find_coupling, undo_coupling
from charprobe.estimators.timing.trace.dry_reference import (
    VISIBLE,
    WIDTH,
    BesideEdge,
    DryReference,
    beside_edge,
    bypass_reference,
    stimulus_reference,
)
from charprobe.estimators.timing.trace.first_burst import fills, first_apart, like_first
from charprobe.estimators.timing.trace.gain_trace import GainTrace
from charprobe.estimators.timing.trace.look_ahead import looks_ahead_s
from charprobe.estimators.timing.trace.phase_set import (
    Burst,
    CarrierFit,
    CarrierGain,
    NoCarrierError,
    amplitude,
    carriers_around,
    fit_carrier,
    nearest,
    solve_edge,
    usable_stop,
)
from charprobe.estimators.timing.trace.scatter import scatter
from charprobe.estimators.timing.trace.trace_blocks import Blocks, calm_blocks, plain_blocks
from charprobe.estimators.timing.trace.trace_noise import far_points, point_noise, ripple_db, turning
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array, Index
from charprobe.values.cut import Cut
from charprobe.values.edge import Edge
from charprobe.values.errors import SegmentTooShortError
from charprobe.values.median import median_over
from charprobe.values.quantity import DB_PER_NEPER

BEFORE_S = 0.3  # how far before an edge the trace reaches at most
SMEAR_SHARE = 0.1  # the division by the smeared reference is trusted to a tenth of what it corrects, in dB
AHEAD_S = 0.012  # before an edge, within which a stage that looks ahead may move
BESIDE = 8  # samples beside an edge that its noise and residue are not judged by
EVEN_LIMIT = 1e-3  # carrier-periodic residue of the gain (0.009 dB) that half-period means remove


def trace_edges(wet: Cut, *, bursts: Sequence[Burst], bypass: Cut | None) -> tuple[GainTrace, GainTrace]:
    """Measure the gain around the rising and the falling edge of a phase set of bursts.

    Parameters
    ----------
    wet : Cut
        The capture of the stage, holding all of `bursts`.
    bursts : sequence of Burst
        Repetitions of one burst (same lengths, levels and carrier) at other carrier phases, at least one.
    bypass : Cut or None
        The same stretch with the stage off. Without it the stimulus itself, band-limited, is the reference,
        and levels are those of the stimulus.

    Returns
    -------
    tuple of GainTrace
        Attack and release.

    Raises
    ------
    SegmentTooShortError
        If the cut does not hold the bursts, or a tone is shorter than four carrier periods.

    Notes
    -----
    With the carrier ``x_k`` of repetition ``k`` advanced by pi/K, ``sum x_k**2`` is constant, so
    ``g = sum x_k y_k / sum x_k**2`` is the gain at every sample, without a window. Captures are not
    resampled: each repetition gives its sample nearest in stimulus time, and the carrier is evaluated at
    exactly that sample's position, its phase fitted where the gain is constant; the time of a point is the
    ``x_k**2`` weighted mean. Beside the edge capture and dry reference are both seen through the same
    Gaussian of one sample, which can be read at any position, and divided, so that converter filters do
    not smear the edge. What is measured is the gain of the fundamental, weighted with the square of the
    signal. A single repetition (K = 1) is solved over one carrier period around each point, and
    `resolution_s` says so. AC coupling is undone beside the edges: see `find_coupling`. From eight periods
    after the edge on points are means over whole carrier periods. Even-order products leave a residue at the
    carrier frequency unless the phases fill the whole circle: where it shows, the points nearer to the edge
    are means of two, half a period apart. Where the gain moves before its edge, it moves before the next
    edge, too: records end there.

    Examples
    --------
    >>> from charprobe.estimators.timing.trace.phase_set import bursts_of
    >>> def tone(start, stop, dbfs):
    ...     return Tone(start, stop - start, 4000.0, dbfs, 0.0, 0, 0)
    >>> bursts = bursts_of([tone(0, 2400, -26), tone(2400, 7200, -6), tone(7200, 9600, -26)])
    >>> t = np.arange(9600)
    >>> level = np.where((t >= 2400) & (t < 7200), 10 ** (-6 / 20), 10 ** (-26 / 20))
    >>> cut = Cut(0.5 * level * np.cos(2 * np.pi * 4000 / 48e3 * t), 0.0, 1.0, 48e3)
    >>> attack, release = trace_edges(cut, bursts=bursts, bypass=None)
    >>> round(float(attack.gain_db[-1]), 3)
    -6.021
    """
    _require(wet, bursts)
    if bypass is None:
        dry = stimulus_reference(bursts, rate_hz=wet.rate_hz)
    else:
        _require(bypass, bursts)
        dry = bypass_reference(_uncoupled(bypass, bursts), bursts, carrier=fit_carrier(bypass, bursts))
    carrier, wet = fit_carrier(wet, bursts), _uncoupled(wet, bursts)
    lead, hold, tail = dry.carrier.gains
    attack = _EdgePairs("attack", [(b.lead, b.hold) for b in bursts], dry.attack, (lead, hold))
    release = _EdgePairs("release", [(b.hold, b.release) for b in bursts], dry.release, (hold, tail))
    found = _trace(attack, wet, carrier, dry), _trace(release, wet, carrier, dry)
    ahead_s = max(looks_ahead_s(each.time_s, each.gain_db, each.std_db) for each in found)
    return (found[0].until_next(ahead_s), found[1].until_next(ahead_s)) if ahead_s else found


def _uncoupled(cut: Cut, bursts: Sequence[Burst]) -> Cut:
    corner = find_coupling(cut, bursts)
    return undo_coupling(cut, bursts, corner_rad_per_s=corner) if corner else cut


@dataclass(frozen=True)
class _EdgePairs:
    name: Edge
    pairs: Sequence[tuple[Tone, Tone]]
    pieces: Sequence[Cut]
    dry_gains: tuple[float, float]


def _require(cut: Cut, bursts: Sequence[Burst]) -> None:
    if not bursts:
        raise ValueError("a gain trace needs at least one burst")
    first, last = bursts[0].lead.start, usable_stop(bursts[-1].release, last=True, rate_hz=cut.rate_hz)
    end = cut.start + cut.step * cut.samples.size
    begun = bursts[0].hold.start - 0.6 * bursts[0].lead.length
    if cut.start > begun or end < last:
        found = max(0.0, min(end, last) - max(cut.start, first))
        raise SegmentTooShortError(found_s=found / cut.rate_hz, needed_s=(last - first) / cut.rate_hz)


def _trace(edge: _EdgePairs, wet: Cut, carrier: CarrierFit, dry: DryReference) -> GainTrace:
    before, after = edge.pairs[0]
    rate_hz, single = wet.rate_hz, len(edge.pairs) == 1
    period = rate_hz / after.frequency_hz / wet.step
    samples, offsets, grid = _around(edge, wet)
    carriers = carriers_around(
        edge.pairs, offsets, grid=grid, step=wet.step, rate_hz=rate_hz, carrier=carrier
    )
    solved = solve_edge(samples, carriers)
    near = grid[np.abs(grid) <= dry.reach]
    beside = beside_edge(
        wet, edge.pieces, edge.pairs, carriers=(carrier, dry.carrier), offsets=offsets, grid=near
    )
    phase_rad = np.array([tone.phase_rad for _, tone in edge.pairs])
    apart = scatter(
        samples, carriers, solved=solved, beside=beside, near=near, dry=edge.dry_gains, phase_rad=phase_rad
    )
    rows, split = _over_reference(edge, solved, beside, near), -int(grid[0])
    smear_db, smeared = _smear(beside, near, edge)
    least = min(float(median_over(side, axis=0)) for side in (rows[1, :split], rows[1, split:]))
    if least <= 0:  # the carrier does not hold its phase to the stimulus
        raise NoCarrierError(level_dbfs=min(before.level_dbfs, after.level_dbfs))
    span, window = (period, period) if single else (1.0, math.sqrt(12) * WIDTH)
    far = solved.gain.real[: split - BESIDE], solved.gain.real[: split + BESIDE : -1]
    doubt = np.stack([1 / np.maximum(np.abs(solved.gain[near + split]), 1e-9), smear_db])
    if single:
        blocks = plain_blocks(rows, split)
    else:
        half, calm = (math.ceil(part * CALM_PERIODS * period) for part in (0.5, 1.0))
        heard = (*map(far_points, far), solved.gain.real[split + half : split + calm])
        even = max(turning(points, period=period) for points in heard) > EVEN_LIMIT
        if even:
            span, window, middle = period / 2, math.sqrt(12) * period / 4, int(near.searchsorted(0))
            early = slice(max(0, middle - calm + 1), middle + calm)
            doubt[:, early] = half_period_means(doubt, middle, near=early, period=period)
        blocks = calm_blocks(rows, split, period=period, ahead=AHEAD_S * rate_hz, even=even)
    # points of a trace solved over whole periods share their noise within a period
    noise = [point_noise(side, period=period) for side in far]
    std_db = _std_db(blocks, near + split, doubt, noise=noise, shared=period if single else 1.0, edge=edge)
    kept = blocks.means[1] > 0.05 * least
    (time_s, gain, aside), std_db = blocks.means[:, kept], std_db[kept]
    gain_db, turn_db = DB_PER_NEPER * np.log(gain), DB_PER_NEPER * np.log(np.hypot(1.0, aside / gain))
    change_db = float(np.median(gain_db[time_s >= 0]) - np.median(gain_db[time_s < 0]))
    before_db = np.interp(apart.before_s, time_s, gain_db)
    filling = fills(apart)
    first = first_apart(apart, edge=edge.name, change_db=change_db, before_db=before_db)
    if first is not None:
        gain_db, apart = gain_db + first.at(time_s), like_first(apart, first)
        std_db = np.hypot(std_db, first.noise_at(time_s))
    return GainTrace(
        edge.name,
        time_s,
        gain_db,
        std_db,
        turn_db,
        resolution_s=math.hypot(span, smeared) * wet.step / rate_hz,
        sample_s=wet.step / rate_hz,
        window_s=window * wet.step / rate_hz,
        calm_s=CALM_PERIODS / after.frequency_hz,
        calm_window_s=(period if single else math.sqrt(12) * WIDTH) * wet.step / rate_hz,
        carrier_hz=after.frequency_hz,
        from_dbfs=before.level_dbfs + DB_PER_NEPER * math.log(edge.dry_gains[0]),
        to_dbfs=after.level_dbfs + DB_PER_NEPER * math.log(edge.dry_gains[1]),
        scatter=apart,
        first=first,
        fills=filling and first is None,
        ripple_db=ripple_db(solved.gain.real[split:], period=period),
    )


def _around(edge: _EdgePairs, wet: Cut) -> tuple[list[Array], list[float], Index]:
    """Samples of each repetition around an edge, how far they lie after it, and their grid from it on."""
    before, after = edge.pairs[0]
    first = -int(min(0.6 * before.length, BEFORE_S * wet.rate_hz) / wet.step)
    stop = usable_stop(after, last=edge.name == "release", rate_hz=wet.rate_hz) - after.start
    grid: Index = np.arange(first, int(stop / wet.step) - 1)
    places = [nearest(wet, tone.start) for _, tone in edge.pairs]
    samples = [wet.samples[i + first : i + first + grid.size] for i, _ in places]
    return samples, [offset for _, offset in places], grid


def _over_reference(edge: _EdgePairs, solved: CarrierGain, beside: BesideEdge, near: Index) -> Array:
    """Time, in-phase gain and its quadrature part as rows, divided by the dry reference.

    Within the reference's reach of the edge that is done sample by sample.
    """
    split = -int(solved.grid[0])
    rows = np.empty((3, solved.grid.size))
    rows[0] = solved.time_s
    for side, dry in zip((slice(0, split), slice(split, None)), edge.dry_gains, strict=True):
        rows[1, side], rows[2, side] = solved.gain.real[side] / dry, solved.gain.imag[side] / dry
    rows[1, near + split], rows[2, near + split] = beside.ratio.real, beside.ratio.imag
    return rows


def _std_db(
    blocks: Blocks, at: Index, doubt: Array, *, noise: Sequence[float], shared: float, edge: _EdgePairs
) -> Array:
    """Standard uncertainty of each block's gain: noise beside the sound that there is, and smear.

    `noise` is that of a point on either side of the edge; `doubt` tells of each column `at` near it, where
    the path smears the sound, noise for one of 1, and smear in dB. `shared` points share their noise.
    """
    before = blocks.starts < blocks.split
    _, gain, aside = blocks.means
    relative = 1 / np.maximum(np.hypot(gain, aside) * np.where(before, *edge.dry_gains), 1e-9)
    holding, smear_db = np.searchsorted(blocks.starts, at, side="right") - 1, np.zeros(gain.size)
    relative[holding] = doubt[0]
    np.maximum.at(smear_db, holding, doubt[1])
    relative *= np.where(before, *noise) / np.sqrt(np.maximum(1, blocks.counts / shared))
    return np.asarray(np.hypot(DB_PER_NEPER * relative, SMEAR_SHARE * smear_db))


def _smear(beside: BesideEdge, near: Index, edge: _EdgePairs) -> tuple[Array, float]:
    """How the reference smears the edge: in dB at each point near it, and over how many samples.

    Those miss an ideal step by more than a tenth of it.
    """
    low, high = (amplitude(tone) for tone in edge.pairs[0])
    seen = beside.reference / np.where(near < 0, *edge.dry_gains)
    off = np.abs(seen - 1) * np.where(near < 0, low, high) / abs(high - low)
    smear_db = np.abs(DB_PER_NEPER * np.log(np.maximum(np.abs(seen), 1e-3)))
    return smear_db, float(np.count_nonzero(off > VISIBLE))
