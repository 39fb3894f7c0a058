"""Where the stimulus lies in a capture: delay, clock drift and polarity, from the sync markers."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import overload

import numpy as np

from charprobe.files.source import Source
from charprobe.placing.edited_gaps import find_edits
from charprobe.placing.marker_delay import PathPhase, delay_between, delay_of, path_response, phase_of
from charprobe.placing.marker_runs import Run, belong, find_runs
from charprobe.placing.marker_search import Hit
from charprobe.placing.timing_jump import TimingJump, place_jump
from charprobe.placing.tone_clock import drift_from_tones
from charprobe.placing.why_not_found import why_not_found, wrong_rate, wrong_stimulus
from charprobe.stimulus.ident import HASH_DIGITS, IdentReading, read_ident
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.arrays import Array
from charprobe.values.quantity import Quantity

ROUNDS = 3  # of marker and tones, until neither moves the other
MOST_ROUNDS = 8  # of delay and drift; one is enough on a common clock
SAME_FACTOR = 1e-11
IDENT_MARGIN_S = 0.2
LEAST_JUMP_SAMPLES = 0.5
EDIT_S = 0.02  # a change of length beyond any clock: somebody cut
JUMP_SIGMAS = 5.0
UNKNOWN_DRIFT = Quantity(0.0, -150.0, 150.0, "ppm")  # free-running converters differ by less


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
    opening_found: bool
    closing_found: bool
    gain_db: float
    ident: IdentReading | None
    jumps: tuple[TimingJump, ...]

    @property
    def step(self) -> float:
        """Stimulus samples per capture sample."""
        return 1 / (1 + 1e-6 * self.drift_ppm.value)

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


def locate(source: Source, stimulus: Stimulus, channel: int) -> Alignment:
    """Find the stimulus in one channel of a capture.

    Parameters
    ----------
    source : Source
        The capture, at the stimulus' sampling rate.
    stimulus : Stimulus
        What was played.
    channel : int
        Channel of the capture, from 0.

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
    if source.rate_hz != stimulus.rate_hz:
        raise wrong_rate(source, channel, stimulus)
    runs = find_runs(source, stimulus, channel)
    if not runs:
        raise why_not_found(source, channel, stimulus)
    return align_run(source, stimulus, channel, runs[0])


def align_run(source: Source, stimulus: Stimulus, channel: int, run: Run) -> Alignment:
    """Refine one run of several in a file; see `locate`."""
    if run.opening is not None and run.closing is not None:
        return _align_by_both(source, stimulus, channel, run.opening, run.closing)
    hit = run.opening or run.closing
    if hit is None:
        raise ValueError("a run has at least one marker")
    return _align_by_one(source, stimulus, channel, hit)


def _align_by_both(source: Source, stimulus: Stimulus, channel: int, first: Hit, last: Hit) -> Alignment:
    start, distance = stimulus.opening.start, stimulus.closing.start - stimulus.opening.start
    pair = _Pair(float(first.index), float(last.index), distance, 1.0)
    drift, jump = UNKNOWN_DRIFT, None
    if belong(first, last, distance=distance):
        pair = _on_own_clock(source, stimulus, channel, pair)
        drift = Quantity.from_std(1e6 * (pair.factor - 1), 1e6 * pair.between_std / distance, "ppm")
    else:
        pair = _refined(source, stimulus, channel, pair, factor=1.0)
        jump = Quantity.from_std(pair.last - pair.first - distance, 1e-6 * distance * drift.std, "samples")
    pair, drift, jump = _against_tones(source, stimulus, channel, pair, drift, jump)
    ident = _read_ident(source, stimulus, channel, index=pair.first, position=start)
    jumps: tuple[TimingJump, ...] = ()
    if jump is not None and abs(jump.value) > EDIT_S * stimulus.rate_hz:
        jumps = find_edits(
            source,
            channel,
            stimulus,
            opening_index=pair.first,
            closing_index=pair.last,
            drift_ppm=drift.value,
            gain_db=pair.gain_db - stimulus.recipe.sync_dbfs,
        )
        until = jumps[0].start if jumps else np.inf
        for _ in range(ROUNDS):
            drift = _drift_alone(source, stimulus, channel, pair.first, start, drift, until=until)
            pair = _refined(source, stimulus, channel, pair, factor=1 + 1e-6 * drift.value)
    elif jump is not None:
        delay = _delay(pair.first, start, pair.first_std, drift).value
        jumps = (
            place_jump(
                source,
                channel,
                stimulus,
                path=pair.path,
                delay=delay,
                drift_ppm=drift.value,
                samples=jump,
            ),
        )
    return Alignment(
        delay_samples=_delay(pair.first, start, pair.first_std, drift),
        drift_ppm=drift,
        polarity=pair.polarity,
        opening_found=True,
        closing_found=True,
        gain_db=pair.gain_db - stimulus.recipe.sync_dbfs,
        ident=ident,
        jumps=jumps,
    )


def _on_own_clock(source: Source, stimulus: Stimulus, channel: int, pair: _Pair) -> _Pair:
    """Refine both markers until the clock they show is the one they are measured with."""
    for _ in range(MOST_ROUNDS):
        before = pair.factor
        pair = _refined(source, stimulus, channel, pair, factor=before)
        pair = replace(pair, factor=pair.measured_factor)
        if abs(pair.factor - before) < SAME_FACTOR:
            break
    return pair


