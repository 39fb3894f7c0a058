"""How well a designed stimulus should tell each number: from what a first profile is sure of, and why not."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.profile import glossary
from charprobe.profile.entry import numbers
from charprobe.profile.profile import Profile
from charprobe.stimulus.design_needs import LONGER, SETTLE, Needs
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.values.arrays import Array
from charprobe.values.between_chords import between_chords
from charprobe.values.quantity import DB_PER_NEPER, Z95, Quantity, student_factor

# standard uncertainty of one pole's times, in time constants, per noise over change and root of samples
KAPPA = {"t63": 5.1, "t90": 12.3}
FORETOLD = (
    "static.threshold", "static.ratio", "static.makeup_gain",
    "attack.t63", "attack.t90", "release.t63", "release.t90",
)  # fmt: skip
AT_REST = ("static.low_level_gain", "static.makeup_gain")
SHAPES = ("static.slope", "static.ratio", "static.knee_width")  # what no shift of the input axis moves
ZERO_SAMPLES = 0.015  # of time zero; a stage that works in samples meets each burst at any time within one
OWN_SAMPLES = 12**-0.5
SHAPE = 1e-4  # of a time constant, left by curvature that reading a time does not follow
# scatter between `USUAL_PHASES` as most stages have it, where the first take had not rested and tells none
USUAL_PERIODS, USUAL_SHARE = 0.03, 3e-4  # of attacks in carrier periods, of releases as a share
USUAL_PHASES = 9
PARTED = 5  # phases from which on those that average out are told from those that do not
# release t90 in a gap up to which attacks are doubted for where bursts begin alone, and from which not at all
UNRESTED, RESTED = 1.1, 2.0
SAME_DB = 1.0  # levels this near bring out the same times, as nearly as they are foretold
SAME_TOP_DB = 0.1  # levels this near lose the same
LEVEL_MOVES = {"t63": math.e, "t90": 10.0}  # time constants by which a time moves per level over change
LEVEL_STAYS = 0.4  # share of such a level that a release seen to its end still doubts
LEVEL_DB = 0.0002  # of any level step, for what changes unseen within it
LATE = 0.5  # share of a step that its level is read from
LONGER_BY = 4.0  # times as long as first steps that had not settled: up to that, designed ones surely do
MISFIT = 10.0  # times the uncertainty by its points at which a curve is doubted for its shape
ONE_DB_DOWN, WITNESSES = "static.threshold_1db", 2  # steps within a bend that show its shape
NARROW_DB = 1e-3  # knees narrower than this are hard
# an interval that shrinks to no less than this tells nothing new
TOLD_ANEW = 0.7


@dataclass(frozen=True)
class ExpectedInterval:
    """How well the next capture should tell a quantity that is known: half 95 % intervals now and then."""

    name: str
    value: float
    now: float
    then: float
    unit: str

    def gains(self, *, rate_hz: int) -> bool:
        """Whether the number is not known as well as the goal asks, and will be told clearly better."""
        goal = glossary.term(self.name).goal
        if goal is None:
            return False
        return self.now > goal.allowed(self.value, rate_hz=rate_hz) and self.then <= TOLD_ANEW * self.now


def expected_intervals(
    profile: Profile, needs: Needs, steps: LevelSteps, bursts: Bursts | None
) -> tuple[ExpectedInterval, ...]:
    """Foretell half intervals of the static curve and main times, from first profile and design.

    Notes
    -----
    What the first profile has no number for is not foretold: nothing tells how a stage scatters. Nor are
    times of a burst that the first take did not play, or of a stage that remembers, nor a curve that is
    doubted for its shape.

    Times: one pole in dB under white noise has ``std(t63) = 5.1 tau (sigma / change) / sqrt(tau * rate)``,
    sigma the noise of the gain per sample, joined with time zero and 0.01 % of tau for curvature. What the
    first profile is unsure of beyond that is scatter between carrier phases: part of it shrinks as means over
    phases do, part is the stage's own. Where the gaps or holds of the first take were too short, that was its
    doubt, and longer ones end it; scatter is taken then as most stages have it.

    Static: the covariance of the curve fitted to the designed levels. What the first profile is unsure of
    beyond the covariance of its own levels, such as the input axis, stays. Where steps had not settled and
    were carried on, only the doubt of the axis stays, if those designed last long enough to settle.
    """
    times = () if bursts is None or _remembers(profile) else tuple(_times(profile, needs, bursts))
    return (*_static(profile, needs, steps), *times)


def _remembers(profile: Profile) -> bool:
    """Whether the gain hangs on what was played before: other steps and gaps are other conditions."""
    return _said_of(profile, "history-dependent", "warn", "note")


def _said_of(profile: Profile, code: str, *severities: str) -> bool:
    return any(item.code == code and item.severity in severities for item in profile.health)


def _row(name: str, known: Quantity, std: float) -> ExpectedInterval:
    return ExpectedInterval(name, known.value, (known.high - known.low) / 2, Z95 * std, known.unit)


@dataclass(frozen=True)
class _Edge:
    """One edge of the reference burst: level it ends at, time constant, change of the gain; the noise."""

    level_dbfs: float
    tau_s: float
    change_db: float
    noise_dbfs: float
    rate_hz: int

    def std(self, name: str, value_s: float, phases: int) -> float:
        """Standard uncertainty of a time that nothing but noise and reading doubts."""
        sigma_db = DB_PER_NEPER * 10 ** ((self.noise_dbfs - self.level_dbfs) / 20) / math.sqrt(phases)
        root = math.sqrt(max(1.0, self.tau_s * self.rate_hz))
        zero = math.hypot(ZERO_SAMPLES, OWN_SAMPLES / math.sqrt(phases)) / self.rate_hz
        return math.hypot(
            KAPPA[name] * self.tau_s * sigma_db / self.change_db / root, zero, SHAPE * self.tau_s
        )


def _times(profile: Profile, needs: Needs, bursts: Bursts) -> Iterator[ExpectedInterval]:
    noise, low_level = profile.measured("noise.unweighted"), profile.measured("static.low_level_gain")
    if noise is None:
        return
    first, gain = needs.first, low_level.value if low_level else 0.0
    change = abs(first.reduction_db)
    if not _same_burst(needs, bursts) or not change > 0:
        return
    shrinks = _of_mean(bursts.phases) / _of_mean(first.phases)
    for edge, level, t90, of_mean in (  # part of what scatters at an attack is how a stage hears its carrier
        ("attack", bursts.high_dbfs + gain - change, needs.attack_t90_s, math.sqrt(shrinks)),
        ("release", bursts.low_dbfs + gain, needs.release_t90_s, shrinks),
    ):
        one = _Edge(level, t90 / math.log(10), change, noise.value, profile.stimulus.rate_hz)
        found = {name: profile.measured(f"{edge}.{name}") for name in KAPPA}
        known = {name: reading for name, reading in found.items() if reading is not None}
        was = {name: one.std(name, reading.value, first.phases) for name, reading in known.items()}
        beyond = {name: math.sqrt(max(0.0, known[name].std ** 2 - was[name] ** 2)) for name in known}
        own = not _said_of(profile, "gap-too-short", "warn")
        scatter, unknown = _of_the_stage(beyond, edge, needs, own=own)
        for name, reading in known.items():
            then = one.std(name, reading.value, bursts.phases)
            then *= min(1.0, reading.std / was[name])  # no doubt that the first take had not
            usual = USUAL_PERIODS / bursts.carrier_hz if edge == "attack" else USUAL_SHARE * reading.value
            usual *= unknown * _of_mean(bursts.phases) / _of_mean(USUAL_PHASES)
            then = min(reading.std, math.hypot(then, of_mean * scatter.get(name, 0.0), usual))
            yield _row(f"{edge}.{name}", reading, then)


def _same_burst(needs: Needs, bursts: Bursts) -> bool:
    """Whether the first take played these bursts, or held its own until their attack had ended.

    Others have other times, of which it tells nothing.
    """
    first = needs.first
    ends = (bursts.low_dbfs - first.low_dbfs, bursts.high_dbfs - first.high_dbfs)
    held = first.hold_s >= 0.99 * min(bursts.hold_s, needs.attack_ends_s)
    return held and max(map(abs, ends)) < SAME_DB  # not where the first take had none


def _of_the_stage(
    beyond: dict[str, float], edge: str, needs: Needs, *, own: bool
) -> tuple[dict[str, float], float]:
    """What of the doubt beyond the noise stays with longer gaps and holds, and what share of it is not known.

    What stays is scatter between phases. A rest not reached is one level too low or too high: it moves t90 by
    3.7 times as much as t63, scatter moves both alike. Part of it stays, for noise looks alike. `own` is
    False where the first bursts did not begin at rest.
    """
    if edge == "attack":
        rested = needs.first.gap_s / max(needs.release_t90_s, 1e-9)
        share = own * min(1.0, max(0.0, (rested - UNRESTED) / (RESTED - UNRESTED)))
        return {name: share * std for name, std in beyond.items()}, 1.0 - share
    if needs.first.gap_s >= SETTLE * needs.release_t90_s:
        return beyond, 0.0
    if len(beyond) < len(LEVEL_MOVES):
        return {}, 1.0
    near, far = (LEVEL_MOVES[name] ** 2 for name in ("t63", "t90"))
    level = max(0.0, beyond["t90"] ** 2 - beyond["t63"] ** 2) / (far - near)
    ended = (1 - LEVEL_STAYS**2) * min(level, beyond["t63"] ** 2 / near)
    stays = {
        name: math.sqrt(max(0.0, std**2 - LEVEL_MOVES[name] ** 2 * ended)) for name, std in beyond.items()
    }
    # what moves t90 by more than a gain that is off at both was a release not seen to its end
    stays["t90"] = min(stays["t90"], math.sqrt(far / near) * stays["t63"])
    return stays, 0.0


def _of_mean(phases: int) -> float:
    """Uncertainty of a mean over phases that scatter, for a given scatter.

    Student's factor is taken where scatter stands clear of noise, which is chance for so few: its root.
    """
    return math.sqrt(student_factor(phases - (3 if phases >= PARTED else 1)) / phases)


@dataclass(frozen=True)
class _Curve:
    """A curve of one bend: gain at rest, threshold, knee and reduction per dB, on the input axis."""

    rest_db: float
    threshold_dbfs: float
    knee_db: float
    slope: float

    def gain(self, level: Array) -> Array:
        over = level - self.threshold_dbfs
        knee = max(self.knee_db, NARROW_DB)
        inside = np.clip(over + knee / 2, 0.0, knee)
        return self.rest_db - self.slope * (inside**2 / (2 * knee) + np.maximum(0.0, over - knee / 2))

    def moved(self, by: Sequence[float]) -> _Curve:
        rest, threshold, slope, knee = (*by, 0.0)[:4]
        return _Curve(
            self.rest_db + rest, self.threshold_dbfs + threshold, self.knee_db + knee, self.slope + slope
        )


def _static(profile: Profile, needs: Needs, steps: LevelSteps) -> Iterator[ExpectedInterval]:
    rest, threshold = profile.measured("static.low_level_gain"), profile.measured("static.threshold")
    knee, slope = profile.measured("static.knee_width"), profile.measured("static.slope")
    noise = profile.measured("noise.unweighted")
    if rest is None or noise is None:
        return
    axis_db = needs.first.axis_db
    levels = np.array(steps.levels_dbfs) + axis_db
    first_levels, first_stds, settled = _first_points(profile)
    # steps that are too short once more foretell nothing, nor do slow ones: what is slow may be slower still
    times_longer = steps.step_s / needs.first.step_s
    enough = steps.step_s >= needs.rise_s and LONGER <= times_longer <= LONGER_BY
    unlike = not settled and (not enough or _remembers(profile))
    if threshold is None or slope is None or knee is None or unlike:
        yield from _at_rest(profile)
        return
    curve = _Curve(rest.value, threshold.value, knee.value if knee.low > 0 else 0.0, 1 - slope.value)
    out = levels + curve.gain(levels)
    count = max(1.0, LATE * steps.step_s * profile.stimulus.rate_hz)
    by_noise = DB_PER_NEPER * 10 ** ((noise.value - out) / 20) / math.sqrt(count)
    stds = np.hypot(by_noise, LEVEL_DB)
    reading = _readings(curve, top_dbfs=float(levels.max()))
    same_top = abs(float(levels.max() - first_levels.max())) < SAME_TOP_DB  # most is lost at the highest step
    played = (levels, stds), (first_levels, first_stds)
    then, before = (_stds(curve, reading, *points) for points in played)
    unseen, unseen_before = (_unseen_db(curve, np.unique(at)) for at, _ in played)
    then[ONE_DB_DOWN] = math.hypot(then[ONE_DB_DOWN], unseen / (2 * Z95))
    shape = [(known, before[name]) for name in SHAPES if name in before and (known := profile.measured(name))]
    if settled and any(known.std > MISFIT * by_points for known, by_points in shape):
        yield from _at_rest(profile)  # whether finer steps end what the curve misses is not known
        return
    for name in reading:
        known = profile.measured(name)
        if known is None or (name == "static.max_reduction" and not same_top):
            continue
        stays = math.sqrt(max(0.0, known.std**2 - before[name] ** 2))
        if not settled or (name == ONE_DB_DOWN and unseen_before):  # what extrapolation doubted ends
            stays = 0.0 if name in SHAPES else math.sqrt(max(0.0, rest.std**2 - before[AT_REST[0]] ** 2))
        yield _row(name, known, min(known.std, math.hypot(then[name], stays)))
    if curve.knee_db == 0.0:
        yield _row("static.knee_width", knee, _hard_knee(curve, levels, stds) / (2 * Z95))


def _at_rest(profile: Profile) -> Iterator[ExpectedInterval]:
    """The gain at rest alone: it stays as sure as it is."""
    for name in AT_REST:
        if (known := profile.measured(name)) is not None:
            yield _row(name, known, known.std)


def _first_points(profile: Profile) -> tuple[Array, Array, bool]:
    """Levels in use, their standard uncertainties, and whether all had settled."""
    table = profile.curves["static"]
    used = np.array(table.columns["used"], dtype=bool)
    hz = numbers(table, "frequency_hz")
    used &= np.abs(hz - hz[0]) < 1.0
    settled = np.array(table.columns["settled"], dtype=bool)[used]
    stds = np.hypot(numbers(table, "std_db")[used], LEVEL_DB)
    return numbers(table, "input_dbfs")[used], stds, bool(settled.all())


def _readings(curve: _Curve, *, top_dbfs: float) -> dict[str, Callable[[_Curve], float]]:
    """What is read off a curve, by name."""
    read: dict[str, Callable[[_Curve], float]] = {
        "static.low_level_gain": lambda c: c.rest_db,
        "static.makeup_gain": lambda c: c.rest_db,
        "static.threshold": lambda c: c.threshold_dbfs,
        ONE_DB_DOWN: lambda c: _one_db_down(c, top_dbfs),
        "static.slope": lambda c: 1 - c.slope,
        "static.ratio": lambda c: 1 / max(1 - c.slope, 1e-3),
        "static.max_reduction": lambda c: float(c.rest_db - c.gain(np.array([top_dbfs]))[0]),
    }
    return read | ({"static.knee_width": lambda c: c.knee_db} if curve.knee_db > 0 else {})


def _one_db_down(curve: _Curve, top_dbfs: float) -> float:
    level = np.linspace(curve.threshold_dbfs - curve.knee_db, top_dbfs, 4000)
    return float(np.interp(1.0, curve.rest_db - curve.gain(level), level))


def _unseen_db(curve: _Curve, levels: Array) -> float:
    """Width of where the level 1 dB down may lie, where too few steps within the bend show its shape."""
    at = _one_db_down(curve, float(levels.max()))
    from_bend = np.abs(levels - curve.threshold_dbfs) - curve.knee_db / 2
    after = int(np.clip(np.searchsorted(levels, at), 1, levels.size - 1))
    straight = levels[after - 1] >= curve.threshold_dbfs + curve.knee_db / 2
    if straight or np.sum(from_bend < 0) >= WITNESSES:
        return 0.0
    first, last = between_chords(levels, curve.gain(levels), at=at, value=curve.rest_db - 1.0)
    return max(0.0, at - first) + max(0.0, last - at)


def _stds(
    curve: _Curve, readings: dict[str, Callable[[_Curve], float]], levels: Array, stds: Array
) -> dict[str, float]:
    """Standard uncertainty of each reading, from the curve fitted to points by least squares."""
    count = 4 if curve.knee_db > 0 else 3
    moves = 1e-3 * np.eye(count)
    slopes = np.array([(curve.moved(m).gain(levels) - curve.moved(-m).gain(levels)) / 2e-3 for m in moves]).T
    covariance = np.linalg.pinv((slopes / stds[:, None]).T @ (slopes / stds[:, None]))
    found = {}
    for name, read in readings.items():
        weights = np.array([(read(curve.moved(m)) - read(curve.moved(-m))) / 2e-3 for m in moves])
        found[name] = math.sqrt(max(0.0, float(weights @ covariance @ weights)))
    return found


def _hard_knee(curve: _Curve, levels: Array, stds: Array) -> float:
    """Widest knee that levels do not tell from a hard one: it shows where a level lies inside it."""
    for width in np.geomspace(0.01, 20.0, 200):
        soft = _Curve(curve.rest_db, curve.threshold_dbfs, float(width), curve.slope)
        if float(np.sum(((soft.gain(levels) - curve.gain(levels)) / stds) ** 2)) > Z95**2:
            return float(width)
    return 20.0
