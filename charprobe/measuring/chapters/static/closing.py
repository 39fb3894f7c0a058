"""Steps below those in use that came back far too low, or not at all: a gate that closes into the noise."""

from __future__ import annotations

from collections.abc import Iterator

from charprobe.estimators.static.curve import LEVEL_DB, StaticCurve, in_dbfs
from charprobe.estimators.static.level_steps import LevelStepsFit
from charprobe.estimators.static.points import USABLE_STD_DB
from charprobe.values.quantity import DB_PER_NEPER
from charprobe.values.wording import number_text

CLOSED_DB = 3.0  # by which a gain must lie below that of the lowest step in use
SURE = 4.0  # standard uncertainties by which it must, and that a step must rise above the noise to be read


def closing_words(curve: StaticCurve, fit: LevelStepsFit, *, lead: str) -> Iterator[str]:
    """Say from which level down the steps in use end because the sound does; `lead` begins the sentence."""
    levels, gains, stds = curve.means
    if not levels.size:
        return
    closed = [
        (point.input_dbfs, point.gain_db)
        for point in curve.points
        if point.input_dbfs < levels[0] - LEVEL_DB
        and point.std_db > USABLE_STD_DB  # noise took it, not a gain that still moved
        and abs(point.remaining_db) < point.std_db
        and point.gain_db + SURE * point.std_db < gains[0] - CLOSED_DB
    ]
    unseen_std_db = DB_PER_NEPER / SURE
    path_db = curve.points[0].input_dbfs - fit.steps[0].tone.level_dbfs
    silent = [
        level + path_db
        for level in fit.hidden_dbfs
        if float(stds[0]) * 10 ** ((float(levels[0]) - level - path_db + CLOSED_DB) / 20) < unseen_std_db
    ]
    if not (closed or silent):
        return
    top = max([level for level, _ in closed] + silent)
    most = max((gain for _, gain in closed), default=None)
    to = "less than can be read" if most is None else f"{number_text(most, 0)} dB or less"
    yield (
        f"{lead}: its gain rises from {to} at {in_dbfs(top)} to {number_text(float(gains[0]), 1)} dB at "
        f"{in_dbfs(float(levels[0]))}."
    )
