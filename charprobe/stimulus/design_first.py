"""What the first take of a setting played, as far as its profile and the shipped recipes tell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.profile.burst_traces import reference_step
from charprobe.profile.entry import numbers
from charprobe.profile.profile import Profile
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.recipe import Recipe, shipped_recipe_of
from charprobe.values.arrays import Array


@dataclass(frozen=True)
class FirstTake:
    """Reference burst and level steps of a first take, at the level they were played at.

    Attack and release are told of the burst; its levels are NaN where the take had none. `reduction_db` is
    the gain that it took away, negative where it added, NaN where not known; `phases` are its carrier phases,
    `gap_s` the time between bursts. A level step lasts `step_s`. `axis_db` is the input axis of the profile
    over the level played: the gain of the path ahead of the stage.
    """

    low_dbfs: float = float("nan")
    high_dbfs: float = float("nan")
    carrier_hz: float = float("nan")
    hold_s: float = 0.0
    reduction_db: float = float("nan")
    phases: int = 5
    gap_s: float = 0.6
    step_s: float = 0.2
    axis_db: float = 0.0


def first_take(profile: Profile) -> FirstTake:
    """Read what the first take played; a recipe of one's own is taken for one like `quick`."""
    recipe = shipped_recipe_of(profile.stimulus.hash[:6])
    usual = FirstTake(step_s=_step_s(recipe))
    if "timing" not in profile.curves:
        return usual
    columns = ("from_dbfs", "to_dbfs", "carrier_hz", "hold_s", "reduction_db")
    row = reference_step(profile)
    low, high, carrier_hz, hold_s, reduction = (_cell(profile, name, row) for name in columns)
    spec = _reference(recipe)
    axis = 0.0 if spec is None or not np.isfinite(low) else low - spec.low_dbfs
    return FirstTake(
        low - axis,
        high - axis,
        carrier_hz,
        hold_s if np.isfinite(hold_s) else 0.0,
        reduction,
        usual.phases if spec is None else spec.phases,
        usual.gap_s if spec is None else spec.release_s,
        usual.step_s,
        axis,
    )


def _cell(profile: Profile, column: str, row: int) -> float:
    found: Array = numbers(profile.curves["timing"], column)
    return float(found[row]) if row < found.size else float("nan")


def _reference(recipe: Recipe | None) -> Bursts | None:
    bursts = [] if recipe is None else [spec for spec in recipe.segments if isinstance(spec, Bursts)]
    return next((spec for spec in bursts if spec.reference), bursts[0] if bursts else None)


def _step_s(recipe: Recipe | None) -> float:
    steps = [] if recipe is None else [spec for spec in recipe.segments if isinstance(spec, LevelSteps)]
    return steps[0].step_s if steps else FirstTake.step_s
