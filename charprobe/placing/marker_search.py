"""Where in a capture the sync markers lie, to the nearest sample, and which belong to one run."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from charprobe.files.sound.source import Source
from charprobe.placing.track import Track, finite
from charprobe.stimulus.marker import HIGH_HZ, LOW_HZ, Marker, sync_length, sync_value
from charprobe.values.arrays import Array, Complex

LEAST_MATCH = (
    0.2  # white noise stays below 0.07 in an hour; a chirp 14 dB below the noise of its band reaches it
)
BLOCK_MARKERS = 8  # a block is at least this many markers long
QUIET = 1e-11  # of a block's energy: below this a stretch is rounding, not sound
BOTH: tuple[Marker, ...] = ("opening", "closing")
BLOCK_HITS = 16  # most hits of one marker taken from one block


@dataclass(frozen=True)
class Hit:
    """A marker found in a capture.

    Attributes
    ----------
    marker : "opening" or "closing"
        Which one.
    index : int
        Capture index of its first sample, to the nearest sample.
    match : float
        Correlation with the marker, 0 to 1, within the marker's band.
    polarity : int
        1, or -1 where it came back inverted.
    """

    marker: Marker
    index: int
    match: float
    polarity: int


def search(
    source: Source,
    channel: int,
    *,
    start: int,
    stop: int,
    marker_rate_hz: float,
    backwards: bool = False,
    markers: tuple[Marker, ...] = BOTH,
) -> tuple[Hit, ...]:
    """Find every marker that lies wholly inside ``[start, stop)``.

    Parameters
    ----------
    source : Source
        The capture; read block by block.
    channel : int
        Channel of `source`.
    start, stop : int
        Capture samples to search.
    marker_rate_hz : float
        Samples per second of stimulus time in the capture: the stimulus' rate, or another one to test a
        wrong label.
    backwards : bool
        Search for markers played backwards instead.
    markers : tuple of Marker
        Which markers to look for.

    Returns
    -------
    tuple of Hit
        In the order of their place in the file.

    Notes
    -----
    Overlap-save: one forward and three inverse transforms a block. The match is normalised by the energy of
    the marker's own band around it, so hum, offset and loud neighbours neither hide nor feign a marker.
    """
    length = sync_length(marker_rate_hz)
    size = 1 << int(np.ceil(np.log2(BLOCK_MARKERS * length)))
    band, filters = _matched(size, marker_rate_hz, backwards)
    hits: list[Hit] = []
    for first, block in blocks(source, channel, start=start, stop=stop, size=size, overlap=length - 1):
        spectrum = np.fft.rfft(block, size)
        usable = max(0, block.size - length + 1)
        in_band = np.fft.irfft(spectrum * band, size)[: block.size]
        energy = np.concatenate([[0.0], np.cumsum(in_band**2)])
        local = energy[length : length + usable] - energy[:usable]
        scale = np.where(local > QUIET * energy[-1], np.sqrt(np.maximum(local, 1e-300)), np.inf)
        for marker in markers:
            match = np.fft.irfft(spectrum * filters[BOTH.index(marker)], size)[:usable] / scale
            hits += [
                Hit(marker, first + i, float(abs(match[i])), 1 if match[i] > 0 else -1)
                for i in _peaks(np.abs(match), reach=length // 2)
            ]
    return _without_neighbours(hits, reach=length // 2)


def blocks(
    source: Source, channel: int, *, start: int, stop: int, size: int, overlap: int
) -> Iterator[tuple[int, Array]]:
    """Yield (first index, samples) of blocks that share `overlap` samples; what is not finite reads as 0."""
    start, stop = max(0, start), min(source.frames, stop)
    while start < stop:
        samples = np.asarray(source.read(start, min(start + size, stop), channel), dtype=np.float64)
        yield start, finite(samples)
        if start + size >= stop:
            return
        start += size - overlap


@lru_cache(maxsize=2)  # a capture is searched at both ends
def _matched(size: int, rate_hz: float, backwards: bool) -> tuple[Array, tuple[Complex, Complex]]:
    """Gain of the markers' band, and the filters that match the opening and the closing marker within it."""
    band = _band(size, rate_hz=rate_hz)
    places = np.arange(sync_length(rate_hz))[:: -1 if backwards else 1]
    opening, closing = (sync_value(m, places, rate_hz=rate_hz) for m in ("opening", "closing"))
    first, last = (np.fft.rfft(s / np.sqrt(s @ s), size).conj() * band for s in (opening, closing))
    return band, (first, last)


