"""What the path alone makes of a burst's edge: the dry reference, from the bypass or from the stimulus."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from charprobe.estimators.timing.trace.phase_set import (
    Burst,
    CarrierFit,
    amplitude,
    carrier_phase,
    carriers_around,
    solve_edge,
)
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array, Complex, Index
from charprobe.values.cut import Cut

REACH_S = 0.004  # how far around an edge the reference is followed sample by sample
WIDTH = 1.0  # standard deviation of the Gaussian that wet and dry are both seen through, in samples
TAPS = 7  # its half width, in samples: beyond it lies less than 1e-10
VISIBLE = 0.1  # share of the step by which a sample must miss the ideal step to count as smeared


@dataclass(frozen=True)
class DryReference:
    """The dry signal of a phase set: pieces of it around every edge, and its carrier elsewhere."""

    attack: tuple[Cut, ...]
    release: tuple[Cut, ...]
    carrier: CarrierFit
    reach: int


def bypass_reference(bypass: Cut, bursts: Sequence[Burst], *, carrier: CarrierFit) -> DryReference:
    """Build the reference from a capture of the path with the stage off, and its carrier."""
    reach = round(REACH_S * bypass.rate_hz)
    wide = reach + 2 * TAPS

    def around(tone: Tone) -> Cut:
        return bypass.between(tone.start - wide, tone.start + wide)

    return DryReference(
        tuple(around(b.hold) for b in bursts),
        tuple(around(b.release) for b in bursts),
        carrier,
        reach,
    )


def stimulus_reference(bursts: Sequence[Burst], *, rate_hz: float) -> DryReference:
    """Build the reference from the stimulus itself, as an ideal band-limited path would play it."""
    reach = round(REACH_S * rate_hz)
    wide = reach + 2 * TAPS

    def around(before: Tone, after: Tone) -> Cut:
        position = after.start + np.arange(-wide, wide + 1, dtype=float)
        samples = np.empty(position.size)
        for part, tone in ((position < after.start, before), (position >= after.start, after)):
            samples[part] = amplitude(tone) * np.cos(carrier_phase(tone, position[part], rate_hz=rate_hz))
        return Cut(samples, float(position[0]), 1.0, rate_hz)

    return DryReference(
        tuple(around(b.lead, b.hold) for b in bursts),
        tuple(around(b.hold, b.release) for b in bursts),
        CarrierFit(0.0, 0.0, 0.0, 0.0, (1.0, 1.0, 1.0)),
        reach,
    )


@dataclass(frozen=True)
class BesideEdge:
    """Capture and reference beside an edge, both seen through the same Gaussian.

    Attributes
    ----------
    ratio, reference : ndarray, shape (n,)
        Complex gain of the capture over the reference, and of the reference over its settled level.
    wet, dry : sequence of ndarray, each shape (n,)
        What was seen of each repetition.
    """

    ratio: Complex
    reference: Complex
    wet: Sequence[Array]
    dry: Sequence[Array]


def beside_edge(
    wet: Cut,
    pieces: Sequence[Cut],
    pairs: Sequence[tuple[Tone, Tone]],
    *,
    carriers: tuple[CarrierFit, CarrierFit],
    offsets: Sequence[float],
    grid: Index,
) -> BesideEdge:
    """Solve wet and reference around an edge at the same positions, both seen through the same Gaussian.

    Parameters
    ----------
    wet : Cut
        The capture.
    pieces : sequence of Cut
        Per repetition, the reference around its edge.
    pairs : sequence of (Tone, Tone)
        Per repetition, the tones before and after the edge.
    carriers : tuple of CarrierFit
        Phases of wet and reference.
    offsets : sequence of float
        Per repetition, stimulus samples by which grid point 0 of the wet capture lies after the edge.
    grid : ndarray of int, shape (n,)
        Capture samples counted from the edge, contiguous.

    Returns
    -------
    BesideEdge
    """
    edges = [after.start for _, after in pairs]
    places: list[Array] = [
        edge + offset + wet.step * grid.astype(float) for edge, offset in zip(edges, offsets, strict=True)
    ]
    dry = [seen_through(piece, at) for piece, at in zip(pieces, places, strict=True)]
    heard = [seen_through(wet, at) for at in places]
    at: dict[str, Any] = {"grid": grid, "step": wet.step, "rate_hz": wet.rate_hz}
    solved = [
        solve_edge(samples, carriers_around(pairs, offsets, carrier=carrier, **at)).gain
        for samples, carrier in zip((heard, dry), carriers, strict=True)
    ]
    omega = 2 * np.pi * pairs[0][0].frequency_hz / wet.rate_hz
    reference = solved[1] * np.exp(0.5 * (WIDTH * omega) ** 2)
    return BesideEdge(solved[0] / solved[1], reference, heard, dry)


def seen_through(cut: Cut, position: Array) -> Array:
    """Return the Gaussian mean of a cut around stimulus positions at least `TAPS` samples inside it.

    Parameters
    ----------
    cut : Cut
        Samples at any step close to 1.
    position : ndarray, shape (n,)
        Stimulus positions, on the samples or between them.

    Returns
    -------
    ndarray, shape (n,)

    Notes
    -----
    A Gaussian of one sample passes so little beside half the sampling rate that it can be read between
    samples: images stay below 1e-7 for carriers up to a twelfth of the rate. A hard edge seen through
    it neither rings nor depends on where the samples fell.
    """
    exact = (position - cut.start) / cut.step
    base = np.rint(exact).astype(np.int64)
    taps = np.arange(-TAPS, TAPS + 1)
    around = np.lib.stride_tricks.sliding_window_view(cut.samples, taps.size)
    first = np.minimum(np.maximum(base - TAPS, 0), around.shape[0] - 1)
    weights = np.exp((-0.5 / WIDTH**2) * np.square((exact - base)[:, None] - taps))
    return np.asarray(np.einsum("ij,ij->i", around[first], weights) / (WIDTH * np.sqrt(2 * np.pi)))
