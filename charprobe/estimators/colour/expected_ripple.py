"""The third harmonic that gain ripple must make, from the times of attack and release alone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from charprobe.estimators.timing.edge.times import PART_63
from charprobe.values.arrays import Array

Smoothed = Literal["reduction", "amplitude", "power"]
Falling = Literal["target", "zero"]
KINDS: tuple[tuple[Smoothed, Falling], ...] = (
    ("reduction", "target"),
    ("reduction", "zero"),
    ("amplitude", "target"),
    ("amplitude", "zero"),
    ("power", "target"),
    ("power", "zero"),
)

SHARES = (0.5, PART_63, 0.9)
PHASES = 192  # of a half period, evenly apart
RATIOS = (1e-6, 30.0)  # of attack to release constant, tried
ROUNDS, STRAIGHT = 40, 10  # of the search for a steady state: most need four; by straight lines at first
LOOKS = 12  # at most, for the ratio of the constants
MOST_OVER_DB = 120.0  # no level lies so far above a threshold: a reduction that has ended has no such slope
MISS = 0.05  # of the logarithm of its times, rms, that a detector may miss the measured ones by
AS_GOOD, NEAR = 1.5, 0.01  # a detector is as good as the best within this factor, and so much beside
LEAST_DB = 1e-3  # of a reduction
NEAR_STATE = 1e-13  # of what it follows: a state that has come back
SAME_RATIO = 1e-7  # of the logarithm of a ratio

_ANGLE = np.pi * (np.arange(PHASES) + 0.5) / PHASES  # from one crest to the next
_HALF_DB = 20 * np.log10(np.abs(np.cos(_ANGLE)))
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)  # of the integrals over a movement


@dataclass(frozen=True)
class ChangeTimes:
    """Times for 50, 63.2 and 90 % of the change of gain at one edge, in s; NaN where not known."""

    t50_s: float
    t63_s: float
    t90_s: float

    @property
    def times_s(self) -> Array:
        """The three times, shape (3,)."""
        return np.array([self.t50_s, self.t63_s, self.t90_s])


@dataclass(frozen=True)
class Motion:
    """What bursts told of a stage's gain.

    Attributes
    ----------
    attack, release : ChangeTimes
        Times of both edges; those of the release are counted from the end of the hold.
    hold_s : float >= 0
        Time the gain waits before a release.
    step_db : float > 0
        Level step of the bursts, in dB.
    reduction_db : float > 0
        Gain reduction at their high level.
    slope : float > 0
        Slope of the reduction there, in dB per dB: 0.75 for 4:1.
    """

    attack: ChangeTimes
    release: ChangeTimes
    hold_s: float
    step_db: float
    reduction_db: float
    slope: float


@dataclass(frozen=True)
class Steady:
    """A tone under gain reduction: its frequency, and reduction and slope at its level, as in `Motion`."""

    frequency_hz: float
    reduction_db: float
    slope: float


@dataclass(frozen=True)
class Rippling:
    """A detector that has the measured times.

    Attributes
    ----------
    smoothed : {"reduction", "amplitude", "power"}
        What its attack and release smooth.
    falling : {"target", "zero"}
        What the release falls towards between crests.
    attack_s, release_s : float
        Its time constants.
    miss : float
        Root-mean-square difference of its times from the measured ones, in units of their logarithm.
    """

    smoothed: Smoothed
    falling: Falling
    attack_s: float
    release_s: float
    hold_s: float
    miss: float

    def third_harmonics(self, tones: Sequence[Steady]) -> Array:
        """Third harmonic over the fundamental that each tone gets, as an amplitude ratio; shape (tones,)."""
        return np.array([self._third(tone) for tone in tones])

    def _third(self, tone: Steady) -> float:
        half_s = 0.5 / tone.frequency_hz
        # where nothing falls between the crests there is no ripple
        if tone.reduction_db < LEAST_DB or self.hold_s >= half_s:
            return 0.0
        law = _DetectorLaw(self.smoothed, self.falling, tone.slope)
        crest_db = law.crest_db(tone.reduction_db, self.attack_s / self.release_s)
        gain = 10 ** (-law.reduction_db(self._period(law.target(crest_db), half_s)) / 20)
        wave = gain * np.cos(_ANGLE)
        first, third = (abs(np.sum(wave * np.exp(-1j * order * _ANGLE))) for order in (1, 3))
        return float(third / first)

    def _period(self, target: Array, half_s: float) -> Array:
        """States over half a period of the tone that end where they began.

        The last state is a straight line of the first for as long as the same points rise, so each walk tells
        where that line meets its start; where this leaves the range, or goes on for long, it is halved.
        """
        step_s = half_s / PHASES
        rise, fall = (
            -np.expm1(-step_s / max(constant, 1e-9)) for constant in (self.attack_s, self.release_s)
        )
        wait = round(self.hold_s / step_s)
        low, high = float(target.min()), float(target.max())
        near, start, goals = NEAR_STATE * (high - low), (low + high) / 2, target.tolist()
        for turn in range(ROUNDS):
            states, slope = self._walk(goals, start, rise, fall, wait)
            off = states[-1] - start
            if abs(off) <= near:
                break
            low, high = (start, high) if off > 0 else (low, start)
            start += off / max(1 - slope, 1e-12)
            if not low < start < high or turn >= STRAIGHT:
                start = (low + high) / 2
        return np.array(states)

    def _walk(
        self, goals: list[float], start: float, rise: float, fall: float, wait: int
    ) -> tuple[list[float], float]:
        """States at each of the goals, from the one before it, and the slope of the last by the first.

        A fall waits so many points.
        """
        states, state, since, falls, waits = [], start, 0, 0, 0
        for goal in goals:
            if goal >= state:
                state += rise * (goal - state)
                since = 0
            else:
                since += 1
                if since > wait:
                    state += fall * ((goal if self.falling == "target" else 0.0) - state)
                    falls += 1
                else:
                    waits += 1
            states.append(state)
        return states, float((1 - rise) ** (len(goals) - falls - waits) * (1 - fall) ** falls)


@dataclass(frozen=True)
class Smooth:
    """A detector without ripple, whose reduction in dB moves exponentially."""

    miss: float

    def third_harmonics(self, tones: Sequence[Steady]) -> Array:
        """No third harmonic; shape (tones,)."""
        return np.zeros(len(tones))


Detector = Rippling | Smooth


@dataclass(frozen=True)
class _DetectorLaw:
    """How a rectified sine drives a state, and what reduction that state means."""

    smoothed: Smoothed
    falling: Falling
    slope: float

    def target(self, crest_db: float | Array) -> Array:
        """What the state follows over half a period of a sine whose crest lies so far above the threshold."""
        level_db = np.asarray(crest_db)[..., None] + _HALF_DB
        if self.smoothed == "reduction":
            return np.asarray(np.maximum(0.0, self.slope * level_db))
        return np.asarray(10 ** (level_db / self._decade))

    @property
    def _decade(self) -> float:
        return 20.0 if self.smoothed == "amplitude" else 10.0

    def reduction_db(self, state: Array) -> Array:
        """Reduction in dB that a state stands for."""
        if self.smoothed == "reduction":
            return state
        return np.maximum(0.0, self.slope * self._decade * np.log10(np.maximum(state, 1e-30)))

    def state(self, reduction_db: Array) -> Array:
        """State that stands for a reduction in dB."""
        if self.smoothed == "reduction":
            return reduction_db
        return np.asarray(10 ** (reduction_db / (self.slope * self._decade)))

    def crest_db(self, reduction_db: float, ratio: float) -> float:
        """Crest above the threshold at which a tone that is fast against both constants settles there."""
        settled = self.state(np.array(reduction_db))
        return _zero(
            lambda crests: self.speed(self.target(crests), settled, ratio),
            0.0,
            reduction_db / self.slope + 400.0,
        )

    def speed(self, target: Array, states: Array, ratio: float) -> Array:
        """Speed of states, averaged over the period of a fast tone, in units of the attack constant."""
        ahead = target - states[..., None]
        behind = ahead if self.falling == "target" else -states[..., None]
        return np.asarray(np.mean(np.where(ahead > 0, ahead, ratio * behind), axis=-1))

    def settled(self, target: Array, ratio: float) -> float:
        """State at which a fast tone settles."""
        highest = float(target.max())
        if highest <= 0:
            return highest
        return _zero(lambda states: -self.speed(target, states, ratio), 0.0, highest)

    def times(self, motion: Motion, ratio: float) -> Array:
        """t50, t63, t90 of attack and release, in units of the attack constant; shape (2, 3)."""
        crest_db = self.crest_db(motion.reduction_db, ratio)
        loud, quiet = self.target(crest_db), self.target(crest_db - motion.step_db)
        top, bottom = self.settled(loud, ratio), self.settled(quiet, ratio)
        rest_db = float(self.reduction_db(np.array(bottom)))
        change = np.array(SHARES) * (motion.reduction_db - rest_db)
        up, down = self.state(rest_db + change), self.state(motion.reduction_db - change)
        return np.array([self._passing(loud, bottom, up, ratio), self._passing(quiet, top, down, ratio)])

    def _passing(self, target: Array, start: float, goals: Array, ratio: float) -> Array:
        """Times from one state to others, by integrating one over the speed."""
        states = start + (goals[:, None] - start) * (_NODES + 1) / 2
        return np.asarray((goals - start) / 2 * np.sum(_WEIGHTS / self.speed(target, states, ratio), axis=1))


def _zero(
    rising: Callable[[Array], Array], low: float, high: float, *, tries: int = 32, looks: int = 4
) -> float:
    """Where a rising function passes zero: tries inside its bracket at each look, at last a straight line."""
    places = np.array([low, high])
    values = rising(places)
    for _ in range(looks):
        inside = np.linspace(places[0], places[1], tries + 2)[1:-1]
        values = np.concatenate([values[:1], rising(inside), values[1:]])
        places = np.concatenate([places[:1], inside, places[1:]])
        above = int(np.argmax(values[1:] > 0)) + 1
        places, values = places[above - 1 : above + 1], values[above - 1 : above + 1]
    share = -values[0] / (values[1] - values[0])
    return float(places[0] + np.clip(share, 0.0, 1.0) * (places[1] - places[0]))


def _crossing(
    rising: Callable[[float], float], places: tuple[float, float], ends: tuple[float, float]
) -> float:
    """Where a rising function that is nearly straight passes zero, by straight lines between two places.

    An end that stays twice counts half (the Illinois rule), so that both close in.
    """
    (low, high), (below, above) = places, ends
    place, side = low, 0
    for _ in range(LOOKS):
        last, place = place, high - above * (high - low) / (above - below)
        if abs(place - last) < SAME_RATIO:
            break
        value = rising(place)
        if value > 0:
            high, above, below, side = place, value, below / 2 if side > 0 else below, 1
        else:
            low, below, above, side = place, value, above / 2 if side < 0 else above, -1
    return place


def likely_detectors(motion: Motion) -> tuple[Detector, ...]:
    """Find the detectors that have the measured times, best first.

    Parameters
    ----------
    motion : Motion
        What bursts told.

    Returns
    -------
    tuple of Rippling or Smooth
        Empty if no detector of these families has the times, one of the times is not positive, or the slope
        is not that of the reduction.

    Notes
    -----
    A full-wave rectifier drives one pole with an attack and a release constant, which smooths either the
    reduction in dB, the amplitude, or the power, and falls towards the rectified signal or towards nothing;
    equal constants are the plain average and the mean square.
    For carriers that are fast against both, the state moves at the speed averaged over the carrier's period,
    so times are integrals of one over that speed. The ratio of the constants is solved from the ratio of the
    two t63, their size from the release; t50 and t90 tell which of the three fits. The harmonic then follows
    from the state's periodic course under a steady tone, whose level is set so that the averaged state has
    the measured reduction. A rectifier bends the attack away from an exponential; a gain that moves as an
    exact exponential at both edges is driven by something smooth.
    """
    if min(*motion.attack.times_s, *motion.release.times_s) <= 0:
        return ()
    if motion.reduction_db > MOST_OVER_DB * motion.slope:
        return ()
    found: list[Detector] = [one for one in (_matched(*kind, motion) for kind in KINDS) if one is not None]
    found.append(_smooth(motion))
    found.sort(key=lambda one: one.miss)
    return tuple(one for one in found if one.miss <= MISS and one.miss <= AS_GOOD * found[0].miss + NEAR)


def _matched(smoothed: Smoothed, falling: Falling, motion: Motion) -> Rippling | None:
    law = _DetectorLaw(smoothed, falling, motion.slope)
    measured = np.array([motion.attack.times_s, motion.release.times_s])
    wanted = float(np.log(measured[0, 1] / measured[1, 1]))

    def excess(log_ratio: float) -> float:
        times = law.times(motion, float(np.exp(log_ratio)))
        return float(np.log(times[0, 1] / times[1, 1])) - wanted

    low, high = (float(np.log(ratio)) for ratio in RATIOS)
    ends = excess(low), excess(high)
    if ends[0] > 0:
        log_ratio = low
    elif ends[1] < 0:
        return None
    else:
        log_ratio = _crossing(excess, (low, high), ends)
    ratio = float(np.exp(log_ratio))
    times = law.times(motion, ratio)
    attack_s = float(measured[1, 1] / times[1, 1])
    miss = _miss(attack_s * times, measured)
    return Rippling(smoothed, falling, attack_s, attack_s / ratio, motion.hold_s, miss)


def _smooth(motion: Motion) -> Smooth:
    measured = np.array([motion.attack.times_s, motion.release.times_s])
    exponential = -np.log(1 - np.array(SHARES))
    return Smooth(_miss(measured[:, 1:2] * exponential, measured))


def _miss(times: Array, measured: Array) -> float:
    misses = np.log(times / measured)
    return float(np.sqrt(np.mean(misses[np.isfinite(misses)] ** 2)))
