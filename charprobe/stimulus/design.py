"""The next stimulus, designed from a first profile: it cures what kept numbers from being had."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from charprobe.profile.profile import Profile
from charprobe.stimulus.design_cures import BOTH_WAYS, ONLY_RISE, cured, sentences_on
from charprobe.stimulus.design_expected import FORETOLD, ExpectedInterval, expected_intervals
from charprobe.stimulus.design_needs import Needs, needs_of
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.recipe import SCHEMA, Recipe, recipe_from_table
from charprobe.stimulus.render import lay_out
from charprobe.values.wording import number_text

CARRIER_HZ, STEPS_HZ = 4093.0, 997.0
TOP_DBFS, BOTTOM_DBFS, LOWEST_DBFS, LOWEST_BURST_DBFS = -1.5, -60.0, -84.0, -78.0
REDUCTIONS_DB = (3.0, 10.0, 20.0)  # gain reductions that three steps should bring out
KEPT_DB = 2.0  # a first burst that brings out so much is played again: the same quantity, told better
LEAST_APART_DB = 3.0  # steps closer than this tell the same
LEAD_S = 0.3  # so long at the low level, a detector that was silent has come to rest
# of silence between sets of bursts: the first of each comes after a longer rest than the others
APART_S = 1.5
LONGEST_GAP_S, LONGEST_HOLD_S, LONGEST_STEP_S = 55.0, 10.0, 8.0
KNEE_ROOM_DB = 5.0
DEEPER_DB = 6.0  # level steps that begin so much lower are worth a word
QUICK_S = 0.4  # level steps shorter than this cost little
FALLS = 1.6  # a falling level step lasts so many times a release to its rest
RISING_SHARE, FALLING_SHARE = 0.4, 0.1  # of the take that level steps may last, rising alone or both ways
STEPS_DB = (1.0, 1.5, 2.0)  # heights of level steps, the finest that time allows
TONES_HZ = (110.0, 997.0, 5003.0)
# with -10, the level that harmonics are told at, as the shipped recipes have it
TONES_DBFS = (-48.0, -40.0, -30.0, -24.0, -18.0, -14.0, -10.0, -6.0, -4.0, -2.0)
QUIET_DBFS = -40.0  # a sweep below most thresholds
QUIET_S = 1.2  # after it
PROGRAMME_S = 19.0


@dataclass(frozen=True)
class Design:
    """A recipe made for one setting, what it should achieve, and why it is as it is, in sentences.

    `gains` is False where a take of it would tell no number better that is missing or unsure.
    """

    recipe: Recipe
    duration_s: float
    expected: tuple[ExpectedInterval, ...]
    reasons: tuple[str, ...]
    gains: bool


@dataclass(frozen=True)
class _Plan:
    """What is given up, in turn, to keep to the time."""

    phases: int  # odd: second-order distortion cancels
    heights: int = 2
    lengths: bool = True
    programme: bool = False
    colour: bool = True


PLANS = (
    *(_Plan(phases, programme=True) for phases in (9, 7, 5)), *(_Plan(phases) for phases in (9, 7, 5)),
    _Plan(5, 1), _Plan(5, 0), _Plan(3, 0), _Plan(3, 0, lengths=False),
    _Plan(3, 0, lengths=False, colour=False),
)  # fmt: skip


def design_stimulus(profile: Profile, *, longest_s: float) -> Design:
    """Design the stimulus that tells most about a setting whose first profile is at hand.

    Parameters
    ----------
    profile : Profile
        A first, quick profile of the setting, ideally with bypass.
    longest_s : float > 0
        Bench time that one take may cost, in s. Phases, programme, steps of other heights, bursts of unlike
        lengths and colour are given up to keep to it; if the release alone needs more, the recipe is longer
        and a reason says so.

    Returns
    -------
    Design
        The recipe, its length at the profile's sampling rate, the intervals to expect and the reasons: what
        each cause of a missing number is met with, and where a longer take would gain nothing.

    Notes
    -----
    The burst that the first profile's attack and release are told of is played again if it brings out a
    reduction from a gain at rest, so that both takes tell the same quantities; holds are at least as long,
    for a stage with memory. Level steps fall only if the release lets them settle in the time.
    """
    needs = needs_of(profile)
    low, high = _reference_levels(needs)
    others = [] if needs.still else _other_levels(needs, low, high)
    for plan in PLANS:
        recipe = _recipe(needs, (low, high), others, plan, longest_s)
        duration = lay_out(recipe, rate_hz=profile.stimulus.rate_hz, take=0).duration_s
        if duration <= longest_s:
            break
    steps = next(spec for spec in recipe.segments if isinstance(spec, LevelSteps))
    bursts = next((spec for spec in recipe.segments if isinstance(spec, Bursts)), None)
    expected = expected_intervals(profile, needs, steps, bursts)
    deeper = steps.from_dbfs < needs.lowest_dbfs - DEEPER_DB
    gains = (
        bool(cured(needs, steps))
        or (deeper and any(profile.measured(name) is None for name in FORETOLD if name.startswith("static.")))
        or _times_anew(profile, needs, bursts)
        or any(row.gains(rate_hz=profile.stimulus.rate_hz) for row in expected)
    )
    reasons = [*needs.reasons, *sentences_on(needs, steps, bursts), *_given_up(needs, others, plan, steps)]
    if duration > longest_s:
        reasons.append(
            f"the gaps this release needs make the take {duration:.0f} s long, more than {longest_s:.0f} s"
        )
    if deeper:
        ends = (number_text(level, 1) for level in (steps.from_dbfs, needs.lowest_dbfs))
        reasons.append("level steps begin at {} dBFS: below {} dBFS nothing is known yet".format(*ends))
    told = {row.name for row in expected}
    unknown = [name for name in FORETOLD if bursts is not None and name not in told]
    if unknown:
        reasons.append(
            f"no interval is foretold for {', '.join(unknown)}: the first take has no number to go by, "
            "or one of another burst, of steps that had not settled, of a curve that misses its steps, "
            "or of a stage that remembers"
        )
    if not gains:
        reasons.append(
            "a longer take gains nothing: no number is missing that it could give, and what is known is "
            "known as well as the goal asks, or as this design would tell it"
        )
    return Design(recipe, duration, expected, tuple(reasons), gains)


def _times_anew(profile: Profile, needs: Needs, bursts: Bursts | None) -> bool:
    """Whether bursts reach a change of gain that those of the first take did not."""
    untimed = profile.measured("attack.t63") is None or profile.measured("release.t63") is None
    return bursts is not None and untimed and abs(needs.first.reduction_db) < KEPT_DB


def _top_dbfs(gain_db: float) -> float:
    """Highest level that a stage of so much gain does not lift over full scale."""
    return math.floor(2 * min(TOP_DBFS, TOP_DBFS - gain_db) + 0.02) / 2


def _half_db(level: float) -> float:
    return round(2 * level) / 2


def _reference_levels(needs: Needs) -> tuple[float, float]:
    """Low and high level of the reference burst: those of the first take if they serve."""
    first, bend = needs.first, needs.threshold_dbfs - needs.knee_db / 2
    if abs(first.reduction_db) >= KEPT_DB and (needs.expands or first.low_dbfs <= bend):
        # first bursts may have begun below rest, and so have left no sign that they would clip
        return _half_db(first.low_dbfs), _half_db(min(first.high_dbfs, _top_dbfs(needs.rest_gain_db)))
    if needs.expands:
        assert needs.lifts_below_dbfs is not None
        low = max(LOWEST_BURST_DBFS, _half_db(needs.lifts_below_dbfs - KNEE_ROOM_DB - 1))
        return low, _half_db(min(_top_dbfs(needs.rest_gain_db), max(-20.0, needs.lifts_below_dbfs + 10)))
    low = _half_db(min(-12.0, max(LOWEST_BURST_DBFS, bend - KNEE_ROOM_DB)))
    return low, _levels_for(needs, low)[-1]


def _levels_for(needs: Needs, low_dbfs: float) -> list[float]:
    """Levels that bring out the wanted reductions, as far apart as they must be, below full scale."""
    levels: list[float] = []
    for reduction in REDUCTIONS_DB:
        wanted = max(needs.threshold_dbfs + reduction / needs.slope, low_dbfs + 6)
        level = _half_db(min(_top_dbfs(needs.rest_gain_db), wanted))
        if not levels or level >= levels[-1] + LEAST_APART_DB:
            levels.append(level)
    return levels


def _other_levels(needs: Needs, low_dbfs: float, high_dbfs: float) -> list[float]:
    """High levels of bursts beside the reference, the most unlike it first."""
    apart = [level for level in _levels_for(needs, low_dbfs) if abs(level - high_dbfs) >= LEAST_APART_DB]
    return sorted(apart, key=lambda level: -abs(level - high_dbfs))


def _recipe(
    needs: Needs, reference: tuple[float, float], others: list[float], plan: _Plan, longest_s: float
) -> Recipe:
    low_dbfs = reference[0]
    comes_back_s = needs.rest_s if needs.overshoots else 0.0  # what ran past comes back as a release does
    held = max(0.1, needs.first.hold_s, needs.attack_ends_s, comes_back_s)
    hold = round(min(LONGEST_HOLD_S, held), 3)
    waited = 0.0 if needs.still else needs.first.gap_s  # what senses the level may need longer than the gain
    gap = round(min(LONGEST_GAP_S, max(0.3, waited, needs.rest_s)), 3)
    steps = _level_steps(needs, low_dbfs, gap, longest_s)
    segments: list[dict[str, Any]] = [
        {"kind": "silence", "name": "idle", "length_s": 3.0, "tone_s": 2.0, "gap_s": 1.0}
    ]
    if plan.colour:
        lifts = -math.inf if needs.lifts_below_dbfs is None else needs.lifts_below_dbfs
        level_dbfs = max(
            min(QUIET_DBFS, needs.threshold_dbfs - needs.knee_db / 2 - KNEE_ROOM_DB), lifts + KNEE_ROOM_DB
        )
        sweep = {"from_hz": 10.0, "to_hz": 22_000.0, "length_s": 8.0, "level_dbfs": _half_db(level_dbfs)}
        segments.append({"kind": "sweep", "name": "response", **sweep, "gap_s": QUIET_S})
    segments.append({"kind": "level_steps", "name": "steps", **steps})
    if plan.colour:
        levels = [level for level in TONES_DBFS if level <= _top_dbfs(needs.top_gain_db)]
        tones = {"frequencies_hz": TONES_HZ, "levels_dbfs": levels, "tone_s": _tone_s(needs, plan, longest_s)}
        segments.append({"kind": "tones", "name": "harmonics", **tones, "gap_s": gap + APART_S})
    if not needs.still:
        segments += _bursts(needs, reference, others[: plan.heights], plan, hold, gap)
    if plan.programme:
        programme = {"length_s": PROGRAMME_S, "level_dbfs": min(-2.0, _top_dbfs(needs.rest_gain_db))}
        segments.append({"kind": "programme", "name": "proof", **programme})
    table = {
        "schema": SCHEMA, "name": "designed", "summary": "designed from a first profile", "segment": segments,
    }  # fmt: skip
    return recipe_from_table(table, source="designed recipe")


def _bursts(
    needs: Needs, reference: tuple[float, float], others: list[float], plan: _Plan, hold: float, gap: float
) -> list[dict[str, Any]]:
    """Bursts of the reference step, of other heights, and of unlike lengths."""
    low_dbfs, high_dbfs = reference
    common = {
        "carrier_hz": CARRIER_HZ, "low_dbfs": low_dbfs, "lead_s": LEAD_S, "release_s": gap, "gap_s": APART_S,
    }  # fmt: skip
    phases = min(plan.phases, 5)
    steps = [(f"step-{i}", phases, level) for i, level in enumerate(sorted(others), start=1)]
    rows: list[dict[str, Any]] = [
        {"kind": "bursts", "name": name, "phases": count, "high_dbfs": level, "hold_s": hold,
         "reference": name == "reference", **common}
        for name, count, level in [("reference", plan.phases, high_dbfs), *steps]
    ]  # fmt: skip
    if plan.lengths:
        holds = {"short": max(0.01, round(0.1 * hold, 3)), "long": round(max(1.0, 5 * hold), 3)}
        rows += [
            {"kind": "burst_lengths", "name": name, "phases": phases if plan.heights else 1,
             "high_dbfs": high_dbfs, "holds_s": [length], **common} for name, length in holds.items()
        ]  # fmt: skip
    return rows


def _tone_s(needs: Needs, plan: _Plan, longest_s: float) -> float:
    """Length of the tones for colour: long enough to settle, so far as the take allows."""
    most = 0.15 * longest_s / (len(TONES_HZ) * len(TONES_DBFS))
    return round(max(0.32, min(LONGEST_STEP_S, most, needs.rise_s)), 3)


def _level_steps(needs: Needs, low_dbfs: float, gap_s: float, longest_s: float) -> dict[str, Any]:
    """Level steps as long as the stage needs, so far as the take allows.

    They rise alone where falling takes too long. One lies on the threshold: beside it no hard knee is told.
    """
    rise = max(0.2, needs.rise_s)
    # where steps are short they reach down as far as noise allows: an expander may begin anywhere
    deep = needs.heard_dbfs if rise < QUICK_S else BOTTOM_DBFS
    wanted = min(BOTTOM_DBFS, low_dbfs - 6, _half_db(deep))
    bottom = LOWEST_DBFS if "high-levels" in needs.causes else max(LOWEST_DBFS, wanted)
    highest = _top_dbfs(needs.top_gain_db)
    ways = ((True, max(rise, FALLS * needs.rest_s), FALLING_SHARE / 2), (False, rise, RISING_SHARE))
    tried = [(*way, step_db) for way in ways for step_db in STEPS_DB]
    fits = (one for one in tried if one[1] * (highest - bottom) / one[3] <= one[2] * longest_s)
    falling, step_s, share, step_db = next(fits, tried[-1])
    step_s = min(step_s, LONGEST_STEP_S, max(0.2, share * longest_s * step_db / (highest - bottom)))
    top = highest - (highest - needs.threshold_dbfs) % step_db if needs.bends else highest
    return {
        "frequency_hz": STEPS_HZ, "from_dbfs": bottom, "to_dbfs": round(top, 2), "step_db": step_db,
        "step_s": round(step_s, 3), "falling": falling, "gap_s": gap_s,
    }  # fmt: skip


def _given_up(needs: Needs, others: list[float], plan: _Plan, steps: LevelSteps) -> list[str]:
    """What the take holds, and what there was no time for."""
    if needs.still:
        return ["no level played changed the gain: bursts are left out, there is nothing to time"]
    heights = 1 + min(plan.heights, len(others))
    told = [f"{plan.phases} carrier phases and {heights} burst {'height' if heights == 1 else 'heights'} fit"]
    if not steps.falling and BOTH_WAYS not in needs.causes.get("short-steps", ()):
        told.append(ONLY_RISE)
    left = {
        "programme, without which no replica is proved": plan.programme,
        "bursts of unlike lengths, without which no memory shows": plan.lengths,
        "tones and sweep, which the first take has": plan.colour,
    }
    missing = [what for what, there in left.items() if not there]
    return [*told, *([f"no time for {'; '.join(missing)}"] if missing else [])]
