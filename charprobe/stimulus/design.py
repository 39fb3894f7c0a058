"""The next stimulus, designed from a first profile: steps around its threshold, gaps as its release needs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from charprobe.profile.profile import Profile
from charprobe.stimulus.recipe import SCHEMA, Recipe, recipe_from_table
from charprobe.stimulus.render import lay_out
from charprobe.values.quantity import Z95, Quantity, Reading
from charprobe.values.wording import number_text

CARRIER_HZ, STEPS_HZ = 3989.0, 997.0
TOP_DBFS = -1.5
REDUCTIONS_DB = (3.0, 10.0, 20.0)  # gain reductions that three steps should bring out
LEAST_APART_DB = 3.0  # steps closer than this tell the same
PHASES = (9, 7, 5, 3)  # odd: second-order distortion cancels
LONGEST_GAP_S, LONGEST_HOLD_S = 40.0, 10.0
SETTLE = 2.7  # t90 times this is six time constants of one pole
GUESS = 4.0  # a time known only as "at least" is planned for as this many times as long
KNEE_ROOM_DB = 5.0
DB = 20 / math.log(10)
# standard uncertainty of one pole's times, in time constants, per noise over change and root of samples
KAPPA = {"t63": 5.1, "t90": 12.3}
# samples that time zero leaves; the attack has the ripple of its detector besides, over an ever flatter slope
ZERO_SAMPLES = {"attack": {"t63": 0.05, "t90": 0.18}, "release": {"t63": 0.015, "t90": 0.015}}
SHAPE = {"t63": 1e-4, "t90": 1.5e-4}  # share of a time left by curvature that reading it does not follow


@dataclass(frozen=True)
class Expected:
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
    """A recipe made for one setting, what it should achieve, and why it is as it is, in sentences."""

    recipe: Recipe
    duration_s: float
    expected: tuple[Expected, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class _Known:
    """What the first profile knows, completed by careful guesses."""

    threshold_dbfs: float
    knee_db: float
    slope: float  # dB of reduction per dB above the threshold
    attack_t90_s: float
    release_t90_s: float
    hold_s: float
    reasons: tuple[str, ...]


def design_stimulus(profile: Profile, *, longest_s: float) -> Design:
    """Design the stimulus that tells most about a setting whose first profile is at hand.

    Parameters
    ----------
    profile : Profile
        A first, quick profile of the setting, ideally with bypass.
    longest_s : float > 0
        Bench time that one take may cost, in s. Phases, then steps, are given up to keep to it; if the
        release alone needs more, the recipe is longer and a reason says so.

    Returns
    -------
    Design
        The recipe, its length at the profile's sampling rate, the intervals to expect and the reasons.

    Notes
    -----
    Expected intervals assume one pole in dB and the noise the first profile found:
    ``std(t63) = 5.1 tau (sigma / change) / sqrt(tau * rate)``, with sigma the noise of the gain per sample,
    joined with 0.015 sample for time zero (attacks: 0.05 and, for t90, 0.18 with the ripple of the detector)
    and with 0.01 % (t90: 0.015 %) for curvature that the reading does not follow; the bound of any method
    with unknown end value has 4.3 for 5.1. Holds are at least as long as
    in the first profile, so that a stage with memory is compared with itself.
    """
    known = _known(profile)
    low = _half_db(min(-12.0, max(-60.0, known.threshold_dbfs - known.knee_db / 2 - KNEE_ROOM_DB)))
    highs = _high_levels(known, low)
    rate_hz = profile.stimulus.rate_hz
    reasons = list(known.reasons)
    recipe = duration = None
    for phases, count in [*((k, len(highs)) for k in PHASES), (3, 2), (3, 1)]:
        recipe = _recipe(known, low, highs[-count:], phases)
        duration = lay_out(recipe, rate_hz=rate_hz, take=0).duration_s
        if duration <= longest_s:
            break
    assert recipe is not None and duration is not None
    if duration > longest_s:
        reasons.append(
            f"the gaps this release needs make the take {duration:.0f} s long, more than {longest_s:.0f} s"
        )
    chosen = next(spec for spec in recipe.segments if getattr(spec, "reference", False))
    reasons.append(
        f"{_phases_of(chosen)} carrier phases and {_steps_in(recipe)} steps fit into {duration:.0f} s"
    )
    return Design(
        recipe, duration, _expected(profile, known, low, highs[-1], _phases_of(chosen)), tuple(reasons)
    )


def _known(profile: Profile) -> _Known:
    readings = {name: entry.reading for name, entry in profile.quantities.items()}
    reasons = []
    threshold = _value(readings, "static.threshold")
    if threshold is None:
        threshold = -28.0
        reasons.append("the threshold is not known: steps start from -28 dBFS")
    else:
        reasons.append(f"steps lie around the measured threshold of {number_text(threshold, 1)} dBFS")
    slope = _value(readings, "static.slope")
    attack, attack_why = _time(readings, "attack.t90", 0.02)
    release, release_why = _time(readings, "release.t90", 0.5)
    slow = _value(readings, "release.tau_2")
    if slow is not None:
        release = max(release, math.log(10) * slow)
    return _Known(
        threshold,
        max(0.0, _value(readings, "static.knee_width") or 0.0),
        max(0.1, 1 - slope) if slope is not None else 0.7,
        attack,
        release,
        _first_hold_s(profile),
        (
            *reasons,
            f"holds follow an attack t90 of {attack_why}",
            f"gaps follow a release t90 of {release_why}",
        ),
    )


def _first_hold_s(profile: Profile) -> float:
    """Hold of the first burst condition of the profile, 0 if it has none."""
    table = profile.curves.get("timing")
    holds = [] if table is None else table.columns.get("hold_s", [])
    return float(holds[0]) if holds and isinstance(holds[0], int | float) else 0.0


def _value(readings: Mapping[str, Reading], name: str) -> float | None:
    reading = readings.get(name)
    return reading.value if isinstance(reading, Quantity) else None


def _time(readings: Mapping[str, Reading], name: str, guess_s: float) -> tuple[float, str]:
    """Time to plan for, and in words where it comes from."""
    reading = readings.get(name)
    if isinstance(reading, Quantity):
        return max(reading.high, 0.0), f"{reading.value:.3g} s"
    if reading is not None and reading.at_least:
        return (
            GUESS * reading.at_least,
            f"at least {reading.at_least:.3g} s, planned for {GUESS:g} times that",
        )
    if reading is not None and reading.at_most:
        return reading.at_most, f"at most {reading.at_most:.3g} s"
    return guess_s, f"{guess_s:g} s, a guess"


def _half_db(level: float) -> float:
    return round(2 * level) / 2


def _high_levels(known: _Known, low_dbfs: float) -> list[float]:
    """Levels that bring out the wanted reductions, as far apart as they must be, below full scale."""
    levels: list[float] = []
    for reduction in REDUCTIONS_DB:
        level = _half_db(min(TOP_DBFS, max(known.threshold_dbfs + reduction / known.slope, low_dbfs + 6)))
        if not levels or level >= levels[-1] + LEAST_APART_DB:
            levels.append(level)
    return levels


def _recipe(known: _Known, low_dbfs: float, highs: list[float], phases: int) -> Recipe:
    hold = min(LONGEST_HOLD_S, max(0.1, known.hold_s, SETTLE * known.attack_t90_s + 0.05))
    gap = min(LONGEST_GAP_S, max(0.3, SETTLE * known.release_t90_s))
    lead = min(0.3, max(0.12, 0.05 * gap))
    common = {"carrier_hz": CARRIER_HZ, "low_dbfs": low_dbfs, "lead_s": lead, "release_s": round(gap, 3)}
    step_s = round(min(2.0, max(0.2, 1.3 * max(known.attack_t90_s, 0.4 * known.release_t90_s))), 3)
    bottom = max(-60.0, low_dbfs - 6)
    fine = {"step_db": 1.0 if step_s <= 0.5 else 2.0, "step_s": step_s, "gap_s": min(2.0, gap)}
    span = {"frequency_hz": STEPS_HZ, "from_dbfs": bottom, "to_dbfs": TOP_DBFS}
    segments: list[dict[str, Any]] = [
        {"kind": "silence", "name": "idle", "length_s": 3.0, "tone_s": 2.0},
        {"kind": "level_steps", "name": "steps", **span, **fine},
    ]
    for i, high in enumerate(highs):
        last = i == len(highs) - 1
        name = "reference" if last else f"step-{i + 1}"
        segments.append(
            {"kind": "bursts", "name": name, "phases": phases, "high_dbfs": high, "hold_s": round(hold, 3),
             "reference": last, "gap_s": min(2.0, gap), **common}
        )  # fmt: skip
    holds = sorted({max(0.01, round(0.1 * hold, 3)), round(hold, 3), round(max(1.0, 5 * hold), 3)})
    segments.append(
        {
            "kind": "burst_lengths",
            "name": "programme",
            "phases": 2,
            "high_dbfs": highs[-1],
            "holds_s": holds,
            **common,
        }
    )
    table = {
        "schema": SCHEMA,
        "name": "designed",
        "summary": "designed from a first profile",
        "segment": segments,
    }
    return recipe_from_table(table, source="designed recipe")


def _phases_of(spec: object) -> int:
    return int(getattr(spec, "phases", 0))


def _steps_in(recipe: Recipe) -> int:
    return sum(spec.kind == "bursts" for spec in recipe.segments)


def _expected(
    profile: Profile, known: _Known, low_dbfs: float, high_dbfs: float, phases: int
) -> tuple[Expected, ...]:
    """Half intervals of the main times, from the noise the first profile found."""
    readings = {name: entry.reading for name, entry in profile.quantities.items()}
    noise = _value(readings, "noise.unweighted")
    if noise is None:
        return ()
    change = known.slope * max(1.0, high_dbfs - known.threshold_dbfs)
    gain = _value(readings, "static.low_level_gain") or 0.0
    rate_hz = profile.stimulus.rate_hz
    rows = []
    for edge, level, t90 in (
        ("attack", high_dbfs + gain - change, known.attack_t90_s),
        ("release", low_dbfs + gain, known.release_t90_s),
    ):
        tau = t90 / math.log(10)
        sigma_db = DB * 10 ** ((noise - level) / 20) / math.sqrt(phases)
        for name, kappa in KAPPA.items():
            std = kappa * tau * sigma_db / change / math.sqrt(max(1.0, tau * rate_hz))
            first = readings.get(f"{edge}.{name}")
            now = Z95 * first.std if isinstance(first, Quantity) else None
            value = tau if name == "t63" else t90
            then = Z95 * math.hypot(std, ZERO_SAMPLES[edge][name] / rate_hz, SHAPE[name] * value)
            rows.append(Expected(f"{edge}.{name}", value, now, then, "s"))
    return tuple(rows)