def _band(size: int, *, rate_hz: float) -> Array:
    """Gain of the marker's band on the bins of a real transform, with soft edges."""
    hz = np.fft.rfftfreq(size, 1 / rate_hz)
    rise = np.clip((hz - LOW_HZ / 2) / (LOW_HZ / 2), 0, 1)
    fall = np.clip((HIGH_HZ * 1.1 - hz) / (HIGH_HZ * 0.1), 0, 1)
    return np.asarray(rise * fall)


def _peaks(match: Array, *, reach: int) -> list[int]:
    """Places of the strongest matches, farther than `reach` from one another."""
    match, found = match.copy(), []
    for _ in range(BLOCK_HITS):
        if match.size == 0 or match[place := int(np.argmax(match))] < LEAST_MATCH:
            break
        found.append(place)
        match[max(0, place - reach) : place + reach + 1] = 0.0
    return found


def _without_neighbours(hits: list[Hit], *, reach: int) -> tuple[Hit, ...]:
    """Keep the strongest of hits that lie within `reach` of one another, whichever marker they are."""
    kept: list[Hit] = []
    for hit in sorted(hits, key=lambda h: -h.match):
        if all(abs(hit.index - other.index) > reach for other in kept):
            kept.append(hit)
    return tuple(sorted(kept, key=lambda h: h.index))


FIRST_LOOK_S = 4.0  # how much later than on the timetable the markers are looked for first
SURE_MATCH = 0.5
WIDEST_PPM = 600.0  # most that two clocks differ


@dataclass(frozen=True)
class Run:
    """One playing of a stimulus in a capture: its markers, as far as they are there."""

    opening: Hit | None
    closing: Hit | None


def find_runs(track: Track) -> tuple[Run, ...]:
    """Pair a capture's markers: a quick look where they should be, or else a search of the whole file."""
    source, channel, stimulus = track.source, track.channel, track.stimulus
    rate_hz = stimulus.rate_hz
    look = round(FIRST_LOOK_S * rate_hz)
    distance = stimulus.closing.start - stimulus.opening.start
    early = search(
        source, channel, start=0, stop=stimulus.opening.stop + look, marker_rate_hz=rate_hz, markers=BOTH[:1]
    )
    openings = [hit for hit in early if hit.match >= SURE_MATCH]
    if len(openings) == 1:
        reach = stimulus.closing.length + round(2e-6 * WIDEST_PPM * distance)
        expected = openings[0].index + distance
        start, stop = expected - reach, expected + 2 * reach
        late = search(source, channel, start=start, stop=stop, marker_rate_hz=rate_hz, markers=BOTH[1:])
        closings = [hit for hit in late if hit.match >= SURE_MATCH]
        if len(closings) == 1 and belong(openings[0], closings[0], distance=distance):
            return (Run(openings[0], closings[0]),)
    return pair_up(
        search(source, channel, start=0, stop=source.frames, marker_rate_hz=rate_hz), distance=distance
    )


def pair_up(hits: tuple[Hit, ...], *, distance: int) -> tuple[Run, ...]:
    """Sort markers into runs: complete ones first, each in the order of the file."""
    openings = [hit for hit in hits if hit.marker == "opening"]
    closings = [hit for hit in hits if hit.marker == "closing"]
    whole: list[Run] = []
    for first in list(openings):
        partner = next((c for c in closings if belong(first, c, distance=distance)), None)
        if partner is not None:
            whole.append(Run(first, partner))
            openings.remove(first)
            closings.remove(partner)
    parts: list[Run] = []
    for first in openings:
        following = [h for h in hits if h.index > first.index]
        partner = following[0] if following and following[0] in closings else None
        parts.append(Run(first, partner))
        if partner is not None:
            closings.remove(partner)
    parts += [Run(None, last) for last in closings]
    parts.sort(key=lambda run: -sum(hit.match for hit in (run.opening, run.closing) if hit))
    return tuple(whole + parts)


def belong(opening: Hit, closing: Hit, *, distance: int) -> bool:
    """Tell whether two markers are as far apart as in the stimulus, but for the clocks."""
    off = closing.index - opening.index - distance
    return abs(off) <= 1e-6 * WIDEST_PPM * distance + 8
