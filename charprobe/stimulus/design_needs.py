"""What the next stimulus must allow for: levels and times of a setting, as its first profile tells them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from charprobe.profile.burst_traces import edge_trace, reference_step
from charprobe.profile.entry import numbers
from charprobe.profile.profile import Profile
from charprobe.stimulus.design_first import FirstTake, first_take
from charprobe.values.arrays import Array
from charprobe.values.quantity import Cause, Quantity, Unmeasured, value_or_most
from charprobe.values.wording import display_unit, number_text, rounded_text

SETTLE = 2.7  # t90 times this is six time constants of one pole
GUESS = 4.0  # a time known only as "at least" is planned for as this many times as long
NO_THRESHOLD_DBFS, NO_SLOPE, NO_ATTACK_S, NO_RELEASE_S = -28.0, 0.7, 0.02, 0.5
REST_DB = 0.02  # a gain this near its rest has come back
CARE = 1.3  # times what the end of an unfinished release foretells: stages mostly grow slower still
RISES = 5.0  # a level step lasts so many attack t90: its second half is read, and must lie at rest
HOLDS = 4.0  # a burst lasts so many attack t90: detectors that creep to the crests of a wave end late
LEFT_DB, MOST_UNSETTLED = 0.003, 0.1  # left to go unseen, and share of the steps that may not have settled
SLOWER = 3.0  # what is left at the end of a step belongs to a slower part than the mean of all
LONGER = 2.0  # times as long as in the first take, where steps had not settled
OVERSHOOT_DB = 0.1  # an overshoot worth waiting for
SLOW_SHARE = 0.3  # a step that hardly moves tells no time constant beyond so many of its own lengths
CLEAR_DB, NOT_HEARD_DBFS = 20.0, -60.0  # of a step over the noise; where steps begin if that is not known
BELOW_LIFT_DB = 8.0  # below an expander's or a lift's threshold, where bursts may begin
STILL_DB = 0.1  # a gain that changes by less between the levels of a burst has nothing to time
SLOWEST = 30.0  # lengths of the record beyond which its end foretells nothing


@dataclass(frozen=True)
class Needs:
    """Levels and times to plan for, and why: `reasons` say where they come from.

    `threshold_dbfs` is the played level where the curve bends, with a knee and a reduction per dB above;
    guesses where not known. Times are of an attack to 90 %, of a level step to the gain it settles at
    (`rise_s`), of a release to 90 % and to its rest; an attack `overshoots` that runs past the gain it
    settles at. `rest_gain_db` is the highest gain of path and stage that a burst meets, `top_gain_db` that at
    the highest level step.

    The gain `bends` that is known to fall above a level; below `lifts_below_dbfs` it falls or rises with
    level, as of an expander or a lift. `lowest_dbfs` and `highest_dbfs` are the ends of the first level
    steps, as played. A tone stands `CLEAR_DB` out of the noise from `heard_dbfs` on, where nothing is
    reduced. A stage is `still` whose gain no level played changed: there is nothing to time. `causes` are
    what the first stimulus lacked, and the quantities that have no number for it.
    """

    threshold_dbfs: float
    knee_db: float
    slope: float
    attack_t90_s: float
    rise_s: float
    overshoots: bool
    release_t90_s: float
    rest_s: float
    rest_gain_db: float
    top_gain_db: float
    first: FirstTake
    bends: bool
    lifts_below_dbfs: float | None
    lowest_dbfs: float
    highest_dbfs: float
    heard_dbfs: float
    still: bool
    causes: dict[Cause, tuple[str, ...]]
    reasons: tuple[str, ...]

    @property
    def expands(self) -> bool:
        """Whether the gain changes below a level, and at none above it."""
        return self.lifts_below_dbfs is not None and not self.bends

    @property
    def attack_ends_s(self) -> float:
        """How long a burst must be held for an attack to end."""
        return HOLDS * self.attack_t90_s + 0.05


def needs_of(profile: Profile) -> Needs:
    """Read what a first profile tells, from its numbers, its bounds and its gain traces."""
    threshold, slope = _threshold(profile), _slope(profile)
    knee, slow = profile.measured("static.knee_width"), profile.measured("release.tau_2")
    at_rest, first = profile.measured("static.low_level_gain"), first_take(profile)
    lower = value_or_most(profile.reading("static.lower_threshold"))  # of an expander or a lift
    levels, gains = _static_curve(profile)
    lowest, highest = (float(levels.min()), float(levels.max())) if levels.size else (0.0, -math.inf)
    top_gain_db = float(gains[np.argmax(levels)]) if levels.size else 0.0
    deepest = profile.measured("static.max_reduction")
    moved_db = max(abs(first.reduction_db), 0.0 if deepest is None else deepest.value)
    guess_dbfs = _guessed_dbfs(deepest, highest)
    late = profile.reading("release.t63")
    moves_on = isinstance(late, Unmeasured) and late.at_least is not None
    still = threshold is None and lower is None and moved_db < STILL_DB and not moves_on
    noise, overshoot = profile.measured("noise.unweighted"), profile.measured("attack.overshoot")
    begun_db, rise_db = _on_their_way_db(profile)
    gain_db = first.axis_db + (at_rest.value if at_rest else max(0.0, top_gain_db, begun_db))
    lifted_db = -math.inf  # settled gain where bursts begin, above that at rest where what is quiet is lifted
    if lower is not None and levels.size:
        lifted_db = float(gains[np.argmin(np.abs(levels - (lower - BELOW_LIFT_DB)))])
    attack_s, attack_why = (0.0, "0 s: nothing to wait for") if still else _attack_s(profile)
    release_s, rest_s, release_why = (0.0, 0.0, "0 s: nothing to wait for") if still else _release_s(profile)
    if slow is not None:
        release_s = max(release_s, math.log(10) * slow.value)
        rest_s = max(rest_s, SETTLE * release_s)
    return Needs(
        (guess_dbfs if threshold is None else threshold.value) - first.axis_db,
        knee.value if knee else 0.0,
        NO_SLOPE if slope is None else slope,
        attack_s,
        max(RISES * attack_s, _unsettled_s(profile, first)),
        overshoot is not None and overshoot.low > OVERSHOOT_DB,
        release_s,
        rest_s,
        max(gain_db + max(0.0, rise_db - OVERSHOOT_DB), first.axis_db + lifted_db),
        first.axis_db + top_gain_db,
        first,
        threshold is not None,
        None if lower is None else lower - first.axis_db,
        lowest - first.axis_db,
        highest - first.axis_db,
        NOT_HEARD_DBFS if noise is None else noise.value - gain_db + CLEAR_DB,
        still,
        causes_in(profile),
        (
            _where(profile, lower, guess_dbfs),
            f"holds follow an attack t90 of {attack_why}",
            f"gaps follow a release t90 of {release_why}",
        ),
    )


def _guessed_dbfs(deepest: Quantity | None, highest_dbfs: float) -> float:
    """Where the gain may begin to fall, if no bend is known: by what it has lost at the highest step."""
    if deepest is None or deepest.value < STILL_DB:
        return NO_THRESHOLD_DBFS
    return max(NO_THRESHOLD_DBFS, highest_dbfs - deepest.value / NO_SLOPE)


def _where(profile: Profile, lower: float | None, guess_dbfs: float) -> str:
    """Say what the levels of bursts go by."""
    if bend := profile.measured("static.threshold"):
        return f"steps lie around the measured threshold of {number_text(bend.value, 1)} dBFS"
    if fallen := profile.measured("static.threshold_1db"):
        return f"steps lie around {number_text(fallen.value, 1)} dBFS, where the gain has fallen by 1 dB"
    if lower is not None:
        return f"bursts begin below {number_text(lower, 1)} dBFS, where the gain changes with level"
    return f"the threshold is not known: a guess is {number_text(guess_dbfs, 0)} dBFS"


def _threshold(profile: Profile) -> Quantity | None:
    """Where the gain begins to fall: the bend of the curve, else where it has fallen by 1 dB."""
    bend = profile.measured("static.threshold")
    return bend if bend is not None else profile.measured("static.threshold_1db")


def _slope(profile: Profile) -> float | None:
    """Reduction per dB above the threshold: of the straight part, else the mean up to the highest step."""
    slope, deepest = profile.measured("static.slope"), profile.measured("static.max_reduction")
    threshold = _threshold(profile)
    if slope is not None:
        return max(0.1, 1 - slope.value)
    if threshold is None or deepest is None:
        return None
    above = float(numbers(profile.curves["static"], "input_dbfs").max()) - threshold.value
    return max(0.1, deepest.value / above) if above > 1 else None


def _static_curve(profile: Profile) -> tuple[Array, Array]:
    """Input levels and settled gains; empty where there is no static curve."""
    if "static" not in profile.curves:
        return np.empty(0), np.empty(0)
    table = profile.curves["static"]
    return numbers(table, "input_dbfs"), numbers(table, "gain_db")


def _on_their_way_db(profile: Profile) -> tuple[float, float]:
    """Gain with which bursts of the first take began, and by how much more they met on their way."""
    table = profile.curves.get("gain_trace")
    gain_db = np.zeros(1) if table is None else numbers(table, "gain_db")
    return (float(gain_db[0]), float(gain_db.max() - gain_db[0])) if gain_db.size else (0.0, 0.0)


def causes_in(profile: Profile) -> dict[Cause, tuple[str, ...]]:
    """Return what the stimulus of a profile lacked, and for which quantities."""
    found: dict[Cause, tuple[str, ...]] = {}
    for name, entry in profile.quantities.items():
        if isinstance(entry.reading, Unmeasured) and entry.reading.cause is not None:
            found[entry.reading.cause] = (*found.get(entry.reading.cause, ()), name)
    return found


def _attack_s(profile: Profile) -> tuple[float, str]:
    reading = profile.reading("attack.t90")
    if isinstance(reading, Quantity):
        return max(reading.high, 0.0), _in_words(reading.value)
    time_s, gain_db = _trace(profile, "attack")
    if reading is not None and reading.at_most:
        return reading.at_most, f"at most {_in_words(reading.at_most)}"
    if time_s.size:
        moved = np.abs(gain_db - gain_db[time_s < 0].mean())
        if moved[-1] < STILL_DB:
            return NO_ATTACK_S, f"{_in_words(NO_ATTACK_S)}, a guess"
        seen = max(0.0, float(time_s[moved < 0.9 * moved[-1]][-1]))
        moves_on = reading is not None and (reading.at_least or reading.cause == "short-gaps")
        long = max(GUESS * seen, float(time_s[-1])) if moves_on else seen
        return long, f"about {_in_words(long, digits=2)}, as the trace shows"
    return NO_ATTACK_S, f"{_in_words(NO_ATTACK_S)}, a guess"


def _in_words(time_s: float, *, digits: int = 3) -> str:
    scale, unit = display_unit("s", time_s)
    return f"{rounded_text(time_s * scale, digits)} {unit}"


def _unsettled_s(profile: Profile, first: FirstTake) -> float:
    """How long level steps must last where those of the first take were still falling; 0 where few were.

    What a step had left to go beside what it moved by tells its time constant, and that how long its first
    half must be to leave nothing to see. A step with little left is doubted for what may move more slowly
    still: it is longer in any case.
    """
    if "static" not in profile.curves or "remaining_db" not in profile.curves["static"].columns:
        return 0.0
    table = profile.curves["static"]
    rising = np.array([direction == "rising" for direction in table.columns["direction"]])
    still = rising & ~np.array(table.columns["settled"], dtype=bool)
    if still.sum() <= MOST_UNSETTLED * rising.sum():
        return 0.0
    moved = float(np.quantile(np.abs(np.diff(numbers(table, "gain_db")[rising])), 0.9))
    left = float(np.quantile(np.abs(numbers(table, "remaining_db")[still]), 0.9))
    least_s = LONGER * first.step_s
    if left <= LEFT_DB or moved <= LEFT_DB:
        return least_s
    tau_s = 0.75 * first.step_s / max(SLOW_SHARE, math.log(moved / left))
    return max(least_s, SLOWER * 2 * tau_s * math.log(moved / LEFT_DB))


def _release_s(profile: Profile) -> tuple[float, float, str]:
    """Time to 90 %, time to rest, and in words where they come from."""
    reading, foretold = profile.reading("release.t90"), _foretold(profile)
    if isinstance(reading, Quantity):
        t90_s = max(reading.high, 0.0)
        rest_s, slower_s = SETTLE * t90_s, foretold[1] if foretold else 0.0  # a last stage may be slower
        return t90_s, slower_s if slower_s > CARE * rest_s else rest_s, _in_words(reading.value)
    if reading is not None and reading.at_most and not reading.at_least:
        return reading.at_most, SETTLE * reading.at_most, f"at most {_in_words(reading.at_most)}"
    if foretold is not None:
        about = f"about {_in_words(foretold[0], digits=2)}"
        return *foretold, f"{about}, as the end of the unfinished trace foretells"
    if reading is not None and reading.at_least:
        long = GUESS * reading.at_least
        known = f"at least {_in_words(reading.at_least)}"
        return long, SETTLE * long, f"{known}, planned for {GUESS:g} times that"
    return NO_RELEASE_S, SETTLE * NO_RELEASE_S, f"{_in_words(NO_RELEASE_S)}, a guess"


def _foretold(profile: Profile) -> tuple[float, float] | None:
    """Times to 90 % and to rest of an unfinished release, from how its last half nears the gain at rest."""
    rest = profile.measured("static.low_level_gain")
    time_s, gain_db = _trace(profile, "release")
    if rest is None or time_s.size == 0:
        return None
    end_s, left_db = float(time_s[-1]), rest.value - gain_db
    half = float(np.interp(end_s / 2, time_s, left_db))
    start, last = float(left_db[time_s < 0].mean()), float(left_db[-1])
    if not start > half > last > REST_DB:
        return None
    tau_s = CARE * end_s / 2 / math.log(half / last)
    if tau_s > SLOWEST * end_s:
        return None
    t90_s = max(end_s, end_s + tau_s * math.log(max(last / (0.1 * start), 1.0)))
    return t90_s, end_s + tau_s * math.log(last / REST_DB)


def _trace(profile: Profile, edge: str) -> tuple[Array, Array]:
    """Gain trace of the reference bursts around an edge; empty where there is none."""
    if "gain_trace" not in profile.curves or "timing" not in profile.curves:
        return np.empty(0), np.empty(0)
    time_s, gain_db = edge_trace(profile.curves["gain_trace"], edge, reference_step(profile))
    usable = time_s.size > 0 and bool((time_s < 0).any())
    return (time_s, gain_db) if usable else (np.empty(0), np.empty(0))
