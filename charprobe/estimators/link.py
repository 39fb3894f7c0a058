"""How far driving one side of a stereo pair moves the gain of the other; crosstalk beside it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from charprobe.estimators.tone import ToneFit, fit_tone
from charprobe.estimators.tone_residual import subtract_tone
from charprobe.stimulus.kinds.link import Link
from charprobe.stimulus.kinds.segment import SegmentOf, Tone
from charprobe.values.cut import Cut
from charprobe.values.errors import SegmentTooShortError
from charprobe.values.quantity import Quantity, Reading

SETTLE_SHARE = 0.5  # of each level, left out for settling
EDGE_S = 0.02  # and as much before its end
MOVES = 3.0  # standard uncertainties by which a third of a tone must differ from the one before
SLOWEST = 0.9  # share of the movement before that the last one may be


@dataclass(frozen=True)
class LinkLevel:
    """One level of the drive.

    Attributes
    ----------
    drive_dbfs : float
        Level played on the driven side.
    own : Reading
        Level of this side's tone in the capture, in dBFS, while it is driven.
    pilot : Reading
        Level of this side's pilot in the capture, in dBFS, while the other side is driven.
    leak : Reading
        Level of the other side's drive in this side's capture, in dBFS; a bound where there is none.
    """

    drive_dbfs: float
    own: Reading
    pilot: Reading
    leak: Reading


@dataclass(frozen=True)
class LinkLevels:
    """What one channel shows in a `link` segment: which side it plays, and every level."""

    side: int
    levels: tuple[LinkLevel, ...]


def measure_link(segment: SegmentOf[Link], cut: Cut) -> LinkLevels:
    """Measure a channel's own tone, its pilot and the leak of the other side at every level.

    Parameters
    ----------
    segment : SegmentOf[Link]
        The segment.
    cut : Cut
        Capture of the whole segment.

    Raises
    ------
    SegmentTooShortError
        If a level is too short to fit its tones.

    Notes
    -----
    The channel plays the side whose driven half holds more of the drive's frequency at the highest level.
    Frequencies are fitted. The stronger tone of a pair is subtracted before the weaker is fitted. A level
    that still moves is read off the last third of its cut, and as uncertain as an exponential lets it go on.
    """
    rate_hz = cut.rate_hz
    loudness = {}
    for side in (1, 2):
        driven, _ = segment.spec.side_tones(segment.span, side, rate_hz=rate_hz)
        loudest = max(driven, key=lambda tone: tone.level_dbfs)
        loudness[side] = abs(_fit(_settled(cut, loudest), loudest).amplitudes[0])
    side = max(loudness, key=lambda one: float(loudness[one]))
    own, pilots = segment.spec.side_tones(segment.span, side, rate_hz=rate_hz)
    others, _ = segment.spec.side_tones(segment.span, 3 - side, rate_hz=rate_hz)
    levels = tuple(_level(cut, *three) for three in zip(own, pilots, others, strict=True))
    return LinkLevels(side, levels)


def _level(cut: Cut, own: Tone, pilot: Tone, other: Tone) -> LinkLevel:
    beside, driven = _settled(cut, pilot), _settled(cut, own)
    leak, heard = _fit(beside, other), _fit(beside, pilot)
    if abs(leak.amplitudes[0]) > abs(heard.amplitudes[0]):
        told = _at_last(subtract_tone(beside, leak), pilot)
    else:
        told = _at_last(beside, pilot)
        leak = _fit(subtract_tone(beside, heard), other)
    return LinkLevel(own.level_dbfs, _at_last(driven, own), told, leak.level(1))


def _at_last(piece: Cut, tone: Tone) -> Reading:
    """Level of a tone where it settles: as it is if it does not move, else with what it may still do."""
    bounds = np.linspace(piece.start, piece.start + piece.step * piece.samples.size, 4)
    try:
        thirds = [_fit(piece.between(*ends), tone).level(1) for ends in pairwise(bounds.tolist())]
    except SegmentTooShortError:
        thirds = []
    told = [one for one in thirds if isinstance(one, Quantity)]
    if len(told) < bounds.size - 1:
        return _fit(piece, tone).level(1)
    before, last = np.diff([one.value for one in told])
    if abs(last) < MOVES * math.hypot(told[1].std, told[2].std):
        return _fit(piece, tone).level(1)
    left = abs(last) / (1 - min(max(last / before, 0.0), SLOWEST)) if before else abs(last)
    return Quantity.from_std(told[2].value, math.hypot(told[2].std, left), "dBFS")


def _settled(cut: Cut, tone: Tone) -> Cut:
    piece = cut.between(tone.start + SETTLE_SHARE * tone.length, tone.stop - EDGE_S * cut.rate_hz)
    if piece.samples.size == 0:
        raise SegmentTooShortError(found_s=0.0, needed_s=EDGE_S)
    return piece


def _fit(piece: Cut, tone: Tone) -> ToneFit:
    return fit_tone(
        piece, frequency_hz=tone.frequency_hz, phase_origin=float(tone.start), orders=1, refine=False
    )


def link_of(pairs: Sequence[tuple[Quantity, Quantity]]) -> Quantity:
    """Slope through the origin of the pilot's change over the driven side's reduction, both in dB.

    Weighted by the uncertainty of both; the scatter about the line widens it.
    """
    weights = [1 / (change.std**2 + reduction.std**2 + 1e-12) for reduction, change in pairs]
    whole = sum(w * r.value**2 for w, (r, _) in zip(weights, pairs, strict=True))
    slope = sum(w * r.value * c.value for w, (r, c) in zip(weights, pairs, strict=True)) / whole
    misfit = sum(w * (c.value - slope * r.value) ** 2 for w, (r, c) in zip(weights, pairs, strict=True))
    widen = max(1.0, misfit / max(1, len(pairs) - 1))
    return Quantity.from_std(slope, (widen / whole) ** 0.5, "dB/dB")
