"""Where the stimulus lies in a capture: delay, clock drift and polarity, from the sync markers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import overload

import numpy as np

from charprobe.placing.edited_gaps import find_edits
from charprobe.placing.marker_delay import delay_of, path_response
from charprobe.placing.marker_pair import ROUNDS, UNKNOWN_DRIFT, MarkerPair
from charprobe.placing.marker_search import Hit, Run, belong, find_runs
from charprobe.placing.timing_jump import TimingJump, place_jump
from charprobe.placing.tone_clock import drift_from_tones
from charprobe.placing.track import Clock, Track
from charprobe.placing.why_not_found import why_not_found, wrong_rate, wrong_stimulus
from charprobe.stimulus.ident import HASH_DIGITS, IdentReading, read_ident
from charprobe.values.arrays import Array
from charprobe.values.quantity import Quantity

IDENT_MARGIN_S = 0.2
CLEAR_SAMPLES, CLEAR_COSINE = 0.1, 0.9  # a wandering clock leaves a marker neither polarity
EDIT_S = 0.02  # a change of length beyond any clock: somebody cut


@dataclass(frozen=True)
class Alignment:
    """A capture on the stimulus clock.

    Attributes
    ----------
    delay_samples : Quantity
        Capture index of the stimulus' first sample, in capture samples; negative where the start is cut off.
    drift_ppm : Quantity
        How much faster the recorder's clock runs than the stimulus': positive means more samples.
    polarity : int
        1, or -1 where the path inverts.
    polarity_turns : bool
        Whether one marker came back inverted and the other not.
    opening_found, closing_found : bool
        Which sync markers the capture holds, where they belong.
    gain_db : float
        Level of the markers in the capture re the stimulus.
    ident : IdentReading or None
        What the ident said.
    jumps : tuple of TimingJump
        Where samples were lost or inserted between the markers, in the order of the stimulus; each one
        applies from the middle of its stretch on. Empty where the markers agree with the clock that the
        tones show, and where that cannot be judged because a marker is missing.
    """

    delay_samples: Quantity
    drift_ppm: Quantity
    polarity: int
    polarity_turns: bool
    opening_found: bool
    closing_found: bool
    gain_db: float
    ident: IdentReading | None
    jumps: tuple[TimingJump, ...]

    @cached_property
    def clock(self) -> Clock:
        """The clock before any jump."""
        return Clock(self.delay_samples.value, self.drift_ppm.value)

    @cached_property
    def step(self) -> float:
        """Stimulus samples per capture sample."""
        return 1 / self.clock.factor

    @overload
    def capture_index(self, position: float) -> float: ...
    @overload
    def capture_index(self, position: Array) -> Array: ...
    def capture_index(self, position: float | Array) -> float | Array:
        """Capture index, fractional, of a stimulus position or an array of them."""
        index = self.delay_samples.value + position / self.step
        for jump in self.jumps:
            index = index + np.where(np.asarray(position) >= jump.middle, jump.samples.value, 0.0)[()]
        return index

    def later_than(self, other: Alignment) -> Quantity:
        """How much later the stimulus comes than in a capture started with it, in samples of the stimulus."""
        one, two = self.delay_samples, other.delay_samples
        late, std = (one.value - two.value) * self.step, np.hypot(one.std, two.std) * self.step
        return Quantity.from_std(late, float(std), "samples")


def locate(track: Track) -> Alignment:
    """Find the stimulus in one channel of a capture.

    Parameters
    ----------
    track : Track
        The channel of a capture, at the stimulus' sampling rate, and what was played.

    Returns
    -------
    Alignment
        Of the first complete run in the file, or else of what there is of one.

    Raises
    ------
    AlignmentError
        If no marker is found, or the ident names another recipe, or the sampling rate differs: says what the
        capture holds instead.

    Notes
    -----
    Both markers are looked for first where the timetable puts them, then in the whole file. With both
    markers, the drift is the difference of their delays over their distance, and the path's own phase drops
    out of it. With one marker, the drift is read from the frequency of the steady tones. Where both are
    known and disagree, samples were lost or inserted between the markers.
    """
    if track.source.rate_hz != track.stimulus.rate_hz:
        raise wrong_rate(track)
    runs = find_runs(track)
    if not runs:
        raise why_not_found(track)
    return align_run(track, runs[0])


def align_run(track: Track, run: Run) -> Alignment:
    """Refine one run of several in a file; see `locate`."""
    if run.opening is not None and run.closing is not None:
        return _align_by_both(track, run.opening, run.closing)
    hit = run.opening or run.closing
    if hit is None:
        raise ValueError("a run has at least one marker")
    return _align_by_one(track, hit)


def _align_by_both(track: Track, first: Hit, last: Hit) -> Alignment:
    stimulus = track.stimulus
    start, distance = stimulus.opening.start, stimulus.closing.start - stimulus.opening.start
    pair = MarkerPair(float(first.index), float(last.index), distance)
    one_clock = belong(first, last, distance=distance)
    pair = pair.on_own_clock(track) if one_clock else pair.with_length_changed(track)
    pair = pair.against_tones(track)
    ident = _read_ident(track, index=pair.first, position=start)
    pair, jumps = _jumps(track, pair)
    return Alignment(
        delay_samples=_delay(pair.first, start, pair.first_std, pair.drift_ppm),
        drift_ppm=pair.drift_ppm,
        polarity=pair.polarity,
        polarity_turns=_polarity_turns(track, pair),
        opening_found=True,
        closing_found=True,
        gain_db=pair.gain_db - stimulus.recipe.sync_dbfs,
        ident=ident,
        jumps=jumps,
    )


def _polarity_turns(track: Track, pair: MarkerPair) -> bool:
    closing = path_response(
        track.source,
        track.channel,
        "closing",
        index=pair.last,
        step=1 / pair.factor,
        rate_hz=track.stimulus.rate_hz,
    )
    last = delay_of(closing)
    clear = max(last.std, pair.first_std) < CLEAR_SAMPLES and abs(np.cos(last.phase_rad)) > CLEAR_COSINE
    return bool(clear and last.polarity != pair.polarity)


def _jumps(track: Track, pair: MarkerPair) -> tuple[MarkerPair, tuple[TimingJump, ...]]:
    """Place what was lost or inserted between the markers; after cuts, the clock is read before the first."""
    stimulus, jump = track.stimulus, pair.jump
    if jump is None:
        return pair, ()
    if abs(jump.value) <= EDIT_S * stimulus.rate_hz:
        delay = _delay(pair.first, stimulus.opening.start, pair.first_std, pair.drift_ppm)
        clock = Clock(delay.value, pair.drift_ppm.value)
        return pair, (place_jump(track, clock, path=pair.path, samples=jump),)
    edits = find_edits(
        track,
        opening_index=pair.first,
        closing_index=pair.last,
        drift_ppm=pair.drift_ppm.value,
        gain_db=pair.gain_db - stimulus.recipe.sync_dbfs,
    )
    return pair.before_edit(track, until=edits[0].start if edits else np.inf), edits


def _align_by_one(track: Track, hit: Hit) -> Alignment:
    stimulus = track.stimulus
    position = stimulus.opening.start if hit.marker == "opening" else stimulus.closing.start
    index, drift = float(hit.index), UNKNOWN_DRIFT
    for _ in range(ROUNDS):
        step = 1 / (1 + 1e-6 * drift.value)
        path = path_response(
            track.source, track.channel, hit.marker, index=index, step=step, rate_hz=stimulus.rate_hz
        )
        slope = delay_of(path)
        index = path.index + slope.delay
        drift = drift_from_tones(track, anchor_position=position, anchor_index=index, guess=drift)
    return Alignment(
        delay_samples=_delay(index, position, slope.std, drift),
        drift_ppm=drift,
        polarity=slope.polarity,
        polarity_turns=False,
        opening_found=hit.marker == "opening",
        closing_found=hit.marker == "closing",
        gain_db=slope.gain_db - stimulus.recipe.sync_dbfs,
        ident=_read_ident(track, index=index, position=position),
        jumps=(),
    )


def _delay(index: float, position: int, std: float, drift: Quantity) -> Quantity:
    """Capture index of stimulus sample 0, from that of a marker at `position`."""
    value = index - position * (1 + 1e-6 * drift.value)
    return Quantity.from_std(value, float(np.hypot(std, 1e-6 * position * drift.std)), "samples")


def _read_ident(track: Track, *, index: float, position: float) -> IdentReading | None:
    """Read the ident where the marker at `position` says it is; refuse another recipe's."""
    stimulus = track.stimulus
    margin = IDENT_MARGIN_S * stimulus.rate_hz
    start = max(0, round(index + stimulus.ident.start - position - margin))
    stop = round(index + stimulus.ident.stop - position + margin)
    if stop <= start:
        return None
    reading = read_ident(track.finite(start, stop), rate_hz=stimulus.rate_hz)
    if reading is not None and reading.recipe_hash_prefix != stimulus.recipe.hash[:HASH_DIGITS]:
        raise wrong_stimulus(track, reading)
    return reading
