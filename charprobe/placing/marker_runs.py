"""Which sync markers of a capture belong together: one run of the stimulus, several, or parts of one."""

from __future__ import annotations

from dataclasses import dataclass

from charprobe.placing.marker_search import Hit, search
from charprobe.placing.track import Track

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
    early = search(source, channel, start=0, stop=stimulus.opening.stop + look, marker_rate_hz=rate_hz)
    openings = [hit for hit in early if hit.marker == "opening" and hit.match >= SURE_MATCH]
    if len(openings) == 1:
        reach = stimulus.closing.length + round(2e-6 * WIDEST_PPM * distance)
        expected = openings[0].index + distance
        late = search(
            source, channel, start=expected - reach, stop=expected + 2 * reach, marker_rate_hz=rate_hz
        )
        closings = [hit for hit in late if hit.marker == "closing" and hit.match >= SURE_MATCH]
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
