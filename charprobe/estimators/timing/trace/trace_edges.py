"""The gain of a stage at every sample around a level step, from bursts repeated at other carrier phases."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from charprobe.estimators.timing.trace.carrier_means import CALM_PERIODS, calmed, half_period_means
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
from charprobe.estimators.timing.trace.trace_noise import far_points, point_noise, ripple_db, turning
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array, Complex, Index
from charprobe.values.cut import Cut
from charprobe.values.edge import Edge
from charprobe.values.errors import SegmentTooShortError
from charprobe.values.median import median_over
from charprobe.values.quantity import DB_PER_NEPER

BEFORE_S = 0.3  # how far before an edge the trace reaches at most
DENSITY = 400  # beyond this many samples from the edge, points are means over 1/400 of their distance
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
    rows, smeared = _over_reference(edge, solved, beside, near, period=period)
    span, window = (period, period) if single else (1.0, math.sqrt(12) * WIDTH)
    if not single:
        far = (far_points(side) for side in (solved.grid < -BESIDE, solved.grid > BESIDE))
        rung = np.arange(*np.searchsorted(solved.grid, [part * CALM_PERIODS * period for part in (0.5, 1.0)]))
        calm = calmed(rows, period=period, ahead=AHEAD_S * rate_hz)
        if max(turning(solved, points, period=period) for points in (*far, rung)) > EVEN_LIMIT:
            span, window = period / 2, math.sqrt(12) * period / 4
            early = np.abs(rows[0]) < CALM_PERIODS * period
            means = half_period_means(rows, period=period, where=early)
            same = slice(int(calm[0, 0] - grid[0]), int(calm[0, -1] - grid[0]) + 1)
            calm[:, early[same]] = means[:, same][:, early[same]]
        rows = calm
    grid, gain = rows[0].astype(np.int64), rows[2]
    least = min(float(median_over(side, axis=0)) for side in (gain[grid < 0], gain[grid >= 0]))
    if least <= 0:  # the carrier does not hold its phase to the stimulus
        raise NoCarrierError(level_dbfs=min(before.level_dbfs, after.level_dbfs))
    if not (keep := gain > 0.05 * least).all():
        grid, rows = grid[keep], rows[:, keep]
    # points of a trace solved over whole periods share their noise within a period
    time_s, gain_db, std_db, turn_db = _blocks(grid, rows[1:], period if single else 1.0)
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
        ripple_db=ripple_db(solved, period=period),
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


def _over_reference(
    edge: _EdgePairs, solved: CarrierGain, beside: BesideEdge, near: Index, *, period: float
) -> tuple[Array, float]:
    """Divide by the dry reference, sample by sample within its reach of the edge.

    Returns grid, time, gain, its relative noise, the smear of the reference in dB and the quadrature part of
    the gain as rows, and the samples that the reference smears the edge over.
    """
    before, after = edge.pairs[0]
    grid = solved.grid
    far = (solved.gain[grid < -BESIDE], solved.gain[grid > BESIDE][::-1])
    noise = tuple(point_noise(gain, period=period) for gain in far)
    relative = np.where(grid < 0, *noise) / np.maximum(np.abs(solved.gain), 1e-9)
    seen = beside.reference / np.where(near < 0, *edge.dry_gains)
    gain, smear = solved.gain / np.where(grid < 0, *edge.dry_gains), np.zeros(grid.size)
    at = near - grid[0]
    gain[at], smear[at] = beside.ratio, np.abs(DB_PER_NEPER * np.log(np.maximum(np.abs(seen), 1e-3)))
    rows = np.stack([grid.astype(float), solved.time_s, gain.real, relative, smear, gain.imag])
    return rows, _smeared_samples(seen, near, before, after)


def _smeared_samples(ratio: Complex, grid: Index, before: Tone, after: Tone) -> float:
    """Samples of the reference that miss an ideal step by more than a tenth of it."""
    step = np.where(grid < 0, amplitude(before), amplitude(after)) / abs(amplitude(after) - amplitude(before))
    return float(np.count_nonzero(np.abs(ratio - 1) * step > VISIBLE))


@lru_cache(maxsize=16)
def _bounds(far: int) -> Index:
    """Where blocks begin, up to so many samples on either side of the edge; not to be changed."""
    near = 2 * DENSITY  # samples up to which a block holds one
    edges = [near]
    while edges[-1] <= far:
        edges.append(edges[-1] + edges[-1] // DENSITY)
    steps = np.concatenate([np.arange(1, near), edges])
    return np.concatenate([1 - steps[::-1], [0], steps])


def _blocks(grid: Index, rows: Array, shared: float) -> tuple[Array, Array, Array, Array]:
    """Average the far parts of a trace over blocks that grow with the distance from the edge.

    `rows` are those of `_over_reference` without the grid; returned are time, gain, its standard uncertainty
    and what the carrier has turned, the last three in dB.
    """
    time_s, gain, relative, smear, aside = rows
    starts = np.searchsorted(grid, _bounds(int(max(-grid[0], grid[-1]))))
    starts = starts[(np.diff(starts, prepend=-1) > 0) & (starts < grid.size)]
    counts = np.diff(np.append(starts, grid.size))
    gains = np.add.reduceat(gain, starts) / counts
    noise = np.sqrt(np.add.reduceat(relative**2, starts) / counts / np.maximum(1, counts / shared))
    worst = np.maximum.reduceat(smear, starts)
    std = np.hypot(DB_PER_NEPER * noise, SMEAR_SHARE * worst)
    turn = np.hypot(1.0, np.add.reduceat(aside, starts) / counts / gains)
    gain_db, turn_db = DB_PER_NEPER * np.log(gains), DB_PER_NEPER * np.log(turn)
    return np.add.reduceat(time_s, starts) / counts, gain_db, np.asarray(std), turn_db
