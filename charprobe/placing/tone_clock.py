"""The recorder's clock seen in steady tones: drift from their frequency, offsets from their phase."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from charprobe.placing.track import Clock, Track, finite
from charprobe.stimulus.kinds.segment import Tone
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.arrays import Array
from charprobe.values.hann import hann
from charprobe.values.phasor import phasor
from charprobe.values.quantity import Quantity

SKIPPED_SHARE = 0.4  # of each tone, while a stage settles
LONGEST_S, SHORTEST_S = 0.4, 0.03  # of a tone's end that is used, and needed
CLEAR_S = 0.006  # kept off a tone's end, where the next one may already ramp in
WIDEST_PPM = 600.0
NEAR_PPM = 10.0  # within which phases tell the clock as well as from the clock itself: they are linear in it
LEAST_CLEAR_DB = 12.0  # a tone must stand this far above the rest of its window
FEW_TONES = 32
PHASE_FLOOR_RAD = 2e-5  # what settling and phase modulation in a device leave in a steady tone, at best


@dataclass(frozen=True)
class TonePhase:
    """Phase of one tone against the timetable, in two windows.

    Attributes
    ----------
    tone : Tone
        Its place in the timetable.
    position : float
        Stimulus position of the middle between both windows.
    between : float
        Stimulus samples from the first window's middle to the second's.
    first_rad, second_rad : float
        Phase of the capture less that of the timetable, in each window; -pi to pi.
    std_rad : float
        Standard uncertainty of each, from what else is in the window, and from how the level moved between
        both: a stage whose gain still moves may turn the phase by as much, as two bands do.
    """

    tone: Tone
    position: float
    between: float
    first_rad: float
    second_rad: float
    std_rad: float

    @property
    def advance_rad(self) -> float:
        """Phase gained between both windows, -pi to pi."""
        return float(np.angle(np.exp(1j * (self.second_rad - self.first_rad))))


def steady_tones(stimulus: Stimulus) -> tuple[Tone, ...]:
    """Tones long enough to show the clock, in playing order; of the same sound only one is kept."""
    least = SHORTEST_S * stimulus.rate_hz
    return tuple(t for s in stimulus.segments for t in s.tones if _usable(t, stimulus.rate_hz)[1] >= least)


def tone_phases(track: Track, tones: Sequence[Tone], clock: Clock) -> list[TonePhase]:
    """Measure the phase of tones against a clock.

    Tones outside the file, and tones that do not stand clear of everything else, are left out.
    """
    source, rate_hz = track.source, track.stimulus.rate_hz
    delay, factor = clock.delay, clock.factor
    found = []
    for tone in tones:
        start, length = _usable(tone, rate_hz)
        first, count = round(delay + start * factor), int(length * factor)
        if first < 0 or first + count > source.frames:
            continue
        samples = finite(source.read(first, first + count, track.channel))
        half = count // 2
        turns = tone.frequency_hz / rate_hz / factor  # of the tone's carrier in one capture sample
        at_first = (first - delay - tone.start * factor) * turns + tone.phase_rad / (2 * np.pi)
        waves, window = windowed(turns, half), hann(half)  # both windows see the same, turned on
        halves = samples[: 2 * half].reshape(2, half)
        seen = halves @ waves.T * (2 / window.sum())
        rest = halves * window
        rest -= seen @ waves
        # twice the mean square beside the tone
        noise = 2 * np.einsum("ij,ij->i", rest, rest) / float(window @ window)
        begins = at_first + np.array([0.0, turns * half])
        values = (seen[:, 0] - 1j * seen[:, 1]) * np.exp(-2j * np.pi * (begins % 1.0))
        clear = float(np.min(np.abs(values) ** 2 / np.maximum(noise, 1e-30)))
        if clear < 10 ** (LEAST_CLEAR_DB / 10):
            continue
        moved = abs(float(np.log(abs(values[1] / values[0]))))
        std = math.hypot(float(np.sqrt(float(window @ window) / clear) / window.sum()), moved)
        found.append(
            TonePhase(
                tone=tone,
                position=(first + half - delay) / factor,
                between=half / factor,
                first_rad=float(np.angle(values[0])),
                second_rad=float(np.angle(values[1])),
                std_rad=max(std, PHASE_FLOOR_RAD),
            )
        )
    return found


@lru_cache(maxsize=8)  # tones of one frequency follow each other
def windowed(turns_per_sample: float, count: int) -> Array:
    """Cosine and sine of a carrier in a window, shape (2, count); not to be changed."""
    carrier = phasor(0.0, turns_per_sample, count)
    return np.array([carrier.real, carrier.imag]) * hann(count)


def clock_errors_ppm(phases: Sequence[TonePhase], *, rate_hz: float) -> tuple[Array, Array]:
    """By how much each tone shows the recorder faster than the clock it was measured against, and its std."""
    turn_rad = np.array([2 * np.pi * p.tone.frequency_hz / rate_hz * p.between for p in phases])
    each_ppm = -1e6 * np.array([p.advance_rad for p in phases]) / turn_rad
    return each_ppm, 1e6 * np.sqrt(2) * np.array([p.std_rad for p in phases]) / turn_rad


def drift_from_tones(
    track: Track,
    *,
    anchor_position: float,
    anchor_index: float,
    guess: Quantity,
    until: float = np.inf,
) -> Quantity:
    """Drift of the recorder's clock from the frequency of steady tones.

    Parameters
    ----------
    track : Track
        The capture, its channel, and what it should hold.
    anchor_position, anchor_index : float
        A stimulus position, and where the capture holds it.
    guess : Quantity
        Drift in ppm, within `WIDEST_PPM` of the truth.
    until : float
        Only tones that end before this stimulus position are used.

    Returns
    -------
    Quantity
        In ppm; the guess itself where fewer than two tones stand clear.

    Notes
    -----
    Tones near the anchor come first, because they can be found before the drift is known; then those whose
    phase turns most. Robust weighted mean over tones; the interval is the larger of that of the phases'
    noise and of the scatter between tones.
    """
    rate_hz, drift_ppm = track.stimulus.rate_hz, guess.value
    steady = [t for t in steady_tones(track.stimulus) if t.stop <= until]
    tones = [t for t in steady if _turns(t, rate_hz) * WIDEST_PPM * 1e-6 < 0.45]
    nearest = sorted(tones, key=lambda t: abs(t.start - anchor_position))[:FEW_TONES]
    telling = sorted(tones, key=lambda t: -_turns(t, rate_hz) * 10 ** (t.level_dbfs / 40))[:FEW_TONES]
    result = guess
    for chosen in (nearest, telling, telling):
        delay = anchor_index - anchor_position * (1 + 1e-6 * drift_ppm)
        phases = tone_phases(track, chosen, Clock(delay, drift_ppm))
        if len(phases) < 2:
            continue
        each_ppm, std_ppm = clock_errors_ppm(phases, rate_hz=rate_hz)
        value, std = _robust_mean(each_ppm, std_ppm)
        drift_ppm += value
        result = Quantity.from_std(drift_ppm, std, "ppm")
        if chosen is telling and abs(value) < NEAR_PPM:
            break
    return result


def _turns(tone: Tone, rate_hz: float) -> float:
    """Periods from the middle of the first window to that of the second."""
    return tone.frequency_hz / rate_hz * _usable(tone, rate_hz)[1] / 2


def _usable(tone: Tone, rate_hz: float) -> tuple[float, float]:
    """Start and length, in stimulus samples, of the part of a tone that shows the clock."""
    stop = tone.stop - CLEAR_S * rate_hz
    start = max(tone.start + SKIPPED_SHARE * tone.length, stop - LONGEST_S * rate_hz)
    return start, stop - start


def _robust_mean(values: Array, stds: Array) -> tuple[float, float]:
    """Weighted mean that a few wild values do not move, and its standard uncertainty."""
    centre = float(np.median(values))
    for _ in range(8):
        away = np.abs(values - centre) / stds
        scale = max(1.0, float(np.median(away)) / 0.6745)
        weight = np.minimum(1.0, 2.0 * scale / np.maximum(away, 1e-12)) / stds**2
        centre = float(np.sum(weight * values) / np.sum(weight))
    return centre, scale * float(1 / np.sqrt(np.sum(weight)))
