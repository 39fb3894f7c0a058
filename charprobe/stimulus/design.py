"""The next stimulus, designed from a first profile: it cures what kept numbers from being had."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from charprobe.profile.profile import Profile
from charprobe.stimulus.design_needs import SETTLE, Needs, needs_of
from charprobe.stimulus.recipe import SCHEMA, Recipe, recipe_from_table
from charprobe.stimulus.render import lay_out
from charprobe.values.quantity import Z95, Cause

CARRIER_HZ, FINE_CARRIER_HZ, STEPS_HZ = 4093.0, 10_457.0, 997.0
TOP_DBFS, BOTTOM_DBFS, LOWEST_DBFS = -1.5, -60.0, -84.0
REDUCTIONS_DB = (3.0, 10.0, 20.0)  # gain reductions that three steps should bring out
LEAST_APART_DB = 3.0  # steps closer than this tell the same
PHASES = (9, 7, 5, 3)  # odd: second-order distortion cancels
LEAD_S = 0.3  # so long at the low level, a detector that was silent has come to rest
LONGEST_GAP_S, LONGEST_HOLD_S, LONGEST_STEP_S = 55.0, 10.0, 8.0
KNEE_ROOM_DB = 5.0
RISES, FALLS = 4.0, 0.7  # a level step lasts so many attack t90, or such a share of a release to its rest
STEPS_SHARE = 0.4  # of the take that level steps may last
TONES_DBFS = (-40.0, -30.0, -20.0, -12.0, -6.0, -2.0)
# an interval that shrinks to no less than this tells nothing new: nine phases for five alone make 0.75 of it
TOLD_ANEW = 0.7
DB = 20 / math.log(10)
# standard uncertainty of one pole's times, in time constants, per noise over change and root of samples
KAPPA = {"t63": 5.1, "t90": 12.3}
# samples that time zero leaves; the attack has the ripple of its detector besides, over an ever flatter slope
ZERO_SAMPLES = {"attack": {"t63": 0.05, "t90": 0.18}, "release": {"t63": 0.015, "t90": 0.015}}
FIRST_PHASES = 5  # of the bursts of a first profile
SHAPE = {"t63": 1e-4, "t90": 1.5e-4}  # share of a time left by curvature that reading it does not follow


@dataclass(frozen=True)
class ExpectedInterval:
    """How well the next capture should tell one quantity: half 95 % intervals now and then, in `unit`.

    `now` is None where the first profile has no number.
    """

    name: str
    value: float
    now: float | None
    then: float
    unit: str


@dataclass(frozen=True)
class Design:
    """A recipe made for one setting, what it should achieve, and why it is as it is, in sentences.

    `gains` is False where a take of it would tell nothing that is not known as well already.
    """

    recipe: Recipe
    duration_s: float
    expected: tuple[ExpectedInterval, ...]
    reasons: tuple[str, ...]
    gains: bool


@dataclass(frozen=True)
class _Plan:
    """What is given up, in turn, to keep to the time: phases, heights of bursts, bursts of unlike lengths."""

    phases: int
    heights: int
    lengths: bool


def design_stimulus(profile: Profile, *, longest_s: float) -> Design:
    """Design the stimulus that tells most about a setting whose first profile is at hand.

    Parameters
    ----------
    profile : Profile
        A first, quick profile of the setting, ideally with bypass.
    longest_s : float > 0
        Bench time that one take may cost, in s. Phases, then steps, then bursts of unlike lengths are given
        up to keep to it; if the release alone needs more, the recipe is longer and a reason says so.

    Returns
    -------
    Design
        The recipe, its length at the profile's sampling rate, the intervals to expect and the reasons: what
        each cause of a missing number is met with, and where a longer take would gain nothing.

    Notes
    -----
    Expected intervals assume one pole in dB and the noise the first profile found:
    ``std(t63) = 5.1 tau (sigma / change) / sqrt(tau * rate)``, with sigma the noise of the gain per sample,
    joined with 0.015 sample for time zero (attacks: 0.05 and, for t90, 0.18 with the ripple of the detector)
    and with 0.01 % (t90: 0.015 %) for curvature that the reading does not follow; the bound of any method
    with unknown end value has 4.3 for 5.1. What the first profile is unsure of beyond that, such as the
    scatter between carrier phases, is the stage's own and shrinks as means over phases do. All hold within a
    factor of three.
    Holds are at least as long as in the first profile, so that a stage with memory is compared with itself.
    """
    needs = needs_of(profile)
    low = _half_db(min(-12.0, max(-60.0, needs.threshold_dbfs - needs.knee_db / 2 - KNEE_ROOM_DB)))
    highs = _high_levels(needs, low)
    rate_hz = profile.stimulus.rate_hz
    plans = [*(_Plan(phases, len(highs), True) for phases in PHASES), _Plan(3, 2, True), _Plan(3, 1, True)]
    for plan in (*plans, _Plan(3, 1, False)):
        recipe = _recipe(needs, low, highs[-plan.heights :], plan, longest_s)
        duration = lay_out(recipe, rate_hz=rate_hz, take=0).duration_s
        if duration <= longest_s:
            break
    reasons = [*needs.reasons, *_cures(needs, recipe)]
    if duration > longest_s:
        reasons.append(
            f"the gaps this release needs make the take {duration:.0f} s long, more than {longest_s:.0f} s"
        )
    reasons.append(
        f"{plan.phases} carrier phases and {min(plan.heights, len(highs))} steps fit into {duration:.0f} s"
    )
    expected = _expected(profile, needs, low, highs[-1], plan.phases)
    known = [row for row in expected if row.now is not None]
    gains = bool(needs.causes) or not known or any(row.then <= TOLD_ANEW * (row.now or 0.0) for row in known)
    if not gains:
        reasons.append("a longer take gains nothing: what is known is known as well as this design would")
    return Design(recipe, duration, expected, tuple(reasons), gains)


def _top_dbfs(gain_db: float) -> float:
    """Highest level that a stage of so much gain does not lift over full scale."""
    return math.floor(2 * min(TOP_DBFS, TOP_DBFS - gain_db)) / 2


def _half_db(level: float) -> float:
    return round(2 * level) / 2


def _high_levels(needs: Needs, low_dbfs: float) -> list[float]:
    """Levels that bring out the wanted reductions, as far apart as they must be, below full scale."""
    levels: list[float] = []
    for reduction in REDUCTIONS_DB:
        level = _half_db(
            min(
                _top_dbfs(needs.rest_gain_db),
                max(needs.threshold_dbfs + reduction / needs.slope, low_dbfs + 6),
            )
        )
        if not levels or level >= levels[-1] + LEAST_APART_DB:
            levels.append(level)
    return levels


def _recipe(needs: Needs, low_dbfs: float, highs: list[float], plan: _Plan, longest_s: float) -> Recipe:
    hold = round(min(LONGEST_HOLD_S, max(0.1, needs.hold_s, SETTLE * needs.attack_t90_s + 0.05)), 3)
    gap = round(min(LONGEST_GAP_S, max(0.3, needs.rest_s)), 3)
    carrier_hz = FINE_CARRIER_HZ if "coarse-carrier" in needs.causes else CARRIER_HZ
    common = {
        "carrier_hz": carrier_hz,
        "low_dbfs": low_dbfs,
        "lead_s": LEAD_S,
        "release_s": gap,
    }
    steps = _level_steps(needs, low_dbfs, gap, longest_s)
    segments: list[dict[str, Any]] = [
        {"kind": "silence", "name": "idle", "length_s": 3.0, "tone_s": 2.0, "gap_s": 1.0},
        {"kind": "level_steps", "name": "steps", **steps},
    ]
    if any(name.startswith("colour.") for name in needs.causes.get("short-steps", ())):
        tones = {
            "frequencies_hz": [STEPS_HZ],
            "levels_dbfs": TONES_DBFS,
            "tone_s": max(0.32, steps["step_s"]),
        }
        segments.append({"kind": "tones", "name": "harmonics", **tones, "gap_s": gap})
    for i, high in enumerate(highs):
        last = i == len(highs) - 1
        name = "reference" if last else f"step-{i + 1}"
        segments.append(
            {"kind": "bursts", "name": name, "phases": plan.phases, "high_dbfs": high, "hold_s": hold,
             "reference": last, "gap_s": 0.3, **common}
        )  # fmt: skip
    holds = sorted({max(0.01, round(0.1 * hold, 3)), hold, round(max(1.0, 5 * hold), 3)})
    if plan.lengths:
        lengths = {"phases": 2, "high_dbfs": highs[-1], "holds_s": holds}
        segments.append({"kind": "burst_lengths", "name": "lengths", **lengths, **common})
    table = {
        "schema": SCHEMA,
        "name": "designed",
        "summary": "designed from a first profile",
        "segment": segments,
    }
    return recipe_from_table(table, source="designed recipe")


def _level_steps(needs: Needs, low_dbfs: float, gap_s: float, longest_s: float) -> dict[str, Any]:
    """Level steps as long as the stage needs, so far as the take allows."""
    too_high = "high-levels" in needs.causes
    bottom = LOWEST_DBFS if too_high else max(BOTTOM_DBFS, low_dbfs - 6)
    top = _top_dbfs(needs.top_gain_db)
    wanted = max(0.2, RISES * needs.attack_t90_s, FALLS * needs.rest_s)
    for step_db in (1.0, 1.5, 2.0, 3.0):
        count = 2 * (top - bottom) / step_db
        allowed = STEPS_SHARE * longest_s / count
        if allowed >= wanted:
            break
    step_s = min(LONGEST_STEP_S, max(0.2, RISES * needs.attack_t90_s, min(wanted, allowed)))
    return {
        "frequency_hz": STEPS_HZ, "from_dbfs": bottom, "to_dbfs": top,
        "step_db": step_db, "step_s": round(step_s, 3), "gap_s": gap_s,
    }  # fmt: skip


def _cures(needs: Needs, recipe: Recipe) -> list[str]:
    """Say of each cause of a missing number what meets it, or that nothing played longer would."""
    specs = {spec.name: spec for spec in recipe.segments}
    steps, bursts = specs["steps"], specs["reference"]
    step_s, release_s = getattr(steps, "step_s", 0.0), getattr(bursts, "release_s", 0.0)
    top_dbfs = getattr(steps, "to_dbfs", TOP_DBFS)
    meets: dict[Cause, str] = {
        "short-steps": f"steps of {step_s:.3g} s let the gain settle",
        "short-gaps": f"gaps of {release_s:.3g} s let the release end before the next burst",
        "coarse-carrier": f"a carrier of {FINE_CARRIER_HZ:g} Hz resolves faster edges",
        "high-levels": f"level steps begin at {LOWEST_DBFS:g} dBFS",
        "low-levels": f"steps end at {top_dbfs:g} dBFS; if that is too low, a longer take gains nothing: "
        "raise the gain before the stage",
    }
    return [f"{meets[cause]}, for {', '.join(names)}" for cause, names in needs.causes.items()]


def _expected(
    profile: Profile, needs: Needs, low_dbfs: float, high_dbfs: float, phases: int
) -> tuple[ExpectedInterval, ...]:
    """Half intervals of the main times, from the noise the first profile found."""
    noise, low_level = profile.measured("noise.unweighted"), profile.measured("static.low_level_gain")
    if noise is None:
        return ()
    change = needs.slope * max(1.0, high_dbfs - needs.threshold_dbfs)
    gain = low_level.value if low_level else 0.0
    rate_hz = profile.stimulus.rate_hz
    rows = []
    for edge, level, t90 in (
        ("attack", high_dbfs + gain - change, needs.attack_t90_s),
        ("release", low_dbfs + gain, needs.release_t90_s),
    ):
        tau = t90 / math.log(10)
        sigma_db = DB * 10 ** ((noise.value - level) / 20) / math.sqrt(phases)
        for name, kappa in KAPPA.items():
            std = kappa * tau * sigma_db / change / math.sqrt(max(1.0, tau * rate_hz))
            first = profile.measured(f"{edge}.{name}")
            value = tau if name == "t63" else t90
            own = math.hypot(ZERO_SAMPLES[edge][name] / rate_hz, SHAPE[name] * value)
            by_noise = math.hypot(own, std * math.sqrt(phases / FIRST_PHASES))
            scatter = math.sqrt(max(0.0, first.std**2 - by_noise**2)) if first else 0.0
            then = Z95 * math.hypot(std, own, scatter * math.sqrt(FIRST_PHASES / phases))
            now = Z95 * first.std if first else None
            rows.append(ExpectedInterval(f"{edge}.{name}", value, now, then, "s"))
    return tuple(rows)
