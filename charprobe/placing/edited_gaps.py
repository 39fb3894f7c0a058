"""Where a capture's gaps were cut or stretched: every segment looked for around its place."""

from __future__ import annotations

import numpy as np

from charprobe.placing.segment_search import (
    HOP_S,
    LEAD_HOPS,
    band_levels,
    hop_samples,
    matches,
    segment_levels,
)
from charprobe.placing.timing_jump import TimingJump
from charprobe.placing.track import Track
from charprobe.stimulus.kinds.segment import Segment
from charprobe.values.quantity import Quantity

NEARBY_S = 0.3  # beyond the whole change of length
FARNESS = 0.05  # of a match that a second of change between neighbours must be worth
COARSE_S = 0.015
FINE_S = 1.0
LEAST_EDIT_S = 0.004


def find_edits(
    track: Track,
    *,
    opening_index: float,
    closing_index: float,
    drift_ppm: float,
    gain_db: float,
) -> tuple[TimingJump, ...]:
    """Find the gaps in which a capture grew or shrank between its markers.

    Parameters
    ----------
    track : Track
        The capture, its channel, and what it should hold.
    opening_index, closing_index : float
        Capture indices of both markers.
    drift_ppm, gain_db : float
        Clock and gain of the capture, as far as they are known.

    Returns
    -------
    tuple of TimingJump
        One for each gap whose length is off by `LEAST_EDIT_S` or more, to about a period of the tone that
        follows; their sum is the whole change.
    """
    stimulus, rate_hz = track.stimulus, track.stimulus.rate_hz
    hop = hop_samples(rate_hz)
    factor = 1 + 1e-6 * drift_ppm
    zero = opening_index - stimulus.opening.start * factor
    total = closing_index - zero - stimulus.closing.start * factor
    first = round(opening_index) - LEAD_HOPS * hop
    stop = round(closing_index)
    levels = band_levels(track.source, track.channel, start=first, stop=stop, gain_db=gain_db)
    reach = round((abs(total) / rate_hz + NEARBY_S) / HOP_S)
    jumps: list[TimingJump] = []
    shift, end = 0.0, float(stimulus.ident.stop)
    for segment in stimulus.alike:
        match = matches(segment_levels(segment, rate_hz=rate_hz), levels)
        expected = (zero + segment.span.start * factor + shift - first) / hop - LEAD_HOPS
        rows = np.arange(max(0, int(expected) - reach), min(match.size, int(expected) + reach + 1))
        if rows.size == 0:
            continue
        worth = match[rows] - FARNESS * np.abs(rows - expected) * HOP_S
        coarse = first + (int(rows[np.argmax(worth)]) + LEAD_HOPS) * hop
        place = _refine(track, segment, index=coarse)
        found = place - zero - segment.span.start * factor
        if abs(found - shift) >= LEAST_EDIT_S * rate_hz:
            jumps.append(_jump(end, segment.span.start, found - shift))
            shift = found
        end = float(segment.span.stop)
    if abs(total - shift) >= LEAST_EDIT_S * rate_hz or not jumps:
        jumps.append(_jump(end, stimulus.closing.start, total - shift))
    else:  # a rest of a period or less comes from the last search, not from another cut
        last = jumps.pop()
        jumps.append(_jump(last.start, last.stop, last.samples.value + total - shift))
    return tuple(jumps)


def _jump(start: float, stop: float, samples: float) -> TimingJump:
    return TimingJump(start, stop, Quantity(samples, samples - 48, samples + 48, "samples"))


def _refine(track: Track, segment: Segment, *, index: int) -> int:
    """Capture index of a segment's first sample, by correlation with the start of its sound."""
    rate_hz = track.stimulus.rate_hz
    wanted = segment.render(rate_hz=rate_hz)[: round(FINE_S * rate_hz)]
    reach = round(COARSE_S * rate_hz)
    size = wanted.size + 2 * reach
    start = max(0, index - reach)
    samples = track.finite(start, start + size)
    length = 1 << int(np.ceil(np.log2(size + wanted.size)))
    product = np.fft.irfft(np.fft.rfft(samples, length) * np.fft.rfft(wanted, length).conj(), length)
    places = min(2 * reach, samples.size - wanted.size) + 1
    energy = np.concatenate([[0.0], np.cumsum(samples**2)])
    local = energy[wanted.size : wanted.size + places] - energy[:places]
    return start + int(np.argmax(np.abs(product[:places]) / np.sqrt(np.maximum(local, 1e-20))))
