"""What of a setting's harmonics the recording path may have made itself, as its bypass shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from charprobe.estimators.colour.harmonic_cell import HarmonicCell
from charprobe.estimators.response import Response
from charprobe.values.arrays import Array
from charprobe.values.quantity import Z95

SEEN = 3.0  # standard uncertainties of a response, within which it may be flat


def with_path(cell: HarmonicCell, rigs: Sequence[HarmonicCell]) -> HarmonicCell:
    """Return a cell that knows what the path adds to each order, or takes from it.

    Parameters
    ----------
    cell : HarmonicCell
        One tone of the setting.
    rigs : sequence of HarmonicCell
        Tones of the bypass; those of the same frequency tell.

    Notes
    -----
    Converters before the stage do at a tone what the bypass shows at that tone; those behind it do what it
    shows at tones that come back as loud, between and beyond them growing by powers of the level. The larger
    counts; an order between two that the path makes is made of any tone that is not symmetric. Its phase
    against the stage's own is not known, so it may add or cancel.
    """
    same = [rig for rig in rigs if rig.tone.frequency_hz == cell.tone.frequency_hz and rig.told]
    if not same:
        return cell
    shares = np.zeros(cell.orders - 1)
    own = float(abs(cell.fit.amplitudes[0]))
    sizes = np.array([abs(rig.fit.amplitudes[0]) for rig in same])
    for order in range(2, cell.orders + 1):
        seen = np.array([_seen(rig, order) for rig in same])
        before = [ratio for rig, ratio in zip(same, seen, strict=True) if rig.tone == cell.tone]
        shares[order - 2] = max(*before, _behind(seen * sizes, sizes, own, order), 0.0)
    between = np.minimum(shares[:-2], shares[2:])
    shares[1:-1] = np.maximum(shares[1:-1], between)
    return replace(cell, path_shares=shares) if shares.any() else cell


def through_path(cell: HarmonicCell, path: Response | None) -> HarmonicCell:
    """Return a cell that knows how unlike the path passes a tone and its harmonics.

    Parameters
    ----------
    cell : HarmonicCell
        One tone of the setting.
    path : Response or None
        Response of the bypass; beyond its frequencies it goes on as at its ends.

    Notes
    -----
    What is behind the stage bends its harmonics by all of that, what is before it by nothing, and the bypass
    shows both together: the interval of each order reaches over it.
    """
    if path is None:
        return cell
    at_hz = cell.tone.frequency_hz * np.arange(1, cell.orders + 1)
    gain_db, std_db = (
        np.interp(np.log(at_hz), np.log(path.frequency_hz), each)
        for each in (path.magnitude_db, path.magnitude_std_db)
    )
    bent_db = np.maximum(0.0, np.abs(gain_db[1:] - gain_db[0]) - SEEN * np.hypot(std_db[1:], std_db[0]))
    bent = np.abs(cell.ratios) * (10 ** (bent_db / 20) - 1) / Z95
    return replace(cell, bent_stds=bent)


def _seen(rig: HarmonicCell, order: int) -> float:
    return float(abs(rig.ratios[order - 2])) if rig.detected(order) else 0.0


def _behind(made: Array, sizes: Array, own: float, order: int) -> float:
    """Ratio that a converter makes of a fundamental of size `own` which made so much of other `sizes`."""
    rising = np.argsort(sizes)
    made, sizes = made[rising], sizes[rising]
    next_louder = int(np.searchsorted(sizes, own))
    if next_louder == 0:
        return float(made[0]) / own
    grown = float(made[next_louder - 1]) * (own / float(sizes[next_louder - 1])) ** order
    if next_louder < sizes.size:
        grown = min(grown, float(made[next_louder]))
    return max(grown, float(made[:next_louder].max())) / own
