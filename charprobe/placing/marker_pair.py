"""Both sync markers of a run and the clock they show, checked against the clock of the tones."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from charprobe.placing.marker_delay import PathPhase, delay_between, delay_of, path_response, phase_of
from charprobe.placing.tone_clock import drift_from_tones
from charprobe.placing.track import Track
from charprobe.values.quantity import Quantity

ROUNDS = 3  # of marker and tones, until neither moves the other
MOST_ROUNDS = 8  # of delay and drift; one is enough on a common clock
SAME_FACTOR = 1e-11
LEAST_JUMP_SAMPLES = 0.5
JUMP_SIGMAS = 5.0
UNKNOWN_DRIFT = Quantity(0.0, -150.0, 150.0, "ppm")  # free-running converters differ by less


@dataclass(frozen=True)
class MarkerPair:
    """Capture indices of both markers, and what their refinement showed.

    Attributes
    ----------
    first, last : float
        Capture index of the first sample of the opening and of the closing marker.
    distance : int
        Stimulus samples from one to the other.
    factor : float
        Capture samples per stimulus sample that they were measured with.
    drift_ppm : Quantity
        Of the recorder's clock.
    jump : Quantity or None
        Samples inserted (positive) or lost between them; None where they agree with the clock.
    first_std, between_std : float
        Standard uncertainty of `first`, and of the distance, in samples.
    polarity : int
        1, or -1 where the path inverts.
    gain_db : float
        Of the opening marker re one of amplitude 1.
    path : PathPhase
        What the path did to the phase of the opening marker.
    """

    first: float
    last: float
    distance: int
    factor: float = 1.0
    drift_ppm: Quantity = UNKNOWN_DRIFT
    jump: Quantity | None = None
    first_std: float = 0.0
    between_std: float = 0.0
    polarity: int = 1
    gain_db: float = 0.0
    path: PathPhase = field(default_factory=lambda: PathPhase(np.zeros(1), np.zeros(1)))

    def refined(self, track: Track, *, factor: float) -> MarkerPair:
        """Measure both markers with a known clock."""
        step, rate_hz = 1 / factor, track.stimulus.rate_hz
        place = track.source, track.channel
        opening = path_response(*place, "opening", index=self.first, step=step, rate_hz=rate_hz)
        closing = path_response(*place, "closing", index=self.last, step=step, rate_hz=rate_hz)
        slope = delay_of(opening)
        between, between_std = delay_between(opening, closing)
        return replace(
            self,
            first=opening.index + slope.delay,
            last=closing.index + slope.delay + between,
            factor=factor,
            first_std=slope.std,
            between_std=between_std,
            polarity=slope.polarity,
            gain_db=slope.gain_db,
            path=phase_of(opening, slope.delay),
        )

    def on_own_clock(self, track: Track) -> MarkerPair:
        """Measure both until the clock they show is the one they are measured with."""
        pair = replace(self, factor=(self.last - self.first) / self.distance)
        for _ in range(MOST_ROUNDS):
            before = pair.factor
            pair = pair.refined(track, factor=before)
            pair = replace(pair, factor=(pair.last - pair.first) / pair.distance)
            if abs(pair.factor - before) < SAME_FACTOR:
                break
        drift_ppm = 1e6 * (pair.factor - 1)
        std_ppm = 1e6 * pair.between_std / pair.distance
        return replace(pair, drift_ppm=Quantity.from_std(drift_ppm, std_ppm, "ppm"))

    def with_length_changed(self, track: Track) -> MarkerPair:
        """Measure both where their distance is no clock's, so that the change is a jump."""
        pair = self.refined(track, factor=1.0)
        change = pair.last - pair.first - pair.distance
        std = 1e-6 * pair.distance * pair.drift_ppm.std
        return replace(pair, jump=Quantity.from_std(change, std, "samples"))

    def against_tones(self, track: Track) -> MarkerPair:
        """Check the clock of the markers against that of the tones, which is right where they disagree."""
        pair, anchor_position = self, track.stimulus.opening.start
        for _ in range(ROUNDS):
            seen = drift_from_tones(
                track, anchor_position=anchor_position, anchor_index=pair.first, guess=UNKNOWN_DRIFT
            )
            if seen is UNKNOWN_DRIFT:
                break
            beyond = pair.last - pair.first - pair.distance * (1 + 1e-6 * seen.value)
            std = float(np.hypot(pair.between_std, 1e-6 * pair.distance * seen.std))
            if abs(beyond) <= max(LEAST_JUMP_SAMPLES, JUMP_SIGMAS * std):
                # markers so far apart that no clock seemed to explain it: a conversion pulled the speed
                return pair if pair.jump is None else replace(pair, jump=None).on_own_clock(track)
            pair = pair.refined(track, factor=1 + 1e-6 * seen.value)
            pair = replace(pair, drift_ppm=seen, jump=Quantity.from_std(beyond, std, "samples"))
        return pair

    def before_edit(self, track: Track, *, until: float) -> MarkerPair:
        """Measure both with the clock of the tones before a cut at stimulus position `until`."""
        pair, anchor_position = self, track.stimulus.opening.start
        for _ in range(ROUNDS):
            drift = drift_from_tones(
                track,
                anchor_position=anchor_position,
                anchor_index=pair.first,
                guess=pair.drift_ppm,
                until=until,
            )
            pair = replace(pair.refined(track, factor=1 + 1e-6 * drift.value), drift_ppm=drift)
        return pair