def _against_tones(
    source: Source,
    stimulus: Stimulus,
    channel: int,
    pair: _Pair,
    drift: Quantity,
    jump: Quantity | None,
) -> tuple[_Pair, Quantity, Quantity | None]:
    """Compare the clock of the markers with that of the tones; where they disagree, the tones' is right."""
    for _ in range(ROUNDS):
        seen = _drift_alone(source, stimulus, channel, pair.first, stimulus.opening.start, UNKNOWN_DRIFT)
        if seen is UNKNOWN_DRIFT:
            break
        beyond = pair.last - pair.first - pair.distance * (1 + 1e-6 * seen.value)
        std = float(np.hypot(pair.between_std, 1e-6 * pair.distance * seen.std))
        if abs(beyond) <= max(LEAST_JUMP_SAMPLES, JUMP_SIGMAS * std):
            break
        jump, drift = Quantity.from_std(beyond, std, "samples"), seen
        pair = _refined(source, stimulus, channel, pair, factor=1 + 1e-6 * seen.value)
    return pair, drift, jump


def _drift_alone(
    source: Source,
    stimulus: Stimulus,
    channel: int,
    index: float,
    position: float,
    guess: Quantity,
    until: float = np.inf,
) -> Quantity:
    """Drift that the tones show, or the guess where they show none."""
    seen = drift_from_tones(
        source,
        channel,
        stimulus,
        anchor_position=position,
        anchor_index=index,
        drift_ppm=guess.value,
        until=until,
    )
    return guess if seen is None else seen


@dataclass(frozen=True)
class _Pair:
    """Capture indices of both markers, and what their refinement showed."""

    first: float
    last: float
    distance: int
    factor: float  # capture samples per stimulus sample
    first_std: float = 0.0
    between_std: float = 0.0
    polarity: int = 1
    gain_db: float = 0.0
    path: PathPhase = field(default_factory=lambda: PathPhase(np.zeros(1), np.zeros(1)))

    @property
    def measured_factor(self) -> float:
        """The factor that the markers themselves show."""
        return (self.last - self.first) / self.distance


def _refined(source: Source, stimulus: Stimulus, channel: int, pair: _Pair, *, factor: float) -> _Pair:
    """Refine both markers for a known clock."""
    step, rate_hz = 1 / factor, stimulus.rate_hz
    opening = path_response(source, channel, "opening", index=pair.first, step=step, rate_hz=rate_hz)
    closing = path_response(source, channel, "closing", index=pair.last, step=step, rate_hz=rate_hz)
    slope = delay_of(opening)
    between, between_std = delay_between(opening, closing)
    return _Pair(
        first=opening.index + slope.delay,
        last=closing.index + slope.delay + between,
        distance=pair.distance,
        factor=factor,
        first_std=slope.std,
        between_std=between_std,
        polarity=1 if np.cos(slope.phase_rad) > 0 else -1,
        gain_db=float(20 * np.log10(slope.gain)),
        path=phase_of(opening, slope.delay),
    )


def _align_by_one(source: Source, stimulus: Stimulus, channel: int, hit: Hit) -> Alignment:
    position = stimulus.opening.start if hit.marker == "opening" else stimulus.closing.start
    index, drift = float(hit.index), UNKNOWN_DRIFT
    for _ in range(ROUNDS):
        step = 1 / (1 + 1e-6 * drift.value)
        path = path_response(source, channel, hit.marker, index=index, step=step, rate_hz=stimulus.rate_hz)
        slope = delay_of(path)
        index = path.index + slope.delay
        drift = _drift_alone(source, stimulus, channel, index, position, drift)
    return Alignment(
        delay_samples=_delay(index, position, slope.std, drift),
        drift_ppm=drift,
        polarity=1 if np.cos(slope.phase_rad) > 0 else -1,
        opening_found=hit.marker == "opening",
        closing_found=hit.marker == "closing",
        gain_db=float(20 * np.log10(slope.gain) - stimulus.recipe.sync_dbfs),
        ident=_read_ident(source, stimulus, channel, index=index, position=position),
        jumps=(),
    )


def _delay(index: float, position: int, std: float, drift: Quantity) -> Quantity:
    """Capture index of stimulus sample 0, from that of a marker at `position`."""
    value = index - position * (1 + 1e-6 * drift.value)
    return Quantity.from_std(value, float(np.hypot(std, 1e-6 * position * drift.std)), "samples")


def _read_ident(
    source: Source, stimulus: Stimulus, channel: int, *, index: float, position: float
) -> IdentReading | None:
    """Read the ident where the marker at `position` says it is; refuse another recipe's."""
    margin = IDENT_MARGIN_S * stimulus.rate_hz
    start = max(0, round(index + stimulus.ident.start - position - margin))
    stop = round(index + stimulus.ident.stop - position + margin)
    if stop <= start:
        return None
    samples = np.nan_to_num(source.read(start, stop, channel), nan=0.0, posinf=0.0, neginf=0.0)
    reading = read_ident(samples, rate_hz=source.rate_hz)
    if reading is not None and reading.recipe_hash_prefix != stimulus.recipe.hash[:HASH_DIGITS]:
        raise wrong_stimulus(source, channel, stimulus, reading)
    return reading
