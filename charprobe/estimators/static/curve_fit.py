"""Which level steps a static curve stands on, and the curve that holds for them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from charprobe.estimators.static.curve import FEWEST_LEVELS, MOVED_DB, SETTLED_SHARE, StaticCurve, nearly
from charprobe.estimators.static.curve_choice import CurveChoice, choose_curve
from charprobe.estimators.static.points import StaticPoint, mark_points

LEAST_SHARE = 1 / 4  # of reduced levels that must have settled, those of which no step is in use among them


def fit_static_curve(points: Sequence[StaticPoint], *, axis_std_db: float) -> StaticCurve:
    """Decide which steps to use and choose the curve that holds for them.

    Parameters
    ----------
    points : sequence of StaticPoint
        All steps of one frequency in playing order; `used` and `saturated` are set here.
    axis_std_db : float
        Standard uncertainty of the whole input axis, at least 0.
    """
    marked = mark_points(points)
    curve = StaticCurve(marked, None, axis_std_db)
    level, gain, std = curve.used
    if np.unique(np.round(level, 1)).size < FEWEST_LEVELS:
        return curve
    choice = choose_curve(level, gain, std=std)
    if _stands_on_settled(marked, choice):
        return StaticCurve(marked, choice, axis_std_db)
    return StaticCurve(tuple(replace(p, used=p.used and p.settled) for p in marked), None, axis_std_db)


def _stands_on_settled(points: Sequence[StaticPoint], choice: CurveChoice) -> bool:
    """Whether most levels above the threshold have a step that settled, or had little left to go.

    A step extrapolated far knows nothing of slower stages still to come: a curve must not rest on such ones,
    nor pass over levels of which no step is in use.
    """
    fit = choice.fit
    levels = {round(p.input_dbfs, 1) for p in points if p.used}
    settled = {round(p.input_dbfs, 1) for p in points if p.used and (p.settled or nearly(p))}
    missing = {round(p.input_dbfs, 1) for p in points if not p.saturated} - levels
    missing = {level for level in missing if min(levels) < level < max(levels)}
    if not fit.shape.sloped and 1 not in fit.shape.facing:  # nothing is reduced above a threshold
        return len(missing) <= (1 - SETTLED_SHARE) * len(levels | missing)
    if not fit.shape.sloped:
        at = np.array(sorted(levels))
        corners = [fit.corner(bend)[0] for bend, facing in enumerate(fit.shape.facing) if facing < 0]
        reduced = (np.abs(fit.gain(at) - fit.parameters[0]) > MOVED_DB) & (at > max(corners, default=-np.inf))
        levels = set(at[reduced].tolist())
    stands = len(levels & settled)
    return stands >= SETTLED_SHARE * len(levels) and stands >= LEAST_SHARE * len(levels | missing)
